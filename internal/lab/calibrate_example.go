package lab

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"strconv"

	"fairpull/simulate"
)

// The invented rig of the examples: a drum of 12 kg·m² whose bearings take some
// 7 N·m, a brake arm of 0.3 m. docs/calibration.md names this truth.
var exampleRig = simulate.BareDrum{Seed: 7, Inertia: 12, Parasitic: [3]float64{4, 0.03, 0.0001}, ParasiticScatter: 0.002, Rate: 10, SpeedNoise: 0.03}

const exampleArm = 0.3

// WriteCalibrationExample writes the readings of an invented rig to a new folder: the
// file of readings of the kind, and the logs or the table that it names.
func WriteCalibrationExample(kind, dir string) error {
	if !IsCalibrationKind(kind) {
		return unknownKind(kind)
	}
	return writeFolder(dir, func(staging string) error {
		files, err := exampleFiles(kind)
		if err != nil {
			return err
		}
		for name, data := range files {
			if err := os.WriteFile(filepath.Join(staging, name), data, 0o666); err != nil {
				return err
			}
		}
		return nil
	})
}

// exampleFiles returns the files of an example by name.
func exampleFiles(kind string) (map[string][]byte, error) {
	head := fmt.Sprintf("format = %q\nkind = %q\ndyno = \"cell-9\"\ndate = \"2031-02-03\"\n", readingsFormat, kind)
	files := map[string][]byte{}
	var err error
	switch kind {
	case calibrateInertia:
		head += exampleInertia
		for k := range 6 {
			added := 0.0
			if k%2 == 1 {
				added = 3
			}
			name := fmt.Sprintf("spin-%d.csv", k+1)
			head += fmt.Sprintf("\n[[spin]]\nlog = %q\nadded = %v\n", name, added > 0)
			if files[name], err = exampleSpin(k, added, 150, 60); err != nil {
				return nil, err
			}
		}
	case calibrateBareDrum, calibrateCoastDown:
		head += map[string]string{calibrateBareDrum: exampleBareDrum, calibrateCoastDown: exampleCoastDown}[kind]
		for k := range map[string]int{calibrateBareDrum: 4, calibrateCoastDown: 1}[kind] {
			name := fmt.Sprintf("coast-%d.csv", k+1)
			head += fmt.Sprintf("\n[[spin]]\nlog = %q\n", name)
			if files[name], err = exampleSpin(20+k, 0, 150, 25); err != nil {
				return nil, err
			}
		}
	default:
		head += "table = \"readings.csv\"\n" + exampleTables[kind].head
		files["readings.csv"] = []byte(exampleTables[kind].rows)
		if kind == calibrateBrake {
			files["readings.csv"] = exampleLoads()
		}
	}
	files[kind+".toml"] = []byte(head)
	return files, nil
}

const exampleInertia = `note = "invented example: two discs put on; the drum has 12 kg·m²"
drum_speed_u_pct = 0.02

[in_use]
drum_inertia_kgm2 = 11.9

[added]
inertia_kgm2 = 3.0
inertia_u_kgm2 = 0.003

[[ring]]
name = "shell"
outer_m = 0.500
outer_u_m = 0.0003
inner_m = 0.440
inner_u_m = 0.0005
density_kgm3 = 7850
density_u_kgm3 = 20
length_m = 0.520
length_u_m = 0.001

[[ring]]
name = "end discs and shaft"
outer_m = 0.440
outer_u_m = 0.0005
mass_kg = 81.4
mass_u_kg = 2
`

const exampleBareDrum = `note = "invented example"
drum_radius_m = 0.25
drum_inertia_kgm2 = 12.0
drum_inertia_u_kgm2 = 0.04

[in_use]
parasitic_torque_nm = [4.2, 0.03, 0.0001]
`

const exampleCoastDown = `note = "invented example"
drum_radius_m = 0.25
drum_inertia_kgm2 = 12.0
drum_inertia_u_kgm2 = 0.04

[in_use]
parasitic_torque_nm = [4.0, 0.03, 0.0001]
`

// exampleTables are the heads and the tables of the kinds that have one.
var exampleTables = map[string]struct{ head, rows string }{
	calibrateBrake: {head: `note = "invented example: true arm 0.300 m"
lever_m = 0.800
lever_u_m = 0.0004
weights_u_pct = 0.01
latitude_deg = 47.5
height_m = 420
zero_before_n = 0.6
zero_after_n = 0.8

[in_use]
brake_arm_m = 0.302
`},
	calibrateDrumSpeed: {head: `note = "invented example: counter on the encoder, 60 pulses a turn"
drum_radius_m = 0.25
drum_pulses_per_rev = 60
reference_u = 0.001      # %
resolution = 0.002       # rad/s
`, rows: "shown_rpm,reference_hz\n172.0,172.1\n800.0,800.3\n1400.0,1400.4\n2000.0,2000.7\n"},
	calibrateEngineSpeed: {head: `note = "invented example: optical tachometer"
reference_u = 0.02       # %
resolution = 0.1         # rad/s
`, rows: "shown_rpm,reference_rpm\n1500,1503\n3000,3004\n5000,5009\n7000,7011\n8500,8515\n"},
	calibrateBarometer: {head: `note = "invented example: both at the height of the rig"
reference_u = 0.15       # in the unit of the table
resolution = 0.1
`, rows: "shown_hpa,reference_hpa\n961.2,962.4\n968.9,970.0\n955.1,956.4\n"},
	calibrateThermometer: {head: `note = "invented example: one bath for both"
reference_u = 0.05       # in the unit of the table
resolution = 0.1
with_slope = true
`, rows: "shown_degc,reference_degc\n10.2,10.02\n15.1,14.98\n20.2,20.03\n25.1,24.99\n30.2,30.04\n35.1,35.01\n"},
	calibrateHygrometer: {head: `note = "invented example: over saturated salts"
reference_u = 1.0        # in the unit of the table
resolution = 0.1
`, rows: "shown_pct,reference_pct\n35.4,33.1\n55.2,52.9\n77.6,75.5\n"},
}

// exampleSpin is a log of the invented drum.
func exampleSpin(number int, added, from, to float64) ([]byte, error) {
	s, err := exampleRig.CoastDown(number, added, 0, from, to)
	if err != nil {
		return nil, err
	}
	var out bytes.Buffer
	out.WriteString("time [s],drum_speed [rad/s]\n")
	for i := range s.Time {
		out.WriteString(strconv.FormatFloat(s.Time[i], 'f', 1, 64) + "," + strconv.FormatFloat(s.Speed[i], 'f', 3, 64) + "\n")
	}
	return out.Bytes(), nil
}

// exampleLoads are the readings of the invented brake: weights of 5 kg, on and off, both
// ways, read to 0.1 N with a little hysteresis.
func exampleLoads() []byte {
	var out bytes.Buffer
	out.WriteString("mass_kg,force_n,falling,reverse\n")
	wobble := []float64{0.1, -0.1, 0.0, 0.2, -0.2, 0.1, 0.0, -0.1}
	n := 0
	for _, reverse := range []string{"no", "yes"} {
		for _, falling := range []string{"no", "yes"} {
			for k := range 7 {
				mass := 5 * k
				if falling == "yes" {
					mass = 5 * (6 - k)
				}
				force := 0.6 + float64(mass)*9.807*0.8*(1-1.2/7850)/exampleArm + wobble[n%len(wobble)]
				if falling == "yes" && mass < 30 {
					force += 0.4
				}
				if reverse == "yes" {
					force *= 1.0004
				}
				n++
				fmt.Fprintf(&out, "%d,%.1f,%s,%s\n", mass, force, falling, reverse)
			}
		}
	}
	return out.Bytes()
}
