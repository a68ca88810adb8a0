package scatter

// Study is what one campaign says of the scatter of the rig that it was measured
// on: the residuals of its own pulls, setups and repeated blocks, whatever was
// borrowed from history for its verdict.
//
// Columns are the nodes of SpeedRPM followed by the scalars (band mean, peak
// torque, peak power), all in ln(torque); a scalar that the campaign does not
// have is NaN in every row.
type Study struct {
	SpeedRPM []float64 // 1/min, increasing
	Setup    Level     // setup means about the model, one setup a configuration's repeat
	Block    Level     // means of repeated blocks within one setup, about the model
	Pull     Level     // pulls about their block's mean
	// DriftPerHour is the fitted drift of the primary figure and DriftSE its
	// standard error; DriftSE is 0 where the campaign was not bracketed.
	DriftPerHour, DriftSE float64
}

// Level is one level of scatter. A zero DF says nothing.
type Level struct {
	Residuals [][]float64
	DF        float64
	// Pulls is the harmonic mean of the pulls behind each row: 1 for single pulls.
	Pulls float64
}
