package report

import (
	"strings"
	"testing"

	"fairpull/quantity"
)

// A sheet says what the gain comes to on the road only where that was asked for, in its
// own language, with the figures of the computation and that it is one.
func TestSheetOnTheRoad(t *testing.T) {
	claim := sampleClaim(t)
	r := roadSample()
	r.Claim, r.Candidate, r.Mass = claim, claim.Candidate, 285
	for language, want := range map[string][]string{
		"en": {"On the road", "60 to 100 km/h in gear 4: 3.15 ± 0.19 s instead of 3.40 ± 0.20 s; change −0.250 s (95 % interval: −0.300 to −0.200 s).", "285 kg with rider; not measured on a road"},
		"de": {"Auf der Straße", "60 bis 100 km/h im 4. Gang: 3,15 ± 0,19 s statt 3,40 ± 0,20 s; Änderung −0,250 s", "nicht auf der Straße gemessen"},
		"es": {"En carretera", "De 60 a 100 km/h en 4.ª marcha: 3,15 ± 0,19 s en lugar de 3,40 ± 0,20 s", "no medido en carretera"},
		"fr": {"Sur la route", "De 60 à 100 km/h, rapport 4", "3,15 ± 0,19 s au lieu de 3,40 ± 0,20 s", "non mesuré sur route"},
	} {
		s := sheetOf(t, claim, SheetOptions{Language: language, Road: r})
		sections := s.road(quantity.SI)
		if len(sections) != 1 {
			t.Fatalf("%s: %d sections", language, len(sections))
		}
		// One of five answers has an interval and no end of the curve in it.
		if len(sections[0].Said) != 2 {
			t.Errorf("%s: %q", language, sections[0].Said)
		}
		text := strings.ReplaceAll(sections[0].Head+" "+strings.Join(sections[0].Said, " "), "\u00a0", " ")
		for _, w := range want {
			if !strings.Contains(text, w) {
				t.Errorf("%s misses %q in %q", language, w, text)
			}
		}
	}
	if s := sheetOf(t, claim, SheetOptions{}); len(s.road(quantity.SI)) != 0 {
		t.Error("nobody asked for the road")
	}
	r.Answers = r.Answers[1:3]
	if said := sheetOf(t, claim, SheetOptions{Road: r}).road(quantity.SI)[0].Said; len(said) != 1 || !strings.Contains(said[0], "cannot be computed") {
		t.Errorf("%q", said)
	}
	r.Candidate = "Z"
	if _, err := NewSheet(claim, SheetOptions{Road: r}); err == nil {
		t.Error("the road of another candidate stands on the sheet")
	}
}

// With the section on the road the longest sheet still fits its page.
func TestSheetOnTheRoadFits(t *testing.T) {
	claim := longest(t)
	r := roadSample()
	r.Claim, r.Candidate, r.Mass = claim, claim.Candidate, 285
	for i := range r.Answers {
		r.Answers[i] = r.Answers[0] // as many as the sheet takes
	}
	for _, code := range LanguageCodes() {
		for _, size := range []sheet{a4, letter} {
			s := sheetOf(t, claim, SheetOptions{Language: code, Across: sampleVehicles(t, claim), Road: r})
			if _, fits := s.page(s.view(quantity.SI), size, quantity.SI); !fits {
				t.Errorf("%s, %v: it does not fit", code, size)
			}
		}
	}
}
