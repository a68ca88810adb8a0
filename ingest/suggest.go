package ingest

import (
	"fmt"
	"strings"
)

// nearest returns the name that a slip of one or two letters makes of written,
// or "" where none is near. Case and the signs between words do not count.
func nearest(written string, names []string) string {
	best, least := "", 3
	from := plain(written)
	if len(from) < 3 || len(from) > 40 {
		return ""
	}
	for _, name := range names {
		to := plain(name)
		limit := min(2, (len(to)-1)/2)
		if d := distance(from, to, limit); d <= limit && d < least {
			best, least = name, d
		}
	}
	return best
}

// didYouMean returns "did you mean …?" with the nearest name, else fallback.
func didYouMean(written string, names []string, fallback string) string {
	if name := nearest(written, names); name != "" {
		return fmt.Sprintf("did you mean %s?", printable(name, longestShown))
	}
	return fallback
}

// plain returns name in lower case without signs between words.
func plain(name string) string {
	return strings.Map(func(r rune) rune {
		if r == '_' || r == '-' || r == ' ' || r == '.' {
			return -1
		}
		return r
	}, strings.ToLower(name))
}

// distance returns the number of single-byte insertions, deletions,
// substitutions and swaps of neighbours that lead from a to b, or limit+1 where
// their lengths alone ask for more than limit.
func distance(a, b string, limit int) int {
	if len(a)-len(b) > limit || len(b)-len(a) > limit {
		return limit + 1
	}
	before, last, row := make([]int, len(b)+1), make([]int, len(b)+1), make([]int, len(b)+1)
	for j := range last {
		last[j] = j
	}
	for i := 1; i <= len(a); i++ {
		row[0] = i
		for j := 1; j <= len(b); j++ {
			cost := 1
			if a[i-1] == b[j-1] {
				cost = 0
			}
			row[j] = min(last[j]+1, row[j-1]+1, last[j-1]+cost)
			if i > 1 && j > 1 && a[i-1] == b[j-2] && a[i-2] == b[j-1] {
				row[j] = min(row[j], before[j-2]+1)
			}
		}
		before, last, row = last, row, before
	}
	return last[len(b)]
}
