package report

import (
	"bytes"
	"fmt"
	"math"
	"regexp"
	"strings"
	"testing"

	"fairpull/campaign"
	"fairpull/quantity"
)

func sampleDetails() ReportDetails {
	return ReportDetails{
		Number: "TR-0042", Laboratory: "Lab of the invented maker", Address: "1 Example Road, Sampletown", Location: "cell 1, ground floor",
		Customer: "Invented Parts", CustomerContact: "parts@maker.example", Condition: "new, unused", Received: "2031-05-10",
		Sampling: "one kit, taken from stock by the customer", External: "none", Opinion: "The kit does what it is for.",
	}
}

func reportOf(t testing.TB, c *Claim, d ReportDetails) *TestReport {
	t.Helper()
	r, err := NewTestReport(c, d)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// sectionOf returns the words of a section of a page: from its heading to the next.
func sectionOf(page, id string) string {
	at := strings.Index(page, `id="`+id+`"`)
	if at < 0 {
		return ""
	}
	rest := page[at:]
	if end := strings.Index(rest[1:], "<h2"); end >= 0 {
		rest = rest[:end+1]
	}
	return plainText("<body>" + rest)
}

// ISO/IEC 17025:2017, 7.8.2.1 a) to p), 7.8.3.1 and 7.8.6 (clauses from memory, in
// words of our own): each item stands in the section that the report's own table
// names, on the page, and its words on the paper.
func TestReportHasWhatTheStandardAsks(t *testing.T) {
	claim := sampleClaim(t)
	r := reportOf(t, claim, sampleDetails())
	page := written(t, r.HTML, quantity.SI)
	paper := newPaper(a4)
	paper.write(r.blocks(onPaper, quantity.SI))
	paper.foot(r.foot(), "")
	printed := ""
	for _, p := range paper.pages {
		printed += " " + wordsOf(p)
	}
	band := gainTextOf(&claim.Gain.Comparisons[0].Band)
	has := map[string][]string{
		"7.8.2.1 a": {"Test report TR-0042"},
		"7.8.2.1 b": {"Lab of the invented maker", "1 Example Road, Sampletown"},
		"7.8.2.1 c": {"cell 1, ground floor"},
		"7.8.2.1 d": {"End of test report TR-0042."},
		"7.8.2.1 e": {"Invented Parts", "parts@maker.example"},
		"7.8.2.1 f": {"Method version 1", "SAE J1349"},
		"7.8.2.1 g": {"K-218", "serial 0417"},
		"7.8.2.1 h": {"2031-05-10"},
		"7.8.2.1 i": {"2031-05-14"},
		"7.8.2.1 j": {"2031-06-03"},
		"7.8.2.1 k": {"one kit, taken from stock"},
		"7.8.2.1 l": {"relate only to the items tested"},
		"7.8.2.1 m": {band.Value + " %", "58.10", "kW"},
		"7.8.2.1 n": {"Pull 10 (A) is not used: wrong gear: third."},
		"7.8.2.1 o": {"Ada Approver"},
		"7.8.2.1 p": {"Results from external providers none"},
		"7.8.3.1 a": {"correction factor", "1.0210 to 1.0258"},
		"7.8.3.1 b": {"Stated: gain shown"},
		"7.8.3.1 c": {"setup to setup", "expanded", "effective degrees of freedom"},
		"7.8.3.1 d": {"Opinion, not a result: The kit does what it is for."},
		"7.8.6":     {"one-sided lower bound", "at most about 5 %"},
	}
	if len(reportItems) != len(has) {
		t.Errorf("%d items in the report's table, %d here", len(reportItems), len(has))
	}
	own := plainText(page)
	for _, item := range reportItems {
		where := own
		if item.Section == "results" { // its figures stand in the sections that follow it
			where = sectionOf(page, "comparison-1")
		} else if item.Section != "" {
			where = sectionOf(page, item.Section)
		}
		if item.Clause == "7.8.2.1 g" {
			where += sectionOf(page, "identification")
		}
		for _, words := range has[item.Clause] {
			if !strings.Contains(where, words) {
				t.Errorf("%s, %s: section %q of the page has no %q: %.300s", item.Clause, item.What, item.Section, words, where)
			}
			if first := strings.Fields(words)[0]; !strings.Contains(printed, first) {
				t.Errorf("%s: the paper has no %q", item.Clause, first)
			}
		}
		if !strings.Contains(own, item.Clause+" "+item.What) {
			t.Errorf("the table of clauses lacks %s", item.Clause)
		}
	}
	if got := r.Missing(); got != nil {
		t.Errorf("missing: %v", got)
	}
	for i, p := range paper.pages {
		if words := wordsOf(p); !strings.Contains(words, fmt.Sprintf("page %d of %d", i+1, len(paper.pages))) || !strings.Contains(words, "TR-0042") {
			t.Errorf("page %d has no number", i+1)
		}
	}
}

// What is not given is said to be not stated, and listed; a draft says that nobody
// authorised it.
func TestReportSaysWhatIsMissing(t *testing.T) {
	claim := sampleClaim(t)
	claim.Signed, claim.States = nil, claim.States[:1]
	r := reportOf(t, claim, ReportDetails{})
	if got := strings.Join(r.Missing(), "; "); strings.Count(got, ";") != 8 || !strings.Contains(got, "7.8.2.1 e: customer;") || !strings.Contains(got, "7.8.2.1 o") {
		t.Errorf("missing: %s", got)
	}
	page := plainText(written(t, r.HTML, quantity.SI))
	for _, want := range []string{"Test report C-0007-R", "Laboratory not stated", "Customer not stated", "Authorised by nobody", "Issued on not issued: a draft", "draft of ", "A draft by Dora Drafter", "Opinions and interpretations None."} {
		if !strings.Contains(page, want) {
			t.Errorf("the page has no %q", want)
		}
	}
}

// The budget: squares of the parts sum to the square of the combined uncertainty,
// shares to a hundred, and the expanded one is half of the interval of the gain.
func TestReportBudget(t *testing.T) {
	claim := sampleClaim(t)
	c := &claim.Gain.Comparisons[0]
	total := 0.0
	for _, v := range c.Parts {
		total += v
	}
	f := &c.Band
	f.SE, f.Lo, f.Hi = math.Sqrt(total), f.Gain-2.17*math.Sqrt(total), f.Gain+2.17*math.Sqrt(total)
	claim.Claimed, _ = claim.Gain.ClaimFigureOf(c, c.Primary)
	budget := sectionOf(written(t, reportOf(t, claim, sampleDetails()).HTML, quantity.SI), "uncertainty")
	squares, shares := 0.0, 0.0
	rows := regexp.MustCompile(`(setup to setup|change-over within a setup|pull to pull|drift of the rig|correction for the air|where the correction is applied) .*?(\d\.\d{3}) (\d+\.\d)`).FindAllStringSubmatch(budget, -1)
	if len(rows) != len(budgetParts) {
		t.Fatalf("%d rows of %d: %s", len(rows), len(budgetParts), budget)
	}
	for _, row := range rows {
		var u, share float64
		if _, err := fmt.Sscan(row[2], &u); err != nil {
			t.Fatal(err)
		}
		if _, err := fmt.Sscan(row[3], &share); err != nil {
			t.Fatal(err)
		}
		squares, shares = squares+u*u, shares+share
	}
	if math.Abs(math.Sqrt(squares)-100*f.SE) > 0.001 || math.Abs(shares-100) > 0.3 {
		t.Errorf("root of the squares %.4f with %.4f combined; shares sum to %.1f", math.Sqrt(squares), 100*f.SE, shares)
	}
	for _, want := range []string{fixed(100*f.SE, 3), "times 2.17", fixed(50*(f.Hi-f.Lo), 3), "relative standard uncertainty of 1.00 %"} {
		if !strings.Contains(budget, want) {
			t.Errorf("the budget has no %q: %s", want, budget)
		}
	}
}

// Every pull is in the report with its recorded values, the excluded one with its
// reason; values are in the reader's units.
func TestReportRecordedValues(t *testing.T) {
	claim := sampleClaim(t)
	for i, p := range claim.Gain.Pulls {
		claim.Gain.Campaign.Pulls = append(claim.Gain.Campaign.Pulls, campaign.Pull{Name: p.Pull, Measured: map[string]float64{"tyre_pressure_kpa": 250 + float64(i)}})
	}
	r := reportOf(t, claim, sampleDetails())
	conditions := sectionOf(written(t, r.HTML, quantity.SI), "conditions")
	for i, p := range claim.Gain.Pulls {
		if want := fmt.Sprintf("%s %s %s ", p.Pull, p.Configuration, p.Setup); !strings.Contains(conditions, want) || !strings.Contains(conditions, fmt.Sprint(250+i)) {
			t.Errorf("pull %s is not among the recorded values: %s", p.Pull, conditions)
		}
	}
	if !strings.Contains(conditions, "no wrong gear: third 259 –") {
		t.Errorf("the excluded pull: %s", conditions)
	}
	if us := sectionOf(written(t, r.HTML, quantity.USCustomary), "conditions"); !strings.Contains(us, "36.3 ± 1.0 psi") || !strings.Contains(us, "36.4") { // 250 kPa = 36.26 psi, 251 kPa = 36.40 psi
		t.Errorf("US units: %s", us)
	}
}

func TestReportRefuses(t *testing.T) {
	for want, spoil := range map[string]func(*Claim, *ReportDetails){
		"needs the analysis": func(c *Claim, _ *ReportDetails) { c.Gain = nil },
		"no candidate":       func(c *Claim, _ *ReportDetails) { c.Candidate = "X" },
		"2031-05-14":         func(_ *Claim, d *ReportDetails) { d.Received = "10 May" },
		"certif":             func(_ *Claim, d *ReportDetails) { d.Opinion = "Certified to be good." },
		"400 characters":     func(_ *Claim, d *ReportDetails) { d.Address = strings.Repeat("a", 401) },
		"the customer":       func(_ *Claim, d *ReportDetails) { d.Customer = "a\x1b[31m" },
	} {
		claim, d := sampleClaim(t), sampleDetails()
		spoil(claim, &d)
		if _, err := NewTestReport(claim, d); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%v does not say %q", err, want)
		}
	}
}

// The same report gives the same bytes, on the paper of its reader.
func TestReportPDF(t *testing.T) {
	r := reportOf(t, sampleClaim(t), sampleDetails())
	one, two := written(t, r.PDF, quantity.SI), written(t, r.PDF, quantity.SI)
	if one != two {
		t.Error("two writings differ")
	}
	for _, want := range []string{"/Lang (en)", "/Title", "/FontFile2", "595.28"} {
		if !strings.Contains(one, want) {
			t.Errorf("the file has no %q", want)
		}
	}
	if !bytes.Contains([]byte(written(t, r.PDF, quantity.USCustomary)), []byte("612.00 792.00")) {
		t.Error("US customary units do not go on Letter")
	}
	if pages := strings.Count(one, "/Type /Page\n"); pages < 3 {
		t.Errorf("%d pages", pages)
	}
}
