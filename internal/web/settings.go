package web

import (
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"fairpull/internal/lab"
)

// Confidences that a campaign can be looked at with.
var confidences = []string{"0.8", "0.9", "0.95", "0.99"}

// lookParameters are the parameters of the address that change how a campaign is
// looked at.
var lookParameters = []string{"band_low", "band_high", "correction", "confidence"}

// lookOf reads how a campaign is to be looked at from the address.
func lookOf(q url.Values) (lab.LookSettings, error) {
	var as lab.LookSettings
	low, high := strings.TrimSpace(q.Get("band_low")), strings.TrimSpace(q.Get("band_high"))
	if low != "" || high != "" {
		a, errA := strconv.ParseFloat(low, 64)
		b, errB := strconv.ParseFloat(high, 64)
		if errA != nil || errB != nil || !(a >= 0) || !(b > a) || !(b <= 100_000) {
			return as, &requestError{http.StatusBadRequest, "The riding band takes two engine speeds in rpm, the lower one first, as in 2500 and 6000."}
		}
		as.BandRPM = [2]float64{a, b}
	}
	if as.Correction = q.Get("correction"); as.Correction != "" && !slices.Contains(lab.Corrections(), as.Correction) {
		return as, &requestError{http.StatusBadRequest, "There is no correction standard of that name. Choose one of: " + strings.Join(lab.Corrections(), ", ") + "."}
	}
	if text := q.Get("confidence"); text != "" {
		v, err := strconv.ParseFloat(text, 64)
		if err != nil || !(v >= 0.5) || !(v <= 0.999) {
			return as, &requestError{http.StatusBadRequest, "The confidence is a fraction from 0.5 to 0.999, as in 0.95."}
		}
		as.Confidence = v
	}
	return as, nil
}

// lookQuery keeps of an address what changes the look, for links to the same
// look; it begins with ? or is empty.
func lookQuery(q url.Values, more ...string) string {
	kept := url.Values{}
	for _, name := range append(more, lookParameters...) {
		if v := q.Get(name); v != "" {
			kept.Set(name, v)
		}
	}
	if len(kept) == 0 {
		return ""
	}
	return "?" + kept.Encode()
}
