package lab

import (
	"bytes"
	"cmp"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"github.com/pelletier/go-toml/v2"
	"golang.org/x/text/cases"

	"fairpull/campaign"
	"fairpull/internal/store"
	"fairpull/report"
)

// Combination is what somebody asks about: parts and settings as they are, and the
// vehicle where that is said.
type Combination struct {
	Vehicle    string
	Components []campaign.Component
	Settings   []campaign.Setting
}

// combinationTOML is a combination as a file, with the keys of a configuration in
// campaign.toml.
type combinationTOML struct {
	Vehicle    string            `toml:"vehicle"`
	Components []componentTOML   `toml:"components"`
	Settings   map[string]string `toml:"settings"`
}

type componentTOML struct {
	Function string `toml:"function"`
	Part     string `toml:"part"`
	Serial   string `toml:"serial"`
	Batch    string `toml:"batch"`
}

// Bounds of a combination.
const (
	maxCombination = 256 << 10 // bytes of its file
	maxPoints      = 1000      // components, and settings
)

// ReadCombination reads the combination in a TOML file.
func ReadCombination(path string) (Combination, error) {
	data, err := readBounded(path, maxCombination)
	if err != nil {
		return Combination{}, err
	}
	var t combinationTOML
	if err := toml.NewDecoder(bytes.NewReader(data)).DisallowUnknownFields().Decode(&t); err != nil {
		return Combination{}, declined("%s: %w; write components = [{ function = \"exhaust\", part = \"X-1\" }] and settings = { fuel = \"E10\" }", path, err)
	}
	c := Combination{Vehicle: t.Vehicle}
	for _, p := range t.Components {
		c.Components = append(c.Components, campaign.Component{Function: p.Function, Part: p.Part, Serial: p.Serial, Batch: p.Batch})
	}
	for key, value := range t.Settings {
		c.Settings = append(c.Settings, campaign.Setting{Key: key, Value: value})
	}
	slices.SortFunc(c.Settings, func(a, b campaign.Setting) int { return cmp.Compare(a.Key, b.Key) })
	return c, nil
}

// check refuses a combination that says nothing, or one thing twice.
func (c Combination) check() error {
	if len(c.Components)+len(c.Settings) == 0 {
		return declined("nothing is asked about: name the parts, as in --component exhaust=X-650-2")
	}
	if len(c.Components) > maxPoints || len(c.Settings) > maxPoints {
		return declined("a combination has at most %d components and as many settings", maxPoints)
	}
	for _, p := range c.Components {
		if strings.TrimSpace(p.Function) == "" || strings.TrimSpace(p.Part) == "" {
			return declined("a component has a function and a part, and %.80q, %.80q lacks one", p.Function, p.Part)
		}
	}
	seen := map[string]bool{}
	for _, s := range c.Settings {
		if key := folded(s.Key); key == "" || seen[key] {
			return declined("the setting %.80q is named twice, or has no name", s.Key)
		}
		seen[folded(s.Key)] = true
	}
	return nil
}

// folded returns a name without what people write differently: case and blanks.
func folded(name string) string {
	return cases.Fold().String(strings.Join(strings.Fields(name), " "))
}

// point is what one side has under a name: a component's parts, or a setting's value.
type point struct {
	kind, name, is string
	changed        bool // it is what the claim is about
}

// points returns components by function and settings by key, folded; several parts
// of one function stand together, sorted.
func points(components []campaign.ClaimComponent, settings []campaign.ClaimSetting) map[string]point {
	out := map[string]point{}
	parts := map[string][]string{}
	for _, p := range components {
		key := "component " + folded(p.Function)
		parts[key] = append(parts[key], strings.TrimSpace(p.Part))
		slices.Sort(parts[key])
		out[key] = point{"component", p.Function, strings.Join(parts[key], " + "), p.Changed || out[key].changed}
	}
	for _, s := range settings {
		out["setting "+folded(s.Key)] = point{"setting", s.Key, strings.TrimSpace(s.Value), s.Changed}
	}
	return out
}

// Covers says which published claims cover a combination, and by what the others do
// not; the nearest first. A part is told by its function and name: another specimen
// of it is the same part.
func (w *Workspace) Covers(ctx context.Context, c Combination) (*report.Covers, error) {
	if err := c.check(); err != nil {
		return nil, err
	}
	neutral, _, err := w.neutral(ctx)
	if err != nil {
		return nil, err
	}
	held := map[string]string{}
	for _, n := range neutral.Neutral {
		held[folded(n.Function)] = n.Why
	}
	claims, err := w.store.Claims(ctx)
	if err != nil {
		return nil, err
	}
	view := &report.Covers{Components: c.Components, Settings: c.Settings, Vehicle: c.Vehicle}
	for _, kept := range claims {
		if kept.State() != campaign.ClaimPublished {
			continue
		}
		stated, err := decodeClaim(kept.Body)
		if err != nil {
			return nil, fmt.Errorf("claim %s: %w", kept.Number, err)
		}
		view.Rows = append(view.Rows, coverOf(stated, c, held))
	}
	slices.SortStableFunc(view.Rows, func(a, b report.CoverRow) int {
		return cmp.Or(cmp.Compare(len(a.Breaks), len(b.Breaks)), cmp.Compare(len(a.Unsaid), len(b.Unsaid)), cmp.Compare(len(a.Neutral), len(b.Neutral)))
	})
	return view, nil
}

// coverOf holds a combination against a claim. What the claim is about is never
// neutral.
func coverOf(stated campaign.Claim, c Combination, held map[string]string) report.CoverRow {
	row := report.CoverRow{Number: stated.Number, Title: stated.Title, Sentence: stated.Sentence, Vehicle: stated.Vehicle.ID}
	var components []campaign.ClaimComponent
	for _, p := range c.Components {
		components = append(components, campaign.ClaimComponent{Function: p.Function, Part: p.Part})
	}
	var settings []campaign.ClaimSetting
	for _, s := range c.Settings {
		settings = append(settings, campaign.ClaimSetting{Key: s.Key, Value: s.Value})
	}
	tested, asked := points(stated.Tested.Components, stated.Tested.Settings), points(components, settings)
	keys := map[string]bool{}
	for key := range tested {
		keys[key] = true
	}
	for key := range asked {
		keys[key] = true
	}
	for _, key := range slices.Sorted(maps.Keys(keys)) {
		t, wasTested := tested[key]
		a, isAsked := asked[key]
		if wasTested && isAsked && folded(t.is) == folded(a.is) {
			continue
		}
		p := report.CoverPoint{Kind: cmp.Or(t.kind, a.kind), Name: cmp.Or(t.name, a.name), Tested: t.is, Asked: a.is}
		why, neutral := held[folded(p.Name)]
		switch {
		case neutral && !t.changed:
			p.Why = why
			row.Neutral = append(row.Neutral, p)
		case wasTested && !isAsked:
			row.Unsaid = append(row.Unsaid, p)
		default:
			row.Breaks = append(row.Breaks, p)
		}
	}
	if c.Vehicle != "" && folded(c.Vehicle) != folded(stated.Vehicle.ID) {
		row.Breaks = append(row.Breaks, report.CoverPoint{Kind: "vehicle", Name: "vehicle", Tested: stated.Vehicle.ID, Asked: c.Vehicle})
	}
	switch {
	case len(row.Breaks) > 0:
		row.Answer = report.NotCovered
	case len(row.Unsaid) > 0:
		row.Answer = report.CoverOpen
	default:
		row.Answer = report.Covered
	}
	return row
}

// neutralFormat is the format of what a lab holds neutral.
const neutralFormat = "fairpull.neutral/1"

type neutralJSON struct {
	Format  string              `json:"format"`
	Neutral []report.NeutralRow `json:"neutral"`
}

// neutral returns what the lab holds neutral, and the text that says so.
func (w *Workspace) neutral(ctx context.Context) (neutralJSON, []byte, error) {
	list := neutralJSON{Format: neutralFormat}
	text, err := w.store.LabText(ctx, store.NeutralText)
	if errors.Is(err, store.ErrNotFound) {
		return list, nil, nil
	}
	if err != nil {
		return list, nil, err
	}
	if err := json.Unmarshal(text, &list); err != nil {
		return list, nil, fmt.Errorf("what is neutral: %w", err)
	}
	if list.Format != neutralFormat {
		return list, nil, fmt.Errorf("what is neutral: its format is %.40q; this program reads %s", list.Format, neutralFormat)
	}
	return list, text, nil
}

// Neutrals returns what the lab holds neutral.
func (w *Workspace) Neutrals(ctx context.Context) (*report.Neutrals, error) {
	list, _, err := w.neutral(ctx)
	return &report.Neutrals{Rows: list.Neutral}, err
}

// SetNeutral declares the components of a function, or a setting, neutral for by.Why:
// another part there breaks no cover. With neutral false it takes that back. It
// reports whether anything changed.
func (w *Workspace) SetNeutral(ctx context.Context, function string, neutral bool, by Author) (changed bool, err error) {
	if strings.TrimSpace(function) == "" || by.Why == "" {
		return false, declined("a component is held neutral, or no longer, for a reason: name it and say why")
	}
	for _, text := range []string{function, by.Why} {
		if err := campaign.CheckClaimText(text); err != nil {
			return false, declined("%.80q %w", text, err)
		}
	}
	list, was, err := w.neutral(ctx)
	if err != nil {
		return false, err
	}
	same := func(r report.NeutralRow) bool { return folded(r.Function) == folded(function) }
	if slices.ContainsFunc(list.Neutral, same) == neutral {
		return false, nil
	}
	list.Neutral = slices.DeleteFunc(list.Neutral, same)
	if neutral {
		list.Neutral = append(list.Neutral, report.NeutralRow{Function: strings.TrimSpace(function), Why: by.Why, Who: by.Who, At: time.Now().UTC().Truncate(time.Second)})
	}
	now, err := indentedJSON(list)
	if err != nil {
		return false, err
	}
	change, err := w.store.SetLabText(ctx, store.NeutralText, was, now, by)
	return change.Changed(), err
}
