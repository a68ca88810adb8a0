package report

import (
	"bytes"
	"encoding/json"
	"fmt"
	"strings"
	"testing"
	"time"
)

// A change shows a bounded number of differences, and JSON has all; what was typed
// moves no cursor.
func TestTrailWords(t *testing.T) {
	long := TrailChange{Seq: 7, At: time.Date(2026, 3, 2, 14, 5, 6, 0, time.FixedZone("", 3600)), Who: "Anna \x1b[2JTest", Action: "supersede", Kind: "campaign", Subject: "twin", Version: 2}
	for i := range mostDifferences + 3 {
		long.Differences = append(long.Differences, TrailDifference{fmt.Sprintf("pull %d.Setup", i), `"s1"`, `"s2"`})
	}
	trail := Trail{Changes: []TrailChange{
		long,
		{Seq: 6, Who: "Bert Test", Why: "sold", Action: "result", Kind: "record", Subject: "record", From: "aa", To: "bb"},
		{Seq: 5, Who: "Bert Test", Action: "set", Kind: "dyno", Subject: "cell-1", Differences: []TrailDifference{{"check standard", `"twin"`, ""}, {"recipe", "", "1"}}},
	}, Next: 5}
	var out bytes.Buffer
	if err := trail.Text(&out, TextOptions{Width: 100}, "--after "); err != nil {
		t.Fatal(err)
	}
	text := out.String()
	for _, want := range []string{
		"7  2026-03-02 13:05:06 UTC  Anna", "supersede, campaign twin, version 2\n", "pull 19.Setup: \"s1\" → \"s2\"\n     … and 3 differences more\n",
		"Bert Test: result, record\n   why: sold\n     digest: aa → bb\n", "check standard: \"twin\" → nothing\n     recipe: 1\n", "There are more: --after 5\n",
	} {
		if !strings.Contains(text, want) {
			t.Errorf("the trail does not say %q:\n%s", want, text)
		}
	}
	if strings.Contains(text, "\x1b") || strings.Contains(text, "pull 20.Setup") {
		t.Errorf("the trail says\n%s", text)
	}
	data, err := trail.JSON()
	if err != nil {
		t.Fatal(err)
	}
	var back struct {
		Changes []struct{ Differences []TrailDifference }
		Next    int64
	}
	if err := json.Unmarshal(data, &back); err != nil || len(back.Changes) != 3 || len(back.Changes[0].Differences) != mostDifferences+3 || back.Next != 5 {
		t.Errorf("%v\n%s", err, data)
	}
	out.Reset()
	empty := Trail{Campaign: "twin"}
	if err := empty.Text(&out, TextOptions{Width: 100}, ""); err != nil || out.String() != "Audit trail of campaign twin\nNo change of this campaign is of that time.\n" {
		t.Errorf("%v, %q", err, out.String())
	}
	if data, err := empty.JSON(); err != nil || !strings.Contains(string(data), `"changes": []`) || !strings.Contains(string(data), `"next": null`) {
		t.Errorf("%v\n%s", err, data)
	}
}
