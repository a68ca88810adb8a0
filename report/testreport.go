package report

import (
	"errors"
	"fmt"
	"io"
	"strings"
	"time"

	"fairpull/campaign"
	"fairpull/compare"
	"fairpull/quantity"
	"fairpull/report/draw"
)

// TestReport is a claim as a laboratory reports it: with everything that ISO/IEC
// 17025:2017 asks of a report of test results (7.8.2.1 and 7.8.3.1), the decision
// rule (7.8.6) and the measurement uncertainty with its budget. That a report has
// these items says nothing of an accreditation, and the report says so.
type TestReport struct {
	claim      *Claim
	comparison *compare.Comparison
	at         int // index of the comparison
	details    ReportDetails
}

// ReportDetails are what a report says beside what was measured. What is empty is
// reported as not stated.
type ReportDetails struct {
	Number          string `toml:"number,omitempty"` // of the report; empty: the claim's with -R
	Laboratory      string `toml:"laboratory,omitempty"`
	Address         string `toml:"address,omitempty"`
	Location        string `toml:"location,omitempty"` // where the pulls were made; empty: the laboratory's address
	Customer        string `toml:"customer,omitempty"`
	CustomerContact string `toml:"customer_contact,omitempty"`
	Condition       string `toml:"condition,omitempty"` // of the items when they came
	Received        string `toml:"received,omitempty"`  // when they came, YYYY-MM-DD
	Sampling        string `toml:"sampling,omitempty"`  // how the specimens were picked, and by whom
	External        string `toml:"external,omitempty"`  // results that others provided; "none"
	Opinion         string `toml:"opinion,omitempty"`   // opinions and interpretations, marked as such
}

// maxDetail bounds one detail, in characters.
const maxDetail = 400

// Check refuses a detail that is too long, speaks of certification or is no day where
// one is asked for.
func (d *ReportDetails) Check() error {
	for _, own := range []struct{ what, text string }{
		{"number", d.Number}, {"laboratory", d.Laboratory}, {"address", d.Address}, {"location", d.Location}, {"customer", d.Customer},
		{"customer_contact", d.CustomerContact}, {"condition", d.Condition}, {"received", d.Received}, {"sampling", d.Sampling}, {"external", d.External}, {"opinion", d.Opinion},
	} {
		if len([]rune(own.text)) > maxDetail {
			return fmt.Errorf("the %s has more than %d characters", own.what, maxDetail)
		}
		if err := campaign.CheckClaimText(own.text); own.text != "" && err != nil {
			return fmt.Errorf("the %s %w", own.what, err)
		}
	}
	if _, err := time.Parse(time.DateOnly, d.Received); d.Received != "" && err != nil {
		return fmt.Errorf("the day on which the items were received, %.40q, is not written as 2031-05-14", d.Received)
	}
	return nil
}

// Or returns the details, and in the place of those that are not stated the others.
func (d ReportDetails) Or(others ReportDetails) ReportDetails {
	for _, own := range []struct {
		text  *string
		other string
	}{
		{&d.Number, others.Number}, {&d.Laboratory, others.Laboratory}, {&d.Address, others.Address}, {&d.Location, others.Location}, {&d.Customer, others.Customer},
		{&d.CustomerContact, others.CustomerContact}, {&d.Condition, others.Condition}, {&d.Received, others.Received}, {&d.Sampling, others.Sampling},
		{&d.External, others.External}, {&d.Opinion, others.Opinion},
	} {
		if strings.TrimSpace(*own.text) == "" {
			*own.text = own.other
		}
	}
	return d
}

// NewTestReport returns the report of a claim whose analysis is known. Details that do
// not pass Check are refused.
func NewTestReport(c *Claim, d ReportDetails) (*TestReport, error) {
	if c.Gain == nil {
		return nil, errors.New("a test report needs the analysis that the claim rests on")
	}
	r := &TestReport{claim: c, details: d, at: -1}
	for i := range c.Gain.Comparisons {
		if c.Gain.Comparisons[i].Candidate == c.Candidate {
			r.comparison, r.at = &c.Gain.Comparisons[i], i
		}
	}
	if r.at < 0 {
		return nil, fmt.Errorf("the analysis has no candidate %.80q, which claim %s is about", c.Candidate, clean(c.Number))
	}
	if err := d.Check(); err != nil {
		return nil, err
	}
	if r.details.Number == "" {
		r.details.Number = c.Number + "-R"
	}
	return r, nil
}

// reportItem is one thing that the standard asks a report to have, in words of our
// own, and the section of the report that has it.
type reportItem struct{ Clause, What, Section, Title string }

// reportItems are the items of ISO/IEC 17025:2017, 7.8.2.1 a) to p), 7.8.3.1 and 7.8.6
// (clauses from memory), and where each stands.
var reportItems = []reportItem{
	{"7.8.2.1 a", "a title", "", "Title of the report"},
	{"7.8.2.1 b", "who the laboratory is and its address", "identification", "Identification"},
	{"7.8.2.1 c", "where the work was done", "identification", "Identification"},
	{"7.8.2.1 d", "one number on every page, and a clear end", "end", "Foot of every page; end"},
	{"7.8.2.1 e", "the customer and how to reach them", "identification", "Identification"},
	{"7.8.2.1 f", "the method", "method", "Method"},
	{"7.8.2.1 g", "what was tested, unmistakably, and its condition", "configurations", "Identification; what was compared"},
	{"7.8.2.1 h", "when the items came in", "identification", "Identification"},
	{"7.8.2.1 i", "when it was tested", "identification", "Identification"},
	{"7.8.2.1 j", "when the report was issued", "identification", "Identification"},
	{"7.8.2.1 k", "how specimens were sampled", "identification", "Identification"},
	{"7.8.2.1 l", "that the results are of the tested items alone", "identification", "Identification"},
	{"7.8.2.1 m", "the results, with units", "results", "Results"},
	{"7.8.2.1 n", "what was added to, changed in or left out of the method", "deviations", "Deviations"},
	{"7.8.2.1 o", "who authorised the report", "identification", "Identification"},
	{"7.8.2.1 p", "which results came from others", "identification", "Identification"},
	{"7.8.3.1 a", "the conditions of the test", "conditions", "Conditions and recorded values"},
	{"7.8.3.1 b", "the statement on the question asked", "rule", "Statement and decision rule"},
	{"7.8.3.1 c", "the measurement uncertainty", "uncertainty", "Measurement uncertainty"},
	{"7.8.3.1 d", "opinions, marked as such", "opinions", "Opinions and interpretations"},
	{"7.8.6", "the rule by which the statement was made, and its risk", "rule", "Statement and decision rule"},
}

// notStated is what stands where a detail was not given.
const notStated = "not stated"

// Missing lists what the standard asks for and the details do not state, clause by
// clause.
func (d *ReportDetails) Missing() []string {
	var out []string
	for _, own := range []struct{ text, what string }{
		{d.Laboratory, "7.8.2.1 b: laboratory"}, {d.Address, "7.8.2.1 b: address"}, {d.Customer, "7.8.2.1 e: customer"}, {d.CustomerContact, "7.8.2.1 e: customer_contact"},
		{d.Condition, "7.8.2.1 g: condition"}, {d.Received, "7.8.2.1 h: received"}, {d.Sampling, "7.8.2.1 k: sampling"}, {d.External, "7.8.2.1 p: external"},
	} {
		if strings.TrimSpace(own.text) == "" {
			out = append(out, own.what)
		}
	}
	return out
}

// Missing lists what the standard asks for and nobody has stated, clause by clause.
func (r *TestReport) Missing() []string {
	out := r.details.Missing()
	if len(r.claim.Signed) == 0 {
		out = append(out, "7.8.2.1 o: nobody has signed the claim")
	}
	return out
}

func (r *TestReport) title() string {
	return "Test report " + clean(r.details.Number) + ": " + cleanTo(r.claim.Title, 160)
}

// issued is the day on which the report stands: that of the first signature, else of
// the latest state.
func (r *TestReport) issued() time.Time {
	for _, s := range r.claim.States {
		if s.State == campaign.ClaimSigned {
			return s.At
		}
	}
	if n := len(r.claim.States); n > 0 {
		return r.claim.States[n-1].At
	}
	return r.claim.Drafted
}

// foot is at the foot of every page.
func (r *TestReport) foot() string {
	standing := "issued " + Day(r.issued())
	if len(r.claim.Signed) == 0 {
		standing = "draft of " + Day(r.issued())
	}
	return joined(" · ", "Test report "+clean(r.details.Number), clean(r.details.Laboratory), standing, "Fairpull "+clean(r.claim.Version))
}

// issue is the day of issue in words.
func (r *TestReport) issue() string {
	if len(r.claim.Signed) == 0 {
		return "not issued: a draft"
	}
	return Day(r.issued())
}

// HTML writes the report as one page that stands alone. It is the accessible form.
func (r *TestReport) HTML(w io.Writer, units quantity.System) error {
	return writePage(w, r.title(), r.claim.Standing(), r.foot(), r.blocks(onScreen, units))
}

// PDF writes the report on A4, or on Letter for who reads US customary units: number
// and page x of y at every foot, vector charts, fonts within. The same report gives
// the same bytes.
func (r *TestReport) PDF(w io.Writer, units quantity.System) error {
	size := a4
	if units == quantity.USCustomary {
		size = letter
	}
	p := newPaper(size)
	p.write(r.blocks(onPaper, units))
	p.foot(r.foot(), "The HTML form of this report is the accessible one. The report may be copied only as a whole.")
	return draw.PDF(w, draw.Document{
		Title: r.title(), Subject: cleanTo(r.claim.Sentence, 600), Creator: "Fairpull" + labelled(" ", clean(r.claim.Version)),
		Language: "en", Created: r.issued().UTC(), Pages: p.pages,
	})
}

// errNoPicture says that a report has no form as one picture.
var errNoPicture = errors.New("a test report is written as HTML or PDF")

// SVG returns an error: a report is no picture.
func (r *TestReport) SVG(io.Writer, quantity.System) error { return errNoPicture }

// PNG returns an error: a report is no picture.
func (r *TestReport) PNG(io.Writer, quantity.System) error { return errNoPicture }

// blocks are the report in its order.
func (r *TestReport) blocks(l look, units quantity.System) []block {
	g, o := r.claim.Gain, documentOptions{units: units}
	out := []block{
		heading{Level: 1, Words: r.title()},
		paragraph{Words: r.claim.Standing()},
	}
	out = append(out, r.identification()...)
	out = append(out, r.results(l, o)...)
	out = append(out, r.rule()...)
	out = append(out, r.uncertainty()...)
	out = append(out, r.opinions()...)
	out = append(out, r.method(o)...)
	out = append(out, g.configurationBlocks()...)
	out = append(out, r.conditions(units)...)
	out = append(out, g.pullBlocks(l, o)...)
	out = append(out, g.checkBlocks()...)
	out = append(out, r.deviations()...)
	out = append(out, heading{Level: 2, Words: "What this does not cover", ID: "limits"}, bullets{Items: cleanedTo(r.claim.NotCovered, 600)}, bullets{Items: cleanedTo(r.claim.Cautions, 600)})
	out = append(out, cautionBlocks()...)
	out = append(out, g.numberBlocks(o)...)
	out = append(out, r.map17025(), heading{Level: 2, Words: "End", ID: "end"}, paragraph{Words: "End of test report " + clean(r.details.Number) + "."})
	return out
}

func cleanedTo(items []string, most int) []string {
	out := make([]string, len(items))
	for i, item := range items {
		out[i] = cleanTo(item, most)
	}
	return out
}
