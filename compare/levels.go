package compare

// Origins is the variance of a gain by origin, ln², as the Part constants name them.
type Origins struct{ Setup, Block, Pull, Drift, Weather, Loss float64 }

// originsOf returns parts as origins.
func originsOf(parts map[string]float64) Origins {
	return Origins{parts[PartSetup], parts[PartBlock], parts[PartPull], parts[PartDrift], parts[PartWeather], parts[PartLoss]}
}

// Scatter is what the pulls, blocks and setups and the drift of the rig leave open.
func (o Origins) Scatter() float64 { return o.Setup + o.Block + o.Pull + o.Drift }

// LevelScatter is what the scatter of pulls, blocks and setups leaves open of one
// side's level: variances on the log scale by origin, and the degrees of freedom of
// their sum. All are 0 where the scatter is not known. A setup scatter that drops out
// of the gain, because all blocks lie in one setup, is not in it.
type LevelScatter struct {
	Setup, Block, Pull float64
	DF                 float64
}

// levelScatter returns the scatter of a configuration's level in a column.
func (a *analysis) levelScatter(configuration, column int) LevelScatter {
	v := a.noise.variances(a.design.level(configuration))[column]
	return LevelScatter{Setup: v.setup, Block: v.block, Pull: v.pull, DF: v.df}
}
