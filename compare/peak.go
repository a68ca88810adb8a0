package compare

// peakDraws is the number of curves drawn to find by how much a peak read on a
// noisy mean stands too high.
const peakDraws = 500

// peakBias returns by how much the highest points of a configuration's smoothed
// torque and power curves exceed, in the mean over the noise of the configuration
// mean, the same curves read at one fixed speed; in ln. Noise lifts a maximum, and
// the broader the peak the more.
func (a *analysis) peakBias(configuration int, draws int) (torque, power float64) {
	noise := a.noise.curve(a.design.plain(configuration), a.grid)
	if draws == 0 || len(noise.rows)+len(noise.paths) == 0 {
		return 0, 0
	}
	mean := a.configurationMean(configuration)
	raised := make([]float64, len(mean))
	for i, v := range mean {
		raised[i] = v + a.grid.lnRPM[i]
	}
	curves := [2][]float64{a.grid.smoothed(mean), a.grid.smoothed(raised)}
	at := [2]int{a.peaks[configuration][0].node, a.peaks[configuration][1].node}

	// Smoothing is linear: rows are smoothed once, paths draw by draw.
	direct, rough := newField(noise.rpm), newField(noise.rpm)
	for _, row := range compact(noise.rows, len(mean)) {
		direct.rows = append(direct.rows, a.grid.smoothed(row))
	}
	rough.paths = noise.paths
	smooth, paths := direct.sampler(), rough.sampler()

	var sums [streams][2]float64
	spread(func(stream int) {
		from := newSource(a.digest, purposePeak, configuration*streams+stream)
		normals := make([]float64, max(smooth.room(), paths.room()))
		e, y := make([]float64, len(mean)), make([]float64, len(mean))
		for range (stream+1)*draws/streams - stream*draws/streams {
			smooth.draw(from, normals[:smooth.room()], e)
			if len(paths.paths) > 0 {
				paths.draw(from, normals[:paths.room()], y)
				for i, w := range a.grid.quadratic {
					e[i] += w.at(y)
				}
			}
			for m, curve := range curves {
				sums[stream][m] += excess(curve, e, at[m])
			}
		}
	})
	for _, s := range sums {
		torque += s[0] / float64(draws)
		power += s[1] / float64(draws)
	}
	return torque, power
}

// excess returns the highest inner point of curve + noise over the same sum at one
// node.
func excess(curve, noise []float64, at int) float64 {
	top := curve[at] + noise[at]
	fixed := top
	for i := edgeNodes; i < len(curve)-edgeNodes; i++ {
		if v := curve[i] + noise[i]; v > top {
			top = v
		}
	}
	return top - fixed
}
