package ingest

import (
	"regexp"
)

// clockFormat is how a header spells that a column holds the time of day.
var clockFormat = regexp.MustCompile(`^(?i:h{1,2}:m{1,2}:s{1,2})([.,][fs0z#xX]{1,9})?$`)

func isClockFormat(spelling string) bool { return clockFormat.MatchString(spelling) }

// daySeconds is the length of a day in s.
const daySeconds = 86400

// readClock returns the seconds since midnight of hh:mm:ss, with decimals of a
// second behind a point or a comma. Hours up to 99 are taken, so that a time
// since the start can be given so. What has two parts only could be hours and
// minutes or minutes and seconds: ErrTwoReadings.
func readClock(text []byte) (float64, error) {
	var parts [3]uint64
	n, at := 0, 0
	for ; n < len(parts); n++ {
		start := at
		for at < len(text) && text[at]-'0' <= 9 {
			parts[n] = parts[n]*10 + uint64(text[at]-'0')
			at++
			if at-start > 2 {
				return 0, ErrNotNumber
			}
		}
		if at == start {
			return 0, ErrNotNumber
		}
		if at == len(text) || text[at] != ':' || n == 2 {
			break
		}
		at++
	}
	if n == 1 && (at == len(text) || text[at] == '.' || text[at] == ',') {
		return 0, because(ErrTwoReadings, "could be hours and minutes or minutes and seconds")
	}
	if n != 2 || parts[1] > 59 || parts[2] > 59 {
		return 0, ErrNotNumber
	}
	digits, scale := parts[0]*3600+parts[1]*60+parts[2], 1.0
	if at < len(text) {
		if text[at] != '.' && text[at] != ',' || at+1 == len(text) || len(text)-at > 10 {
			return 0, ErrNotNumber
		}
		for _, c := range text[at+1:] {
			if c-'0' > 9 {
				return 0, ErrNotNumber
			}
			digits, scale = digits*10+uint64(c-'0'), scale*10
		}
	}
	return float64(digits) / scale, nil
}

// unwrapMidnight adds a day to all times behind a step back of more than half a
// day: the clock went through midnight. Smaller steps back stay as recorded.
func unwrapMidnight(times []float64) {
	days, before := 0.0, 0.0
	for i, t := range times {
		if i > 0 && before-t > daySeconds/2 {
			days += daySeconds
		}
		before = t
		times[i] = t + days
	}
}
