package simulate

import (
	"math"
	"strconv"
	"time"

	"fairpull/quantity"
)

// plannedPull is one pull of the session before it is driven.
type plannedPull struct {
	name    string
	index   int
	block   int
	setup   string
	started time.Time
	hours   float64 // since the first pull

	written int // configuration that pulls.csv names
	fitted  int // configuration that was on the vehicle

	air   atmosphere // as it was
	typed atmosphere // as pulls.csv says

	tyre        quantity.Pascal // as it was
	tyreWritten quantity.Pascal
	oil         quantity.Kelvin
	lossChange  float64 // of this setup, a fraction

	steady bool // held speeds, not a pull

	faults faultSet
	rig    []departure // of setup, block and pull
	drift  float64     // ln
}

// configuration returns the index of the configuration with that letter, or −1.
func (s *Scenario) configuration(id string) int {
	for i := range s.Configurations {
		if s.Configurations[i].ID == id {
			return i
		}
	}
	return -1
}

// isPullName says whether name is one of the n pulls' names.
func isPullName(name string, n int) bool {
	i, err := strconv.Atoi(name)
	return err == nil && i >= 1 && i <= n && strconv.Itoa(i) == name
}

// session lays out all pulls in order of time, with their weather, scatter and
// faults. It needs a valid scenario.
func (s *Scenario) session() []plannedPull {
	pulls := make([]plannedPull, 0, s.Rows())
	seconds := 0.0
	for block, letter := range s.Plan.Order {
		configuration := s.configuration(string(letter))
		for i := range s.perBlock() {
			switch {
			case i > 0:
				seconds += s.Plan.PullEvery
			case block > 0:
				seconds += s.Plan.ChangeOver
			}
			p := plannedPull{
				name: strconv.Itoa(len(pulls) + 1), index: len(pulls), block: block,
				setup:   "s" + strconv.Itoa(block/s.Plan.BlocksPerSetup+1),
				started: s.Plan.Start.Add(time.Duration(math.Round(seconds)) * time.Second),
				hours:   seconds / 3600, written: configuration, fitted: configuration,
				steady: s.isSteady(i),
			}
			p.faults = s.faultsOf(p.name, string(letter), block)
			if f, has := p.faults[mislabelled]; has {
				p.fitted = s.configuration(f.Fitted)
			}
			pulls = append(pulls, p)
		}
	}
	s.addWeather(pulls)
	s.addScatter(pulls)
	return pulls
}

// addWeather gives every pull its air and the readings of it.
func (s *Scenario) addWeather(pulls []plannedPull) {
	hours := make([]float64, len(pulls))
	for i := range pulls {
		hours[i] = pulls[i].hours
	}
	w := s.Weather
	r := chance(s.Seed, weatherStream, 0)
	pressure, temperature, humidity := walk(r, w.PressureWalk, hours), walk(r, w.TemperatureWalk, hours), walk(r, w.HumidityWalk, hours)
	for i := range pulls {
		p := &pulls[i]
		p.air = atmosphere{
			pressure:    w.Pressure + quantity.Pascal(w.PressureRate*p.hours+pressure[i]),
			temperature: w.Temperature + quantity.Kelvin(w.TemperatureRate*p.hours+temperature[i]+p.faults.size(weatherJump)),
			humidity:    clamp(w.RelativeHumidity+w.HumidityRate*p.hours+humidity[i], 0.02, 1),
		}
		r := chance(s.Seed, readingStream, i)
		read := atmosphere{
			pressure:    p.air.pressure + quantity.Pascal(w.PressureRead*r.NormFloat64()),
			temperature: p.air.temperature + quantity.Kelvin(w.TemperatureRead*r.NormFloat64()),
			humidity:    clamp(p.air.humidity+w.HumidityRead*r.NormFloat64(), 0.01, 1),
		}
		if p.faults.has(seaLevelPressure) {
			read.pressure = seaLevel(read.pressure, s.Dyno.SiteElevation)
		}
		p.typed = read.rounded()
	}
}

// rounded returns the air as pulls.csv states it: to 1 Pa, 0.01 °C and 0.1 % of
// relative humidity.
func (a atmosphere) rounded() atmosphere {
	return atmosphere{
		pressure:    quantity.Pascal(math.Round(float64(a.pressure))),
		temperature: quantity.Kelvin(math.Round((float64(a.temperature)-zeroCelsius)*100)/100 + zeroCelsius),
		humidity:    math.Round(a.humidity*1000) / 1000,
	}
}

const zeroCelsius = 273.15 // K

// addScatter gives every pull the departures of its setup, its block and its
// own, the drift of the rig and the state of tyre and oil.
func (s *Scenario) addScatter(pulls []plannedPull) {
	low, high := s.Engine.StartRPM, s.Engine.CloseRPM
	for i := range pulls {
		p := &pulls[i]
		setup := chance(s.Seed, setupStream, p.block/s.Plan.BlocksPerSetup)
		block := chance(s.Seed, blockStream, p.block)
		own := chance(s.Seed, pullStream, i)
		p.rig = []departure{
			depart(setup, s.Scatter.Setup, low, high, 1, setupWaves),
			depart(block, s.Scatter.Block, low, high, 1, setupWaves),
			depart(own, s.Scatter.Pull, low, high, setupWaves+1, pullWaves),
		}
		p.lossChange = s.Scatter.SetupLoss * setup.NormFloat64()
		p.drift = s.Drift.at(p.hours)

		p.tyre = s.Vehicle.TyrePressure + quantity.Pascal(s.Scatter.TyrePressure*own.NormFloat64())
		p.tyreWritten = p.tyre
		p.tyre += quantity.Pascal(p.faults.size(tyrePressure))
		p.oil = s.Procedure.OilTemperature + quantity.Kelvin(s.Scatter.OilTemperature*own.NormFloat64())
		if p.faults.has(coldPull) {
			p.oil -= coldOil
		}
		if p.faults.has(coldFirstBlock) {
			p.oil -= quantity.Kelvin(2 * coldOil * math.Exp(-p.hours/warmUpTime))
		}
	}
}

// at returns the drift, ln of wheel torque, so many hours after the first pull.
func (d Drift) at(hours float64) float64 {
	drift := d.PerHour * hours
	if d.Saturating != 0 {
		drift += d.Saturating * (1 - math.Exp(-hours/d.Hours))
	}
	return drift
}

func clamp(x, low, high float64) float64 { return math.Min(math.Max(x, low), high) }
