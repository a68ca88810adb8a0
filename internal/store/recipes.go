package store

import (
	"context"
	"database/sql"
	"errors"
	"fmt"

	"fairpull/campaign"
)

// What a recipe's change did, besides [Superseded].
const (
	RecipeLearned Action = "learn recipe"  // of a dyno
	RecipeRetired Action = "retire recipe" // of a dyno; it stays in the trail
)

// SaveRecipe keeps a recipe of a dyno's logger under its name. The same recipe
// again changes nothing; another of that name supersedes it, which needs a
// reason. The dyno need not be known: a recipe may come before its first campaign.
func (s *Store) SaveRecipe(ctx context.Context, dyno string, r campaign.Recipe, by Author) (Change, error) {
	if err := campaign.CheckID(dyno); err != nil {
		return Change{}, refused("the dyno's id %.80q %v", dyno, err)
	}
	if err := r.Check(); err != nil {
		return Change{}, refused("recipe %.80q: %v", r.Name, err)
	}
	row, err := write("recipe "+r.Name, r)
	if err != nil {
		return Change{}, err
	}
	return s.change(ctx, by, false, func(w writing) error {
		c := w.change
		c.Action, c.Kind, c.Subject, c.To = RecipeLearned, "dyno", dyno, row.digest.String()
		c.Differences = []Difference{{Path: "recipe " + r.Name, To: text(row.digest.String())}}
		if err := w.endRecipe(ctx, dyno, r, row.digest.String(), by); err != nil {
			return err
		}
		_, err := w.ExecContext(ctx, `INSERT INTO recipes (dyno, name, since, digest, body) VALUES ($1, $2, $3, $4, $5)`,
			dyno, r.Name, c.Seq, row.digest.String(), row.body)
		return err
	})
}

// endRecipe ends the recipe that r supersedes, if there is one.
func (w writing) endRecipe(ctx context.Context, dyno string, r campaign.Recipe, digest string, by Author) error {
	was, before, err := w.stopRecipe(ctx, dyno, r.Name)
	switch {
	case errors.Is(err, ErrNotFound):
		return nil
	case err != nil:
		return err
	case was == digest:
		return errUnchanged
	case by.Why == "":
		return by.check(true)
	}
	w.change.Action, w.change.From = Superseded, was
	w.change.Differences = compare(nil, "recipe "+r.Name, before, r)
	return nil
}

// stopRecipe ends the recipe of that name and returns its digest and what it said.
func (w writing) stopRecipe(ctx context.Context, dyno, name string) (digest string, r campaign.Recipe, err error) {
	var body string
	err = w.QueryRowContext(ctx, `UPDATE recipes SET until = $1 WHERE dyno = $2 AND name = $3 AND until IS NULL RETURNING digest, body`,
		w.change.Seq, dyno, name).Scan(&digest, &body)
	if errors.Is(err, sql.ErrNoRows) {
		return "", r, fmt.Errorf("recipe %.80q of dyno %.80q %w", name, dyno, ErrNotFound)
	}
	if err != nil {
		return "", r, err
	}
	r, err = read[campaign.Recipe]("recipe "+name, body)
	return digest, r, err
}

// RetireRecipe ends a recipe: it is not used any more, and stays in the audit
// trail. It needs a reason. A recipe that is not there is [ErrNotFound].
func (s *Store) RetireRecipe(ctx context.Context, dyno, name string, by Author) (Change, error) {
	return s.change(ctx, by, true, func(w writing) error {
		c := w.change
		c.Action, c.Kind, c.Subject = RecipeRetired, "dyno", dyno
		digest, r, err := w.stopRecipe(ctx, dyno, name)
		c.From, c.Differences = digest, []Difference{{Path: "recipe " + name, From: text(r)}}
		return err
	})
}

// Recipes returns the recipes of a dyno that hold, by name.
func (s *Store) Recipes(ctx context.Context, dyno string) ([]campaign.Recipe, error) {
	bodies, err := texts(ctx, s.db, `SELECT body FROM recipes WHERE dyno = $1 AND until IS NULL ORDER BY name`, dyno)
	if err != nil {
		return nil, explain(err)
	}
	var list []campaign.Recipe
	for _, body := range bodies {
		r, err := read[campaign.Recipe]("recipe of dyno "+dyno, body)
		if err != nil {
			return nil, err
		}
		list = append(list, r)
	}
	return list, nil
}
