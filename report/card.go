package report

import (
	"encoding/json"
	"fmt"
	"html/template"
	"math"
	"slices"
	"strconv"
	"strings"

	"fairpull/compare"
	"fairpull/report/draw"
)

// Card is a kept gain result as a list shows it: its verdicts, each with a small
// picture of the gain.
type Card struct {
	Campaign string
	Answers  []Answer // one for each candidate
	NotPass  []string // checks that failed or warn: "fail: gear"
}

// Answer is the verdict of one comparison.
type Answer struct {
	Candidate, Verdict string // the verdict as the result has it: gain shown
	Sentence           string
	Shown              bool          // a gain, a loss or no difference is shown
	Picture            template.HTML // gain over engine speed with its limits and a line at zero
}

// maxCardNodes bounds the curve of a card.
const maxCardNodes = 2000

// ReadCard reads a gain result, format fairpull.gain/1, as a list shows it. The
// pictures are told apart on a page by the campaign's id.
func ReadCard(body []byte) (Card, error) {
	var result struct {
		Format      string
		Campaign    string
		Comparisons []struct {
			Candidate, Verdict, Sentence string
			Curve                        []struct {
				RPM    *float64 `json:"rpm"`
				Gain   *float64 `json:"gain_pct"`
				Lo     *float64 `json:"lo_pct"`
				Hi     *float64 `json:"hi_pct"`
				BandLo *float64 `json:"band_lo_pct"`
				BandHi *float64 `json:"band_hi_pct"`
			}
		}
		Checks []struct{ ID, Status string }
	}
	if err := json.Unmarshal(body, &result); err != nil {
		return Card{}, fmt.Errorf("gain result: %w", err)
	}
	if result.Format != "fairpull.gain/1" {
		return Card{}, fmt.Errorf("%.40q is not a gain result", result.Format)
	}
	card := Card{Campaign: clean(result.Campaign)}
	for i, c := range result.Comparisons {
		var s gainSeries
		for _, n := range c.Curve[:min(len(c.Curve), maxCardNodes)] {
			s.RPM, s.Gain = append(s.RPM, orNaN(n.RPM)), append(s.Gain, orNaN(n.Gain))
			lo, hi := orNaN(n.BandLo), orNaN(n.BandHi)
			s.BandLo, s.BandHi = append(s.BandLo, lo), append(s.BandHi, hi)
			s.Lo, s.Hi = append(s.Lo, orNaN(n.Lo)), append(s.Hi, orNaN(n.Hi))
		}
		picture, err := smallGain(s, card.Campaign+"-"+strconv.Itoa(i+1), c.Candidate)
		if err != nil {
			return Card{}, err
		}
		card.Answers = append(card.Answers, Answer{
			Candidate: clean(c.Candidate), Verdict: cleanTo(c.Verdict, 40), Sentence: unbroken(cleanTo(c.Sentence, 2000)),
			Shown: c.Verdict != string(compare.NotEnoughEvidence) && c.Verdict != "", Picture: picture,
		})
	}
	for _, k := range result.Checks {
		if k.Status == "fail" || k.Status == "warn" {
			card.NotPass = append(card.NotPass, clean(k.ID)+" ("+k.Status+")")
		}
	}
	slices.Sort(card.NotPass)
	return card, nil
}

func orNaN(v *float64) float64 {
	if v == nil {
		return math.NaN()
	}
	return *v
}

// smallGain draws a gain without words: the line, its whole-band limits (those
// at each speed where there are none) and the zero line.
func smallGain(s gainSeries, id, candidate string) (template.HTML, error) {
	const width, height, margin = 180.0, 56.0, 2.0
	p := draw.Picture{Width: width, Height: height, ID: "small-" + id, Title: "Gain of " + clean(candidate) + ", per cent over engine speed"}
	x, y := newExtent(), newExtent()
	for i, rpm := range s.RPM {
		if !math.IsNaN(rpm) && !math.IsNaN(s.Gain[i]) {
			x.add(rpm)
		}
		y.add(s.Gain[i], s.Lo[i], s.Hi[i])
	}
	if x.empty() || y.empty() || !(x.hi > x.lo) {
		p.Description = "There is no curve."
	} else {
		y.add(0)
		p.Description = "From " + plain(x.lo) + " to " + plain(x.hi) + " rpm; the figures stand with the campaign."
		lo, hi := padded(y.lo, y.hi, 0.08)
		if hi-lo < 1 {
			lo, hi = lo-0.5, hi+0.5
		}
		f := frame{picture: &p, x: scale{Lo: x.lo, Hi: x.hi}, y: scale{Lo: lo, Hi: hi},
			left: margin, top: margin, width: width - 2*margin, height: height - 2*margin, size: 8}
		f.ribbon(s.RPM, s.Lo, s.Hi, paintGain.Faded(0.16))
		f.ribbon(s.RPM, s.BandLo, s.BandHi, paintGain.Faded(0.24))
		zero := f.at(f.x.Lo, 0)
		p.Add(draw.Stroke{Points: []draw.Point{zero, {X: f.left + f.width, Y: zero.Y}}, Width: 1, Paint: paintInk})
		f.line(s.RPM, s.Gain, 1.8, nil, paintGain)
	}
	var b strings.Builder
	if err := draw.SVG(&b, p, true); err != nil {
		return "", err
	}
	return template.HTML(b.String()), nil
}
