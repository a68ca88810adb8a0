package report

import (
	"encoding/json"
	"io"

	"fairpull/campaign"
)

type recipesJSON struct {
	Format  string       `json:"format"`
	Dyno    string       `json:"dyno"`
	Recipes []recipeJSON `json:"recipes"`
}

type recipeJSON struct {
	Name      string                 `json:"name"`
	Files     string                 `json:"files"`
	Header    []string               `json:"header"`
	Delimiter string                 `json:"delimiter"`
	Applied   string                 `json:"correction_applied"`
	Channels  map[string]channelJSON `json:"channels"`
}

type channelJSON struct {
	Column  string `json:"column"`
	Unit    string `json:"unit"`
	Decimal string `json:"decimal"`
}

// RecipesJSON writes the recipes of a dyno as one fairpull.recipes/1 object. An
// empty text is what a recipe does not say.
func RecipesJSON(w io.Writer, dyno string, list []campaign.Recipe) error {
	out := recipesJSON{Format: "fairpull.recipes/1", Dyno: dyno, Recipes: []recipeJSON{}}
	for _, r := range list {
		row := recipeJSON{Name: r.Name, Files: r.Files, Header: r.Header, Delimiter: markText(r.Delimiter), Applied: r.CorrectionApplied, Channels: map[string]channelJSON{}}
		for name, source := range r.Channels {
			row.Channels[name] = channelJSON{source.Column, source.Unit, markText(source.DecimalMark)}
		}
		out.Recipes = append(out.Recipes, row)
	}
	encoder := json.NewEncoder(w)
	encoder.SetIndent("", "  ")
	return encoder.Encode(out)
}

// markText writes a mark; zero is none.
func markText(b byte) string {
	if b == 0 {
		return ""
	}
	return string(rune(b))
}
