package store

import (
	"errors"
	"reflect"
	"testing"

	"fairpull/campaign"
)

// exampleRecipe is what an invented logger writes.
func exampleRecipe() campaign.Recipe {
	return campaign.Recipe{
		Name: "logger", Files: "run-*.csv", Header: []string{"Zeit", "v_Rolle"}, Delimiter: ';',
		Channels: campaign.ChannelMap{
			"time":       {Column: "Zeit", Unit: "ms"},
			"drum_speed": {Column: "v_Rolle", Unit: "km/h", DecimalMark: ','},
		},
	}
}

func TestRecipesAreKeptPerDyno(t *testing.T) {
	onBoth(t, func(t *testing.T, where string, s *Store) {
		r := exampleRecipe()
		change, err := s.SaveRecipe(t.Context(), "cell-1", r, anna)
		if err != nil || !change.Changed() || change.Action != RecipeLearned || change.Subject != "cell-1" {
			t.Fatalf("change %+v, %v", change, err)
		}
		if again, err := s.SaveRecipe(t.Context(), "cell-1", r, anna); err != nil || again.Changed() {
			t.Errorf("the same again: %+v, %v", again, err)
		}
		other := r
		other.Name = "brake"
		if _, err := s.SaveRecipe(t.Context(), "cell-1", other, anna); err != nil {
			t.Fatal(err)
		}
		list, err := s.Recipes(t.Context(), "cell-1")
		if err != nil || !reflect.DeepEqual(list, []campaign.Recipe{other, r}) {
			t.Errorf("recipes %+v, %v", list, err)
		}
		if list, err := s.Recipes(t.Context(), "cell-2"); err != nil || list != nil {
			t.Errorf("another dyno has %+v, %v", list, err)
		}
		clean(t, s)
	})
}

func TestARecipeIsSuperseded(t *testing.T) {
	onBoth(t, func(t *testing.T, where string, s *Store) {
		r := exampleRecipe()
		if _, err := s.SaveRecipe(t.Context(), "cell-1", r, anna); err != nil {
			t.Fatal(err)
		}
		r.Channels["drum_speed"] = campaign.ChannelSource{Column: "v_Rolle", Unit: "mph", DecimalMark: ','}
		if _, err := s.SaveRecipe(t.Context(), "cell-1", r, Author{Who: "Anna Test"}); !errors.Is(err, ErrRefused) {
			t.Errorf("without a reason: %v", err)
		}
		change, err := s.SaveRecipe(t.Context(), "cell-1", r, anna)
		if err != nil || change.Action != Superseded || len(change.Differences) != 1 || change.Differences[0].To != `"mph"` {
			t.Errorf("change %+v, %v", change, err)
		}
		if list, err := s.Recipes(t.Context(), "cell-1"); err != nil || !reflect.DeepEqual(list, []campaign.Recipe{r}) {
			t.Errorf("recipes %+v, %v", list, err)
		}
		if _, err := s.RetireRecipe(t.Context(), "cell-1", "logger", Author{Who: "Anna Test"}); !errors.Is(err, ErrRefused) {
			t.Errorf("retired without a reason: %v", err)
		}
		if _, err := s.RetireRecipe(t.Context(), "cell-1", "logger", anna); err != nil {
			t.Error(err)
		}
		if _, err := s.RetireRecipe(t.Context(), "cell-1", "logger", anna); !errors.Is(err, ErrNotFound) {
			t.Errorf("retired twice: %v", err)
		}
		trail, err := s.Changes(t.Context(), "dyno", "cell-1", 0, 10)
		if err != nil || len(trail) != 3 || trail[2].Action != RecipeRetired || trail[2].From != change.To {
			t.Errorf("audit trail %+v, %v", trail, err)
		}
		for _, query := range []string{"DELETE FROM recipes", "UPDATE recipes SET body = ''", "UPDATE recipes SET until = 9"} {
			if _, err := s.db.Exec(query); err == nil {
				t.Errorf("%s went through", query)
			}
		}
		clean(t, s)
	})
}

func TestRecipesThatAreRefused(t *testing.T) {
	s := initialise(t, t.TempDir()+"/lab")
	for _, c := range []struct {
		name  string
		spoil func(*campaign.Recipe)
	}{
		{"no slug", func(r *campaign.Recipe) { r.Name = "my logger" }},
		{"no pattern", func(r *campaign.Recipe) { r.Files = "run-[" }},
		{"no header", func(r *campaign.Recipe) { r.Header = nil }},
		{"delimiter", func(r *campaign.Recipe) { r.Delimiter = '|' }},
		{"decimal mark", func(r *campaign.Recipe) { r.Channels["time"] = campaign.ChannelSource{DecimalMark: '\''} }},
		{"one column twice", func(r *campaign.Recipe) { r.Channels["lambda"] = campaign.ChannelSource{Column: "Zeit"} }},
		{"not UTF-8", func(r *campaign.Recipe) { r.Header = []string{"\xff"} }},
	} {
		r := exampleRecipe()
		c.spoil(&r)
		if _, err := s.SaveRecipe(t.Context(), "cell-1", r, anna); !errors.Is(err, ErrRefused) {
			t.Errorf("%s: %v", c.name, err)
		}
	}
	if _, err := s.SaveRecipe(t.Context(), "cell 1", exampleRecipe(), anna); !errors.Is(err, ErrRefused) {
		t.Errorf("a dyno's id that is no slug: %v", err)
	}
}
