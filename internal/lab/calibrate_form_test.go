package lab

import (
	"reflect"
	"regexp"
	"strings"
	"testing"
)

var formKey = regexp.MustCompile(`(?m)^(?:# )?([a-z_0-9]+) =`)

// readingKeys adds the keys that a struct of readings has.
func readingKeys(t reflect.Type, into map[string]bool) {
	for t.Kind() == reflect.Slice || t.Kind() == reflect.Pointer {
		t = t.Elem()
	}
	if t.Kind() != reflect.Struct {
		return
	}
	for i := range t.NumField() {
		into[t.Field(i).Tag.Get("toml")] = true
		readingKeys(t.Field(i).Type, into)
	}
}

// The form of each kind can be read as it stands, states nothing of the rig, has every key
// of the kind's example and none that there is not; its table has the example's columns.
func TestReadingsForms(t *testing.T) {
	known := map[string]bool{}
	readingKeys(reflect.TypeFor[readingsText](), known)
	for _, kind := range CalibrationKinds() {
		form, err := NewReadings(kind, "cell-1")
		if err != nil {
			t.Fatal(err)
		}
		r, err := readReadings("readings.toml", kind, map[string][]byte{"readings.toml": []byte(form.Text)})
		if err != nil || r.Dyno != "cell-1" {
			t.Errorf("%s: %v\n%s", kind, err, form.Text)
			continue
		}
		plain := r.readingsText
		plain.Format, plain.Kind, plain.Dyno, plain.Table = "", "", "", ""
		if !reflect.DeepEqual(plain, readingsText{}) {
			t.Errorf("%s: the form states %+v", kind, plain)
		}
		has := map[string]bool{}
		for _, key := range formKey.FindAllStringSubmatch(form.Text, -1) {
			if has[key[1]] = true; !known[key[1]] {
				t.Errorf("%s: there is no key %s", kind, key[1])
			}
		}
		example, err := ExampleReadings(kind)
		if err != nil {
			t.Fatal(err)
		}
		for _, key := range formKey.FindAllStringSubmatch(example.Text, -1) {
			if !has[key[1]] {
				t.Errorf("%s: the form does not have the example's %s", kind, key[1])
			}
		}
		if (form.Table != "") == form.Logs || !strings.HasPrefix(example.Table, form.Table) || (form.Table == "") != (example.Table == "") {
			t.Errorf("%s: table %q, logs %v; the example's table %.60q", kind, form.Table, form.Logs, example.Table)
		}
	}
	for _, ask := range []func(string) (ReadingsForm, error){ExampleReadings, func(kind string) (ReadingsForm, error) { return NewReadings(kind, "cell-1") }} {
		if _, err := ask("luck"); err == nil {
			t.Error("there is a form of no kind")
		}
	}
}
