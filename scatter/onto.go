package scatter

import "fmt"

// heldShare is the share of a grid's range over which a study's end values are held
// beyond its own range: that over which variances are averaged.
const heldShare = 1.0 / 15

// place is where a node of one grid lies on another: between nodes at and at+1, the
// given share of the way.
type place struct {
	at    int
	share float64
}

// placesOn returns the places of the nodes of grid on the engine speeds of a study,
// or why the study does not cover the grid. Both increase.
func placesOn(rpm, grid []float64) (places []place, why string) {
	if len(grid) == 0 {
		return nil, ""
	}
	last := len(rpm) - 1
	from, to := grid[0], grid[len(grid)-1]
	held := heldShare * (to - from)
	if from < rpm[0]-held || to > rpm[last]+held {
		return nil, fmt.Sprintf("it covers %.0f to %.0f 1/min, the curve needs %.0f to %.0f", rpm[0], rpm[last], from, to)
	}
	places = make([]place, len(grid))
	at := 0
	for i, r := range grid {
		for at < last-1 && rpm[at+1] <= r {
			at++
		}
		share := (r - rpm[at]) / (rpm[at+1] - rpm[at])
		places[i] = place{at, min(max(share, 0), 1)}
	}
	return places, ""
}

// onto puts the values of a row at the places into dst.
func onto(dst, row []float64, places []place) {
	for i, p := range places {
		dst[i] = row[p.at] + p.share*(row[p.at+1]-row[p.at])
	}
}
