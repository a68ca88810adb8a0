package simulate

import "time"

// Default returns a complete scenario without a fault: an invented 650 cc twin
// on an invented drum, an intake and cam kit that gains most in the middle and
// loses a little low down, three pulls a block, baseline – candidate – baseline,
// re-strapped between, with a lab's history.
//
// Vehicle, rig, parts, scatter and gain are invented; none is measured.
func Default() Scenario {
	return Scenario{
		ID: "twin650-sim", Title: "Simulated kit on a 650 twin", Seed: 1,
		Purpose:    "A campaign whose truth is known.",
		Correction: "SAE J1349",
		Objective:  Objective{BandRPM: [2]float64{3000, 6500}, SmallestGain: 0.02, Confidence: 0.95, Primary: "band"},
		Vehicle: Vehicle{
			ID: "twin650-03", Description: "650 cc parallel twin, 6-speed", MassWithRider: 285, TestGear: 4,
			TyreSpeedSymbol: "H", RevsPerDrumRev: 5.5, WheelInertia: 0.62, WheelRadius: 0.315, StateWheel: true,
			Loss: [3]float64{11, 0.05, 0.0004}, TyrePressure: 250_000, PressureExponent: -0.4,
			Slip: 2e-5, SlipTime: 0.04,
		},
		Engine: Engine{
			Torque: twinTorque(), Drag: [2]float64{7, 0.012}, Inertia: 0.02,
			IdleRPM: 1200, StartRPM: 1900, CloseRPM: 7800, AirLaw: "SAE J1349",
			MixtureBest: 0.88, MixtureCurvature: 4,
		},
		Dyno: Dyno{
			ID: "cell-1", Inertia: 15.0, InertiaU: 0.11, Radius: 0.25,
			Parasitic: [3]float64{1.1, 0.010, 0.00004}, SiteElevation: 210,
		},
		Logger: Logger{Kind: SampledLog, EncoderError: 0.0015, EncoderPhase: 0.7, Sampled: defaultSampled(), Pulses: defaultPulses()},
		Drive:  Drive{Lead: 0.5, OpenTime: 0.05, CloseTime: 0.05, ClutchDelay: 0.25, Coast: 4.6},
		Weather: Weather{
			Pressure: 98_900, Temperature: 294.6, RelativeHumidity: 0.52,
			PressureRate: -45, TemperatureRate: 1.1, HumidityRate: -0.02,
			PressureWalk: 15, TemperatureWalk: 0.2, HumidityWalk: 0.01,
			PressureRead: 10, TemperatureRead: 0.1, HumidityRead: 0.005,
		},
		Scatter: Scatter{
			Setup:     Spread{Common: 0.006, Tilt: 0.0025, Course: 0.0025},
			Block:     Spread{Common: 0.0015, Tilt: 0.0005, Course: 0.0005},
			Pull:      Spread{Common: 0.003, Tilt: 0.001, Course: 0.0015},
			SetupLoss: 0.015, TyrePressure: 1500, OilTemperature: 1.5,
		},
		Drift:     Drift{PerHour: 0.002},
		Plan:      Plan{Order: "ABA", PullsPerBlock: 3, BlocksPerSetup: 1, Start: sessionStart(), PullEvery: 240, ChangeOver: 2700},
		Procedure: Procedure{TyreTolerance: 7_000, OilTemperature: 90 + zeroCelsius, OilTolerance: 8},
		Configurations: []Configuration{
			{
				ID: "A", Name: "as delivered", Lambda: 0.88,
				Components: parts("C-650-1", "F-650-1", "X-650-2"),
				Settings:   []Setting{{"calibration", "as delivered"}, {"fuel", "E10 98, batch 7"}},
			},
			{
				ID: "B", Name: "intake and cam kit", Lambda: 0.88, Gain: kitGain(),
				Components: withSerial(parts("K-218", "K-218 F", "X-650-2")),
				Settings:   []Setting{{"calibration", "K-218 r3"}, {"fuel", "E10 98, batch 7"}},
			},
		},
		History: &History{SetupSD: 0.007, SetupDF: 12, BlockSD: 0.002, BlockDF: 8, PullSD: 0.004, PullDF: 60},
	}
}

// twinTorque is a twin's full-throttle torque: a hollow near 3,300 1/min, the
// peak above 5,000, and a fall towards the limiter.
func twinTorque() Shape {
	return Shape{
		Level: 60, MidRPM: 5200, Bend: -0.30, Skew: -0.35,
		Bumps: []Bump{{1500, 600, -6}, {3300, 450, -3}, {5400, 900, 3}, {8600, 900, -15}},
	}
}

// kitGain gains up to 8 % in the middle and loses a little at 2,450 1/min.
func kitGain() Shape {
	return Shape{Bumps: []Bump{{6000, 1900, 0.075}, {2450, 350, -0.026}}}
}

func parts(cam, airbox, exhaust string) []Component {
	return []Component{
		{Function: "camshaft", Part: cam},
		{Function: "intake", Part: airbox},
		{Function: "exhaust", Part: exhaust},
	}
}

func withSerial(list []Component) []Component {
	list[0].Serial, list[0].Batch = "0417", "31-06"
	return list
}

func sessionStart() time.Time {
	return time.Date(2025, time.September, 16, 9, 20, 0, 0, time.FixedZone("", 2*3600))
}

func defaultSampled() Sampled {
	return Sampled{
		Rate: 200, TimeStep: 0.001, DrumUnit: KilometresPerHour, DrumNoise: 0.018, DrumStep: 0.01,
		EngineSpeed: true, EngineNoise: 6, EngineStep: 1,
		Throttle: true, OilTemperature: true, Lambda: true, LambdaNoise: 0.004, LambdaTime: 0.08,
	}
}

func defaultPulses() Pulses {
	return Pulses{
		PerRev: 60, ToothError: 0.004, TimerStep: 1e-6, DrumJitter: 1e-6,
		EnginePerRev: 1, EngineJitter: 0.004, EngineMissed: 0.002,
	}
}
