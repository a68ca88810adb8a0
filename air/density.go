package air

import (
	"math"

	"fairpull/quantity"
)

// Density returns the density of the moist air by CIPM-2007:
//
//	ρ = p·Ma/(Z·R·T)·(1 − xv·(1 − Mv/Ma)),  xv = f(p, t)·e/p
//
// with 400 µmol/mol of carbon dioxide, Z the compressibility and f the
// enhancement factor. The equation is recommended for 600 to 1100 hPa and 15 to
// 27 °C with a relative standard uncertainty of 2.2e-5; up to 35 °C it agrees
// with IAPWS formulations within 2e-5; further out it is an extrapolation, whose
// terms for a real gas stay below 0.2 % together. It refuses what Check refuses.
//
// Source: A. Picard et al., Metrologia 45 (2008) 149, equations 1 to 3 and
// appendix A1.
func (s State) Density() (quantity.KilogramPerCubicMetre, error) {
	if err := s.Check(); err != nil {
		return 0, err
	}
	const (
		gasConstant = 8.314472    // J/(mol·K), the value CIPM-2007 was fitted with
		molarDry    = 28.96546e-3 // kg/mol at 400 µmol/mol of carbon dioxide
		molarWater  = 18.01528e-3 // kg/mol
		alpha       = 1.00062     // enhancement factor: constant,
		beta        = 3.14e-8     // by pressure, 1/Pa,
		gamma       = 5.6e-7      // by temperature, 1/K²
	)
	p, t, kelvin := float64(s.Pressure), s.Temperature.Celsius(), float64(s.Temperature)
	xv := (alpha + beta*p + gamma*t*t) * float64(s.Vapour) / p
	rho := p * molarDry / (compressibility(p, t, kelvin, xv) * gasConstant * kelvin) * (1 - xv*(1-molarWater/molarDry))
	return quantity.KilogramPerCubicMetre(rho), nil
}

// compressibility returns Z of moist air at p pascal, t °C (kelvin K) and mole
// fraction xv of vapour. Source: Picard et al. (2008), appendix A1.4.
func compressibility(p, t, kelvin, xv float64) float64 {
	const (
		a0, a1, a2 = 1.58123e-6, -2.9331e-8, 1.1043e-10
		b0, b1     = 5.707e-6, -2.051e-8
		c0, c1     = 1.9898e-4, -2.376e-6
		d, e       = 1.83e-11, -0.765e-8
	)
	r := p / kelvin
	return 1 - r*(a0+a1*t+a2*t*t+(b0+b1*t)*xv+(c0+c1*t)*xv*xv) + r*r*(d+e*xv*xv)
}

// DensityAltitude returns the geopotential height at which the dry standard
// atmosphere is as dense as this moist air. It refuses what Check refuses.
//
// The air's density is that of a real gas (Density), the standard atmosphere's
// that of an ideal one, so the standard state at sea level comes out about 4 m
// low. Source: inverse of the density of USSA76, equation 42 with 33b.
func (s State) DensityAltitude() (quantity.Metre, error) {
	rho, err := s.Density()
	if err != nil {
		return 0, err
	}
	seaLevel := standardPressure / (specificGas * standardTemperature)
	ratio := math.Pow(float64(rho)/seaLevel, 1/(pressureExponent-1))
	return quantity.Metre(standardTemperature / lapseRate * (1 - ratio)), nil
}
