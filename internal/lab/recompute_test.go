package lab

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"fairpull/internal/store"
	"fairpull/report"
)

// outcomes reads what came of a recomputation, by campaign.
func outcomes(t *testing.T, w *Workspace, r report.Recomputation) map[string]report.Recomputed {
	t.Helper()
	found := map[string]report.Recomputed{}
	err := w.Recomputed(t.Context(), r.ID, func(one report.Recomputed) error { found[one.Campaign] = one; return nil })
	if err != nil {
		t.Fatal(err)
	}
	return found
}

// older keeps a result in which something is otherwise than today's program finds
// it, as an earlier program might have left it.
func older(t *testing.T, w *Workspace, id string, change func(body string) string) store.Result {
	t.Helper()
	r, err := w.store.LatestResult(t.Context(), id)
	if err != nil {
		t.Fatal(err)
	}
	body := change(string(r.Body))
	if body == string(r.Body) {
		t.Fatal("the change finds nothing to change")
	}
	r.Body, r.Program = []byte(body), "0.0.1"
	if _, err := w.store.SaveResult(t.Context(), r, anna); err != nil {
		t.Fatal(err)
	}
	if r, err = w.store.LatestResult(t.Context(), id); err != nil {
		t.Fatal(err)
	}
	return r
}

func TestRecompute(t *testing.T) {
	w := newWorkspace(t)
	var ids []string
	for n := range 4 {
		putScenario(t, w, labScenario(n))
		ids = append(ids, labScenario(n).ID)
		mustJudge(t, w, ids[n], true)
	}
	o := RecomputeOptions{By: anna, Program: "2"}
	r, err := w.Recompute(t.Context(), o)
	if err != nil || r.Campaigns != 4 || r.Done != 4 || r.Resumed {
		t.Fatalf("got %+v, %v", r, err)
	}
	for id, one := range outcomes(t, w, r) {
		if one.Moved() || one.Problem != "" || one.Kept != "" || one.ProgramBefore != "1" {
			t.Errorf("%s, derived by the program that found it: %+v", id, one)
		}
	}

	// An earlier program found another verdict and another figure for one, and of
	// another campaign a log is gone.
	today, err := w.store.LatestResult(t.Context(), ids[1])
	if err != nil {
		t.Fatal(err)
	}
	verdict := `"verdict": ` + between(t, string(today.Body), `"verdict": `, ",")
	was := older(t, w, ids[1], func(body string) string {
		return strings.Replace(strings.Replace(body, verdict, `"verdict": "loss shown"`, 1), `"gain_pct": `, `"gain_pct": 1`, 1)
	})
	loseLog(t, w, ids[2])
	for _, row := range []struct {
		name   string
		dryRun bool
	}{{"dry", true}, {"kept", false}} {
		o.DryRun = row.dryRun
		if r, err = w.Recompute(t.Context(), o); err != nil {
			t.Fatal(err)
		}
		found := outcomes(t, w, r)
		one := found[ids[1]]
		if len(one.Verdicts) != 1 || one.Verdicts[0].From != "loss shown" || `"verdict": "`+one.Verdicts[0].To+`"` != verdict {
			t.Errorf("%s: the verdicts are %+v; want loss shown → %s", row.name, one.Verdicts, verdict)
		}
		if len(one.Moves) != 1 || one.Moves[0].Path != "B band gain_pct" || !one.Moves[0].Shown() || *one.Moves[0].From < 10 {
			t.Errorf("%s: the moves are %+v; want the band's gain, of more than 10 %%", row.name, one.Moves)
		}
		if problem := found[ids[2]].Problem; !strings.Contains(problem, "logs/pull-001.csv") {
			t.Errorf("%s: the campaign without a log has the problem %q", row.name, problem)
		}
		if found[ids[0]].Moved() || found[ids[3]].Moved() {
			t.Errorf("%s: others moved: %+v, %+v", row.name, found[ids[0]], found[ids[3]])
		}
		latest, err := w.store.LatestResult(t.Context(), ids[1])
		if err != nil {
			t.Fatal(err)
		}
		if row.dryRun {
			if one.Kept != "" || latest.ID != was.ID {
				t.Errorf("a dry run kept %q; the latest is %s, was %s", one.Kept, latest.ID, was.ID)
			}
			continue
		}
		if latest.ID != one.Kept || latest.Program != "2" || !bytes.Equal(latest.Body, today.Body) {
			t.Errorf("the latest is %s of program %s, kept was %s; its body is that of today: %v", latest.ID, latest.Program, one.Kept, bytes.Equal(latest.Body, today.Body))
		}
		all, err := w.store.Results(t.Context(), ids[1], 10)
		if err != nil || len(all) != 3 || !bytes.Equal(all[1].Body, was.Body) {
			t.Errorf("there are %d results, %v; want three, the earlier ones as they were", len(all), err)
		}
	}
}

// between returns what stands in text after one mark and before the next.
func between(t *testing.T, text, after, before string) string {
	t.Helper()
	_, rest, found := strings.Cut(text, after)
	value, _, ended := strings.Cut(rest, before)
	if !found || !ended {
		t.Fatalf("%q is not in the result", after)
	}
	return value
}

// loseLog removes the file of a campaign's first log.
func loseLog(t *testing.T, w *Workspace, id string) {
	t.Helper()
	entry, err := w.store.Entry(t.Context(), id, 0)
	if err != nil {
		t.Fatal(err)
	}
	name := entry.Logs[entry.Campaign.Pulls[0].Log].Hex()
	if err := os.Remove(filepath.Join(w.Place(), "blobs", name[:2], name)); err != nil {
		t.Fatal(err)
	}
}

// A recomputation that was interrupted is gone on with by the same call, and by
// no other.
func TestRecomputeGoesOn(t *testing.T) {
	w := newWorkspace(t)
	for n := range 3 {
		putScenario(t, w, labScenario(n))
		mustJudge(t, w, labScenario(n).ID, true)
	}
	ctx, cancel := context.WithCancel(t.Context())
	o := RecomputeOptions{By: anna, Program: "2", Progress: func(done, _ int) {
		if done > 0 {
			cancel()
		}
	}, Begun: func(report.Recomputation) { cancel() }}
	if r, err := w.Recompute(ctx, o); !errors.Is(err, context.Canceled) {
		t.Fatalf("got %+v, %v; want context.Canceled", r, err)
	}
	o.Progress, o.Begun = nil, nil
	another := o
	another.Campaigns = []string{labScenario(0).ID}
	if _, err := w.Recompute(t.Context(), another); err == nil || !strings.Contains(err.Error(), "--anew") {
		t.Errorf("other work gives %v; want to be told of --anew", err)
	}
	join := o
	join.Join = true
	if _, err := w.Recompute(t.Context(), join); !errors.Is(err, store.ErrNoSharing) {
		t.Errorf("to join in a directory gives %v", err)
	}
	join.Program = "3"
	if _, err := w.Recompute(t.Context(), join); err == nil || !strings.Contains(err.Error(), "use that version") {
		t.Errorf("to join with another program gives %v", err)
	}
	r, err := w.Recompute(t.Context(), o)
	if err != nil || !r.Resumed || r.Done != 3 || len(outcomes(t, w, r)) != 3 {
		t.Errorf("gone on with: %+v, %v", r, err)
	}
	join.Program = "2"
	if _, err := w.Recompute(t.Context(), join); err == nil || !strings.Contains(err.Error(), "could be joined") {
		t.Errorf("to join when nothing goes on gives %v", err)
	}
	another.Campaigns = []string{"nowhere"}
	if _, err := w.Recompute(t.Context(), another); err == nil || !strings.Contains(err.Error(), "fairpull campaigns") {
		t.Errorf("a campaign that is not there gives %v", err)
	}
	another.Campaigns = []string{labScenario(1).ID}
	if r, err := w.Recompute(t.Context(), another); err != nil || r.Campaigns != 1 {
		t.Errorf("one campaign: %+v, %v", r, err)
	}
}

// What is said of two results, on results of a few lines.
func TestDifference(t *testing.T) {
	const base = `{"format":"f","confidence":0.95,"comparisons":[{"candidate":"B","verdict":"gain shown","sentence":"s",
		"band":{"gain_pct":6.7,"lo_pct":5.5,"hi_pct":7.9,"at_least_pct":5.78},
		"curve":[{"rpm":2500,"gain_pct":5,"lo_pct":4,"hi_pct":6},{"rpm":2550,"gain_pct":5,"lo_pct":4,"hi_pct":6}]}],
		"pulls":[{"pull":"1","used":true},{"pull":"2","used":true}],"checks":[{"id":"slip","status":"pass","pulls":["1"]}]}`
	for _, row := range []struct {
		from, to string
		verdicts string
		moves    []string
	}{
		{`"verdict":"gain shown"`, `"verdict":"not enough evidence"`, "B: gain shown → not enough evidence", nil},
		{`"gain_pct":6.7`, `"gain_pct":6.74`, "", []string{"B band gain_pct 6.7→6.74 shown +6.7→+6.7"}},
		{`"gain_pct":6.7`, `"gain_pct":6.76`, "", []string{"B band gain_pct 6.7→6.76 shown +6.7→+6.8"}},
		{`"gain_pct":6.7`, `"gain_pct":null`, "", []string{"B band gain_pct 6.7→none shown +6.7→–"}},
		{`"at_least_pct":5.78`, `"at_least_pct":5.81`, "", []string{"B band at_least_pct 5.78→5.81 shown 5.7→5.8"}},
		{`"rpm":2500,"gain_pct":5`, `"rpm":2500,"gain_pct":5.5`, "", []string{"B curve gain_pct 5→5.5 shown +5.0→+5.5 at 2500, 1 of 2"}},
		{`,{"rpm":2550,"gain_pct":5,"lo_pct":4,"hi_pct":6}`, ``, "", []string{"B curve range text 2 nodes→1 nodes"}},
		{`{"pull":"2","used":true}`, `{"pull":"2","used":false}`, "", []string{"pulls 2 used text true→false"}},
		{`,{"pull":"2","used":true}`, ``, "", []string{"pulls 2 text there→none"}},
		{`"pulls":["1"]`, `"pulls":["1","2"]`, "", []string{`checks slip pulls text ["1"]→["1","2"]`}},
		{`"status":"pass"`, `"status":"warn"`, "", []string{"checks slip status text pass→warn"}},
		{`{"format":"f",`, `{ "format":"f",`, "", []string{"the result's text text →"}},
	} {
		changed := strings.Replace(base, row.from, row.to, 1)
		var found report.Recomputed
		if err := difference(&found, store.Result{Body: []byte(base)}, store.Result{Body: []byte(changed)}); err != nil || changed == base {
			t.Fatalf("%s: %v", row.from, err)
		}
		var verdicts, moves []string
		for _, v := range found.Verdicts {
			verdicts = append(verdicts, v.Candidate+": "+v.From+" → "+v.To)
		}
		for _, m := range found.Moves {
			moves = append(moves, moveText(m))
		}
		if strings.Join(verdicts, "; ") != row.verdicts || !slices.Equal(moves, row.moves) {
			t.Errorf("%s → %s is told as verdicts %q, moves %q; want %q, %q", row.from, row.to, verdicts, moves, row.verdicts, row.moves)
		}
	}
	var same report.Recomputed
	if err := difference(&same, store.Result{Body: []byte(base), Scatter: []byte(`1`)}, store.Result{Body: []byte(base), Scatter: []byte(`1`)}); err != nil || same.Moved() {
		t.Errorf("the same: %+v, %v", same, err)
	}
	if err := difference(&same, store.Result{Body: []byte(base), Scatter: []byte(`1`)}, store.Result{Body: []byte(base), Scatter: []byte(`2`)}); err != nil || len(same.Moves) != 1 {
		t.Errorf("another scatter: %+v, %v", same, err)
	}
}

func moveText(m report.Move) string {
	number := func(v *float64) string {
		if v == nil {
			return "none"
		}
		return fmt.Sprint(*v)
	}
	if m.Text {
		return m.Path + " text " + m.FromText + "→" + m.ToText
	}
	text := fmt.Sprintf("%s %s→%s shown %s→%s", m.Path, number(m.From), number(m.To), m.FromShown, m.ToShown)
	if m.Nodes > 0 {
		text += fmt.Sprintf(" at %s, %d of %d", m.RPM, m.Nodes, m.Of)
	}
	return text
}
