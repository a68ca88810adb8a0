package lab

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"strconv"
	"strings"

	"fairpull/evidence"
)

// A dossier's tables are CSV with a published schema: a Data Package with Table
// Schema, both of version 1 (specs.frictionlessdata.io).

// tableColumn is one column: its name, its type in Table Schema, and what it is.
type tableColumn struct{ name, kind, what string }

// dossierTable is one table: the columns, and how its rows come out of a gain
// result.
type dossierTable struct {
	name, title string
	columns     []tableColumn
	key         []string
	rows        func(result map[string]any) [][]any
}

var gainColumns = []tableColumn{
	{"gain_pct", "number", "gain of the candidate over the baseline, per cent of the baseline"},
	{"lo_pct", "number", "lower end of its two-sided interval"},
	{"hi_pct", "number", "upper end of its two-sided interval"},
}

var tables = []dossierTable{
	{
		name: "figures", title: "Figures of both sides and the gain between them", key: []string{"candidate", "figure"},
		columns: append([]tableColumn{
			{"candidate", "string", "configuration that is compared with the baseline"},
			{"figure", "string", "band, peak_torque or peak_power"},
			{"baseline", "number", "level of the baseline: N·m, for peak_power kW"},
			{"candidate_level", "number", "level of the candidate in the same unit"},
			{"baseline_rpm", "number", "engine speed of the baseline's peak, 1/min; band: its lower end"},
			{"candidate_rpm", "number", "engine speed of the candidate's peak, 1/min; band: its upper end"},
		}, append(gainColumns[:len(gainColumns):len(gainColumns)], tableColumn{"at_least_pct", "number", "one-sided lower bound of the gain"})...),
		rows: figureRows,
	},
	{
		name: "curve", title: "Torque of both sides and the gain over engine speed", key: []string{"candidate", "rpm"},
		columns: append(append([]tableColumn{
			{"candidate", "string", "configuration that is compared with the baseline"},
			{"rpm", "number", "engine speed, 1/min"},
			{"baseline_nm", "number", "corrected torque of the baseline, N·m"},
			{"candidate_nm", "number", "corrected torque of the candidate, N·m"},
		}, gainColumns...),
			tableColumn{"band_lo_pct", "number", "lower limit that holds over the whole riding band at once"},
			tableColumn{"band_hi_pct", "number", "upper limit that holds over the whole riding band at once"}),
		rows: curveRows,
	},
	{
		name: "pulls", title: "Every pull, the unused ones too", key: []string{"pull"},
		columns: []tableColumn{
			{"pull", "string", "its name in pulls.csv"}, {"configuration", "string", "what was fitted"}, {"setup", "string", "strapping-down"},
			{"used", "boolean", "whether the figures rest on it"}, {"correction_factor", "number", "that it was corrected with"},
			{"peak_torque_nm", "number", "corrected, N·m"}, {"peak_power_kw", "number", "corrected, kW"},
		},
		rows: func(result map[string]any) [][]any {
			return rowsOf(listOf(result["pulls"]), "pull", "configuration", "setup", "used", "correction_factor", "peak_torque_nm", "peak_power_kw")
		},
	},
	{
		name: "checks", title: "What was asked of the data, and the answers", key: nil,
		columns: []tableColumn{
			{"id", "string", "which check"}, {"status", "string", "pass, warn or fail"}, {"measured", "number", "what was found"},
			{"limit", "number", "what it was held against"}, {"unit", "string", "of the two"}, {"message", "string", "the answer in a sentence"},
		},
		rows: func(result map[string]any) [][]any {
			return rowsOf(listOf(result["checks"]), "id", "status", "measured", "limit", "unit", "message")
		},
	},
}

func figureRows(result map[string]any) [][]any {
	var rows [][]any
	for _, item := range listOf(result["comparisons"]) {
		c := objectOf(item)
		for _, f := range []struct{ name, unit, lo, hi string }{
			{"band", "nm", "rpm_lo", "rpm_hi"}, {"peak_torque", "nm", "baseline_rpm", "candidate_rpm"}, {"peak_power", "kw", "baseline_rpm", "candidate_rpm"},
		} {
			if o := objectOf(c[f.name]); o != nil {
				rows = append(rows, []any{c["candidate"], f.name, o["baseline_"+f.unit], o["candidate_"+f.unit], o[f.lo], o[f.hi], o["gain_pct"], o["lo_pct"], o["hi_pct"], o["at_least_pct"]})
			}
		}
	}
	return rows
}

func curveRows(result map[string]any) [][]any {
	var rows [][]any
	for _, item := range listOf(result["comparisons"]) {
		c := objectOf(item)
		for _, row := range rowsOf(listOf(c["curve"]), "rpm", "baseline_nm", "candidate_nm", "gain_pct", "lo_pct", "hi_pct", "band_lo_pct", "band_hi_pct") {
			rows = append(rows, append([]any{c["candidate"]}, row...))
		}
	}
	return rows
}

// rowsOf returns the members of each object of a list, in the order of the keys.
func rowsOf(list []any, keys ...string) [][]any {
	rows := make([][]any, len(list))
	for i, item := range list {
		object := objectOf(item)
		for _, key := range keys {
			rows[i] = append(rows[i], object[key])
		}
	}
	return rows
}

// dossierTables makes the tables of a gain result, and the description of them.
func dossierTables(number string, body []byte) (map[string][]byte, error) {
	result, err := members(body)
	if err != nil {
		return nil, fmt.Errorf("the gain result: %w", err)
	}
	files := map[string][]byte{}
	description := packageJSON{
		Profile: "tabular-data-package", Name: strings.ToLower("claim-" + number), Title: "Figures of claim " + number,
	}
	for _, t := range tables {
		text, err := t.csv(result)
		if err != nil {
			return nil, fmt.Errorf("table %s: %w", t.name, err)
		}
		name := tablesFolder + t.name + ".csv"
		files[name] = text
		description.Resources = append(description.Resources, t.resource(name, text))
	}
	files[dossierPackage], err = indentedJSON(description)
	return files, err
}

func (t *dossierTable) csv(result map[string]any) ([]byte, error) {
	var out bytes.Buffer
	w := csv.NewWriter(&out)
	head := make([]string, len(t.columns))
	for i, c := range t.columns {
		head[i] = c.name
	}
	if err := w.Write(head); err != nil {
		return nil, err
	}
	for _, row := range t.rows(result) {
		cells := make([]string, len(row))
		for i, v := range row {
			cells[i] = cellOf(v)
		}
		if err := w.Write(cells); err != nil {
			return nil, err
		}
	}
	w.Flush()
	return out.Bytes(), w.Error()
}

// cellOf writes a member of a gain result as a cell; one that is not there is empty.
func cellOf(v any) string {
	switch v := v.(type) {
	case string:
		return v
	case json.Number:
		return v.String()
	case bool:
		return strconv.FormatBool(v)
	}
	return ""
}

type (
	packageJSON struct {
		Profile   string         `json:"profile"`
		Name      string         `json:"name"`
		Title     string         `json:"title"`
		Resources []resourceJSON `json:"resources"`
	}
	resourceJSON struct {
		Profile  string            `json:"profile"`
		Name     string            `json:"name"`
		Title    string            `json:"title"`
		Path     string            `json:"path"`
		Format   string            `json:"format"`
		Media    string            `json:"mediatype"`
		Encoding string            `json:"encoding"`
		Bytes    int               `json:"bytes"`
		Hash     string            `json:"hash"`
		Dialect  map[string]string `json:"dialect"`
		Schema   schemaJSON        `json:"schema"`
	}
	schemaJSON struct {
		Fields        []fieldJSON `json:"fields"`
		MissingValues []string    `json:"missingValues"`
		PrimaryKey    []string    `json:"primaryKey,omitempty"`
	}
	fieldJSON struct {
		Name        string `json:"name"`
		Type        string `json:"type"`
		Description string `json:"description"`
	}
)

func (t *dossierTable) resource(path string, text []byte) resourceJSON {
	r := resourceJSON{
		Profile: "tabular-data-resource", Name: t.name, Title: t.title, Path: path, Format: "csv", Media: "text/csv", Encoding: "utf-8",
		Bytes: len(text), Hash: evidence.OfBytes(text).String(), Dialect: map[string]string{"delimiter": ",", "lineTerminator": "\n"},
		Schema: schemaJSON{MissingValues: []string{""}, PrimaryKey: t.key},
	}
	for _, c := range t.columns {
		r.Schema.Fields = append(r.Schema.Fields, fieldJSON{c.name, c.kind, c.what})
	}
	return r
}
