package ingest

import (
	"bytes"
	"fmt"
	"reflect"
	"sort"
	"strings"

	"github.com/pelletier/go-toml/v2/unstable"
)

// outline is where every key of a TOML document stands, by its path:
// "objective.confidence", "configuration[1].components[0].part".
type outline struct {
	places map[string]keyPlace
	order  []string // the paths, as they stand in the file
}

// keyPlace is the place of one key, and for a plain value its text.
type keyPlace struct {
	line, position int
	text           string
}

// outliner walks over a document and holds it against the type that it is to
// fill: a key that the type does not know, or a value of another kind than it
// wants, is a fault.
type outliner struct {
	file   string
	lines  []int // offset of each line's start
	data   []byte
	parser unstable.Parser
	out    outline
	tables map[string]int // how many elements each array of tables has
	faults Errors
}

// outlineOf returns the places of all keys of data. Keys and kinds of values
// that t does not have are faults, all of which are told.
func outlineOf(file string, data []byte, t reflect.Type) (*outline, error) {
	o := &outliner{file: file, data: data, tables: map[string]int{}, out: outline{places: map[string]keyPlace{}}}
	for at := 0; at >= 0; {
		o.lines = append(o.lines, at)
		next := bytes.IndexByte(data[at:], '\n')
		if next < 0 {
			break
		}
		at += next + 1
	}
	o.parser.Reset(data)
	table, tableType := "", t
	for o.parser.NextExpression() {
		node := o.parser.Expression()
		switch node.Kind {
		case unstable.Table, unstable.ArrayTable:
			table, tableType = o.enter(node, t)
		case unstable.KeyValue:
			o.keyValue(node, table, tableType)
		}
	}
	if err := o.parser.Error(); err != nil {
		return nil, o.syntax(err)
	}
	return &o.out, o.faults.err()
}

// syntax turns a parser's error into one with its place.
func (o *outliner) syntax(err error) error {
	e := &SyntaxError{File: o.file, Err: as(ErrNotPossible, err), Cure: "see toml.io for how TOML is written"}
	if p, ok := err.(*unstable.ParserError); ok && cap(p.Highlight) <= cap(o.data) {
		e.Line, e.Position = o.place(min(cap(o.data)-cap(p.Highlight), len(o.data)))
	}
	return e
}

// place returns line and character, from 1, of the byte at offset at.
func (o *outliner) place(at int) (line, position int) {
	line = sort.SearchInts(o.lines, at+1)
	return line, positionIn(o.data[o.lines[line-1]:at])
}

// enter handles a table header; it returns the table's path and type, which is
// nil where the document has no such table.
func (o *outliner) enter(node *unstable.Node, root reflect.Type) (path string, t reflect.Type) {
	t = root
	keys := node.Key()
	var last *unstable.Node
	for keys.Next() {
		last = keys.Node()
		path = joined(path, string(last.Data))
		if t = o.step(t, path, last); t == nil {
			return path, nil
		}
		if n := o.tables[path]; n > 0 && !(keys.IsLast() && node.Kind == unstable.ArrayTable) {
			path = fmt.Sprintf("%s[%d]", path, n-1)
		}
	}
	if node.Kind == unstable.ArrayTable {
		o.note(path, last, "")
		o.tables[path]++
		path = fmt.Sprintf("%s[%d]", path, o.tables[path]-1)
	}
	if list := t.Kind() == reflect.Slice; list != (node.Kind == unstable.ArrayTable) || !isTable(t) {
		o.fault(last, path, because(ErrNotPossible, "is not written as %s", wantedKind(t)), "compare it with docs/formats.md")
		return path, nil
	}
	o.note(path, last, "")
	return path, t
}

// step returns the type of key within a table of type t, which is nil where the
// document has no such table. Where the table has no such key it notes a fault
// and returns nil.
func (o *outliner) step(t reflect.Type, path string, key *unstable.Node) reflect.Type {
	if t == nil {
		return nil
	}
	next, names := member(t, string(key.Data))
	if next == nil {
		o.fault(key, path, ErrUnknownKey, didYouMean(string(key.Data), names, "the keys here are "+listed(names)))
	}
	return next
}

// keyValue handles one key and its value within a table.
func (o *outliner) keyValue(node *unstable.Node, table string, t reflect.Type) {
	keys := node.Key()
	path := table
	var last *unstable.Node
	for keys.Next() {
		last = keys.Node()
		path = joined(path, string(last.Data))
		if t = o.step(t, path, last); t == nil {
			return
		}
	}
	o.value(node.Value(), last, path, t)
}

// value handles the value at path, whose key is given.
func (o *outliner) value(value, key *unstable.Node, path string, t reflect.Type) {
	o.note(path, key, string(value.Data))
	if !fits(value, t) {
		o.fault(key, path, because(ErrNotPossible, "is %s where %s is wanted", writtenKind(value.Kind), wantedKind(t)), "compare it with docs/formats.md")
		return
	}
	switch value.Kind {
	case unstable.InlineTable:
		children := value.Children()
		for children.Next() {
			o.keyValue(children.Node(), path, t)
		}
	case unstable.Array:
		children := value.Children()
		for i := 0; children.Next(); i++ {
			o.value(children.Node(), firstKey(children.Node(), key), fmt.Sprintf("%s[%d]", path, i), t.Elem())
		}
	}
}

// firstKey returns the first key of an inline table: the place of an element of a
// list. For anything else it returns the key that is given.
func firstKey(value, key *unstable.Node) *unstable.Node {
	if value.Kind != unstable.InlineTable {
		return key
	}
	if children := value.Children(); children.Next() {
		if keys := children.Node().Key(); keys.Next() {
			return keys.Node()
		}
	}
	return key
}

func (o *outliner) note(path string, key *unstable.Node, text string) {
	if _, found := o.out.places[path]; found {
		return
	}
	line, position := o.place(int(key.Raw.Offset))
	o.out.places[path] = keyPlace{line, position, text}
	o.out.order = append(o.out.order, path)
}

func (o *outliner) fault(key *unstable.Node, path string, err error, cure string) {
	line, position := o.place(int(key.Raw.Offset))
	o.faults.add(&SyntaxError{File: o.file, Line: line, Position: position, Column: withoutIndices(path), Err: err, Cure: cure})
}

func joined(path, key string) string {
	if path == "" {
		return key
	}
	return path + "." + key
}

// withoutIndices returns the path as a person would name it.
func withoutIndices(path string) string {
	var b strings.Builder
	for {
		before, rest, found := strings.Cut(path, "[")
		b.WriteString(before)
		if !found {
			return b.String()
		}
		if _, rest, found = strings.Cut(rest, "]"); !found {
			return b.String()
		}
		path = rest
	}
}

// element returns the type behind pointers and lists.
func element(t reflect.Type) reflect.Type {
	for t.Kind() == reflect.Pointer || t.Kind() == reflect.Slice {
		t = t.Elem()
	}
	return t
}

// isTable reports whether t, or what it lists, is filled from a table.
func isTable(t reflect.Type) bool {
	kind := element(t).Kind()
	return kind == reflect.Struct || kind == reflect.Map
}

// member returns the type that the key has within a table of type t, or nil and
// the keys that there are.
func member(t reflect.Type, key string) (reflect.Type, []string) {
	t = element(t)
	switch t.Kind() {
	case reflect.Map:
		return t.Elem(), nil
	case reflect.Struct:
		var names []string
		for field := range t.Fields() {
			name := field.Tag.Get("toml")
			if name == key {
				return field.Type, nil
			}
			names = append(names, name)
		}
		return nil, names
	}
	return nil, nil
}

// fits reports whether the value can fill a variable of type t. An interface
// stands for any plain value.
func fits(value *unstable.Node, t reflect.Type) bool {
	if t.Kind() == reflect.Pointer {
		t = t.Elem()
	}
	switch value.Kind {
	case unstable.String:
		return t.Kind() == reflect.String || t.Kind() == reflect.Interface
	case unstable.Bool:
		return t.Kind() == reflect.Bool || t.Kind() == reflect.Interface
	case unstable.Integer:
		return t.Kind() == reflect.Float64 || t.Kind() == reflect.Int || t.Kind() == reflect.Interface
	case unstable.Float:
		return t.Kind() == reflect.Float64 || t.Kind() == reflect.Interface
	case unstable.InlineTable:
		return t.Kind() == reflect.Struct || t.Kind() == reflect.Map
	case unstable.Array:
		return t.Kind() == reflect.Slice
	}
	return false
}

// wantedKind says what a value of type t is, in words.
func wantedKind(t reflect.Type) string {
	switch {
	case t.Kind() == reflect.Slice && isTable(t):
		return "a list of tables"
	case t.Kind() == reflect.Slice:
		return "a list of numbers"
	case isTable(t):
		return "a table"
	}
	switch element(t).Kind() {
	case reflect.String:
		return "a text in quotes"
	case reflect.Bool:
		return "true or false"
	case reflect.Int:
		return "a whole number"
	case reflect.Float64:
		return "a number"
	}
	return "a text, a number, or true or false"
}

// writtenKind says what was written, in words.
func writtenKind(kind unstable.Kind) string {
	switch kind {
	case unstable.String:
		return "a text"
	case unstable.Bool:
		return "true or false"
	case unstable.Integer, unstable.Float:
		return "a number"
	case unstable.InlineTable:
		return "a table"
	case unstable.Array:
		return "a list"
	}
	return "a date or time"
}
