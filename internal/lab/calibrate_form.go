package lab

import "fmt"

// ReadingsTable is the name of the table that a form of readings names.
const ReadingsTable = "readings.csv"

// ReadingsForm is what a file of readings begins as: every key that the kind has, empty
// and behind a #, with what it means.
type ReadingsForm struct {
	Text  string
	Table string // the table's row of names, if the kind has a table
	Logs  bool   // the kind takes logs
}

// NewReadings returns the form of a kind of calibration for a dyno.
func NewReadings(kind, dyno string) (ReadingsForm, error) {
	if !IsCalibrationKind(kind) {
		return ReadingsForm{}, unknownKind(kind)
	}
	f := readingsForms[kind]
	head := fmt.Sprintf("format = %q\nkind = %q\ndyno = %q\n", readingsFormat, kind, dyno) + `date = ""    # from which day on it holds, as "2031-02-03"; needed to keep it
note = ""    # how it was measured, by which certificate
`
	if f.Table != "" {
		head += fmt.Sprintf("table = %q\n", ReadingsTable)
	}
	f.Text = head + "\n" + f.Text
	return f, nil
}

// ExampleReadings returns an example of a kind: the file of readings of an invented rig, and
// its table, or how its first log begins.
func ExampleReadings(kind string) (ReadingsForm, error) {
	if !IsCalibrationKind(kind) {
		return ReadingsForm{}, unknownKind(kind)
	}
	files, err := exampleFiles(kind)
	if err != nil {
		return ReadingsForm{}, err
	}
	return ReadingsForm{Text: string(files[kind+".toml"]), Table: string(files[ReadingsTable]), Logs: readingsForms[kind].Logs}, nil
}

// ReadingsLog is how a file of readings lists a log.
func ReadingsLog(name string) string { return fmt.Sprintf("\n[[spin]]\nlog = %q\n", name) }

const (
	formPulses     = "# drum_pulses_per_rev =      # for logs of pulses\n"
	formRadius     = "# drum_radius_m =            # m\n"
	formOfInertia  = "# drum_inertia_kgm2 =        # kg·m²; else the calibration in use\n# drum_inertia_u_kgm2 =      # its standard uncertainty\n"
	formSpeedRange = "# speeds_rad_s = [ , ]       # the range to compare over; else what the spins share\n# speeds_kmh = [ , ]         # the same at the drum's surface, with drum_radius_m\n"
	formReference  = "# reference_u =              # standard uncertainty of the reference, "
	formCourse     = "# parasitic_torque_nm = [ , , ]   # c0, c1, c2; else the calibration in use\n"
	formInUse      = "\n[in_use]                     # what the rig has now, for the limits of rules\n"
)

var readingsForms = map[string]ReadingsForm{
	calibrateInertia: {Logs: true, Text: "# drum_speed_u_pct =         # standard uncertainty of the scale of drum speed, %\n# brake_torque_u_pct =       # of the brake torque, %\n" + formPulses + formRadius + formSpeedRange + formInUse +
		`# drum_inertia_kgm2 =        # kg·m²; else the calibration in use

# [added]                    # what was put on
# inertia_kgm2 =             # kg·m²
# inertia_u_kgm2 =           # its standard uncertainty

# [[ring]]                   # a piece of the drum; repeat it for each
# name = ""
# outer_m =                  # diameters, m
# outer_u_m =
# inner_m =
# inner_u_m =
# mass_kg =                  # or density_kgm3 and length_m
# mass_u_kg =
# density_kgm3 =
# density_u_kgm3 =
# length_m =
# length_u_m =

# [[spin]]                   # a log; repeat it for each
# log = ""
# added = true               # the known inertia was on
# brake_torque_nm =          # or the mean brake torque
# rising = true              # a pull
`},
	calibrateBareDrum:  {Logs: true, Text: formRadius + formPulses + formOfInertia + formInUse + formCourse + "\n# [[spin]]                   # a log; repeat it for each\n# log = \"\"\n"},
	calibrateCoastDown: {Logs: true, Text: formRadius + formPulses + formOfInertia + "# step_kmh =                 # stretches; else 10 mile/h\n" + formInUse + formCourse + "\n# [[spin]]                   # the log\n# log = \"\"\n"},
	calibrateBrake: {Table: "mass_kg,force_n,falling,reverse\n", Text: `# lever_m =                  # from the axis, m
# lever_u_m =                # its standard uncertainty
# weights_u_pct =            # standard uncertainty of the set of weights, %
# latitude_deg =             # of the place
# height_m =
# gravity_m_s2 =             # or local gravity itself
# gravity_u_m_s2 =
# zero_before_n =            # the force shown without weights
# zero_after_n =
` + formInUse + "# brake_arm_m =              # m; else the calibration in use\n"},
	calibrateDrumSpeed:   {Table: "shown_rpm,reference_hz\n", Text: formRadius + "# drum_pulses_per_rev =      # of the encoder, where the reference is a frequency\n" + formReference + "%\n# resolution =               # a step of its last digit, rad/s\n"},
	calibrateEngineSpeed: {Table: "shown_rpm,reference_rpm\n", Text: formReference + "%\n# resolution =               # a step of its last digit, rad/s\n"},
	calibrateBarometer:   {Table: "shown_hpa,reference_hpa\n", Text: formOfSensor},
	calibrateThermometer: {Table: "shown_degc,reference_degc\n", Text: formOfSensor},
	calibrateHygrometer:  {Table: "shown_pct,reference_pct\n", Text: formOfSensor},
}

const formOfSensor = formReference + `in the unit of the table
# resolution =               # a step of the sensor's last digit
# with_slope = true          # five readings or more: find the slope, too
`
