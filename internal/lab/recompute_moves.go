package lab

import (
	"bytes"
	"encoding/json"
	"fmt"
	"maps"
	"math"
	"reflect"
	"slices"
	"strconv"

	"fairpull/internal/store"
	"fairpull/report"
)

// maxMoves bounds what is said of one campaign; the results themselves stand in
// the workspace.
const maxMoves = 500

// difference says what of a result is another now: each verdict, each figure, each
// column of a curve, and whether what the campaign adds to the history is.
func difference(found *report.Recomputed, before, now store.Result) error {
	if bytes.Equal(before.Body, now.Body) && bytes.Equal(before.Scatter, now.Scatter) {
		return nil
	}
	from, err := members(before.Body)
	if err != nil {
		return fmt.Errorf("the kept result: %w", err)
	}
	to, err := members(now.Body)
	if err != nil {
		return err
	}
	walk := walker{found: found}
	walk.object("", from, to)
	if !bytes.Equal(before.Scatter, now.Scatter) {
		walk.add(report.Move{Path: "scatter for the history", Text: true})
	}
	if !found.Moved() { // written otherwise, and saying the same
		walk.add(report.Move{Path: "the result's text", Text: true})
	}
	return nil
}

// members reads a JSON object, numbers to the last digit.
func members(text []byte) (map[string]any, error) {
	decoder := json.NewDecoder(bytes.NewReader(text))
	decoder.UseNumber()
	var object map[string]any
	return object, decoder.Decode(&object)
}

// walker goes through two results side by side.
type walker struct{ found *report.Recomputed }

func (w walker) add(m report.Move) {
	if len(w.found.Moves) == maxMoves {
		w.found.More++
		return
	}
	w.found.Moves = append(w.found.Moves, m)
}

// object compares the members of two objects at path.
func (w walker) object(path string, from, to map[string]any) {
	for _, key := range slices.Sorted(maps.Keys(union(from, to))) {
		at := joinPath(path, key)
		a, b := from[key], to[key]
		switch {
		case reflect.DeepEqual(a, b):
		case key == "verdict":
			w.found.Verdicts = append(w.found.Verdicts, report.VerdictMove{Candidate: path, From: textOf(a), To: textOf(b)})
		case key == "curve":
			w.curve(at, listOf(a), listOf(b))
		case isList(a) || isList(b):
			w.list(at, listOf(a), listOf(b))
		case isObject(a) || isObject(b):
			w.object(at, objectOf(a), objectOf(b))
		default:
			w.value(at, key, a, b, from, to)
		}
	}
}

// value notes one figure or text that is another.
func (w walker) value(path, key string, a, b any, from, to map[string]any) {
	m := report.Move{Path: path, From: numberOf(a), To: numberOf(b)}
	if m.From == nil && m.To == nil {
		m.Text, m.FromText, m.ToText = true, textOf(a), textOf(b)
	} else {
		m.FromShown, m.ToShown = report.ShownMember(key, m.From, interval(from)), report.ShownMember(key, m.To, interval(to))
	}
	w.add(m)
}

// list compares two lists whose items carry names, by name; others as a whole.
func (w walker) list(path string, from, to []any) {
	a, b := named(from), named(to)
	if a == nil && b == nil {
		w.add(report.Move{Path: path, Text: true, FromText: textOf(from), ToText: textOf(to)})
		return
	}
	before, now := map[string]any{}, map[string]any{}
	for _, item := range a {
		before[item.name] = item.value
	}
	for _, item := range b {
		now[item.name] = item.value
	}
	for _, name := range slices.Sorted(maps.Keys(union(before, now))) {
		at := name
		if path != "comparisons" {
			at = path + " " + name
		}
		if !reflect.DeepEqual(before[name], now[name]) {
			if before[name] == nil || now[name] == nil {
				w.add(report.Move{Path: at, Text: true, FromText: presence(before[name]), ToText: presence(now[name])})
				continue
			}
			w.object(at, objectOf(before[name]), objectOf(now[name]))
		}
	}
}

// curve compares the columns of two curves, node by node at the same engine speed.
func (w walker) curve(path string, from, to []any) {
	now := map[string]map[string]any{}
	for _, node := range to {
		now[textOf(objectOf(node)["rpm"])] = objectOf(node)
	}
	columns := map[string]*report.Move{}
	missing := len(to)
	for _, node := range from {
		before := objectOf(node)
		rpm := textOf(before["rpm"])
		other, there := now[rpm]
		if !there {
			missing++
			continue
		}
		missing--
		for key := range union(before, other) {
			m := columns[key]
			if m == nil {
				m = &report.Move{Path: joinPath(path, key)}
				columns[key] = m
			}
			nodeMoved(m, rpm, key, before, other)
		}
	}
	for _, key := range slices.Sorted(maps.Keys(columns)) {
		if columns[key].Nodes > 0 {
			w.add(*columns[key])
		}
	}
	if missing > 0 {
		w.add(report.Move{Path: path + " range", Text: true, FromText: nodes(len(from)), ToText: nodes(len(to))})
	}
}

// nodeMoved counts a column's value at one engine speed, and keeps the two that
// lie farthest apart.
func nodeMoved(m *report.Move, rpm, key string, before, now map[string]any) {
	m.Of++
	if reflect.DeepEqual(before[key], now[key]) {
		return
	}
	m.Nodes++
	from, to := numberOf(before[key]), numberOf(now[key])
	if m.Nodes > 1 && apart(from, to) <= apart(m.From, m.To) {
		return
	}
	m.RPM, m.From, m.To = rpm, from, to
	m.FromShown = report.ShownMember(key, from, interval(before))
	m.ToShown = report.ShownMember(key, to, interval(now))
}

// apart returns how far two figures lie apart; one that appears or goes is
// farthest.
func apart(from, to *float64) float64 {
	if from == nil || to == nil {
		return math.Inf(1)
	}
	return math.Abs(*to - *from)
}

func nodes(n int) string { return strconv.Itoa(n) + " nodes" }

type namedItem struct {
	name  string
	value any
}

// named returns the items of a list under the names that they carry, each name
// once; nil where they carry none.
func named(list []any) []namedItem {
	var items []namedItem
	seen := map[string]int{}
	for _, value := range list {
		object := objectOf(value)
		name := ""
		for _, key := range []string{"candidate", "pull", "id", "valid_from"} {
			if text, ok := object[key].(string); ok {
				name = text
				break
			}
		}
		if name == "" {
			return nil
		}
		if seen[name]++; seen[name] > 1 {
			name += " (" + strconv.Itoa(seen[name]) + ")"
		}
		items = append(items, namedItem{name, value})
	}
	return items
}

func union(a, b map[string]any) map[string]any {
	all := maps.Clone(a)
	if all == nil {
		all = map[string]any{}
	}
	maps.Copy(all, b)
	return all
}

func joinPath(path, key string) string {
	if path == "" {
		return key
	}
	return path + " " + key
}

func isList(v any) bool   { _, ok := v.([]any); return ok }
func isObject(v any) bool { _, ok := v.(map[string]any); return ok }

func listOf(v any) []any { list, _ := v.([]any); return list }

func objectOf(v any) map[string]any { object, _ := v.(map[string]any); return object }

func presence(v any) string {
	if v == nil {
		return "none"
	}
	return "there"
}

// numberOf returns a JSON number; nil for anything else.
func numberOf(v any) *float64 {
	number, ok := v.(json.Number)
	if !ok {
		return nil
	}
	f, err := number.Float64()
	if err != nil {
		return nil
	}
	return &f
}

// interval returns the half-width of the interval that stands beside a figure, 0
// where there is none.
func interval(object map[string]any) float64 {
	lo, hi := numberOf(object["lo_pct"]), numberOf(object["hi_pct"])
	if lo == nil || hi == nil {
		return 0
	}
	return (*hi - *lo) / 2
}

const maxMoveText = 400 // bytes of a text within a move

// textOf returns a JSON value as a text of bounded length.
func textOf(v any) string {
	var text string
	switch v := v.(type) {
	case nil:
		return "none"
	case string:
		text = v
	case json.Number:
		text = v.String()
	default:
		written, err := json.Marshal(v)
		if err != nil {
			return "?"
		}
		text = string(written)
	}
	return report.Shorten(text, maxMoveText)
}
