package store

import (
	"testing"

	"fairpull/campaign"
	"fairpull/quantity"
)

// The stored form is read for ever, and written as it was: a digest stands for
// it. The texts are those of version 1; a member that came later is left out
// where it says nothing.
func TestStoredForm(t *testing.T) {
	pull, _ := examplePull("", 0)
	pull.Line = 0
	pressure := quantity.Pascal(98100)
	pull.Weather.Pressure = &pressure
	pinned(t, "pull", pull, `{"Name":"1","Started":"2026-03-02T14:00:00+01:00","Configuration":"A","Setup":"s1","Log":"logs/001.csv",`+
		`"Weather":{"Pressure":98100,"Temperature":null,"RelativeHumidity":0.45,"VapourPressure":null,"WetBulb":null},"Excluded":"",`+
		`"CorrectionApplied":"","CorrectionFactor":0,"Values":{"note":"","oil_temp_degc":"91,5"},"Measured":{"oil_temp_degc":91.5},"Line":0}`)
	c := example("x", 0).Campaign
	pinned(t, "head", head(&c), `{"Title":"Intake kit on the twin","Purpose":"More torque where people ride?",`+
		`"Objective":{"BandRPM":[2500,6000],"SmallestGain":0.02,"Confidence":0.95,"Primary":"band","DriftLinear":false},`+
		`"Correction":"SAE J1349","Procedure":[{"Key":"oil_temp_degc","Target":90,"Tolerance":8}],`+
		`"History":{"SetupSD":0.007,"SetupDF":12,"BlockSD":0,"BlockDF":0,"PullSD":0,"PullDF":0,"Assumed":false},`+
		`"Channels":{"time":{"Column":"Zeit","Unit":"ms","DecimalMark":44}},"ExtraColumns":["note","oil_temp_degc"]}`)
	c.Vehicle.TyreSpeedSymbol, c.Vehicle.WheelInertia, c.Vehicle.WheelRadius, c.Vehicle.EngineRevsPerDrumRev = "H", 0.62, 0.31, 3.71
	pinned(t, "vehicle", c.Vehicle, `{"ID":"twin-03","Description":"parallel twin","MassWithRider":285,"TestGear":4,"EngineRevsPerDrumRev":3.71,`+
		`"WheelInertia":0.62,"WheelRadius":0.31,"TyreSpeedSymbol":"H"}`)
	c.Vehicle.Class = "twin-650"
	pinned(t, "vehicle with a class", c.Vehicle, `{"ID":"twin-03","Description":"parallel twin","MassWithRider":285,"TestGear":4,"EngineRevsPerDrumRev":3.71,`+
		`"WheelInertia":0.62,"WheelRadius":0.31,"TyreSpeedSymbol":"H","Class":"twin-650"}`)
	elevation := quantity.Metre(210)
	c.Dyno.SiteElevation, c.Dyno.PulsesPerRev, c.Dyno.EnginePulsesPerRev, c.Dyno.BrakeArm = &elevation, 60, 0.5, 0.4
	pinned(t, "dyno", c.Dyno, `{"ID":"cell-1","DrumInertia":41.8,"DrumInertiaU":0.42,"DrumRadius":0.2286,"PulsesPerRev":60,"EnginePulsesPerRev":0.5,`+
		`"Parasitic":[1.1,0.01,0],"BrakeArm":0.4,"SiteElevation":210}`)
	pinned(t, "configuration", c.Configurations[1], `{"ID":"B","Role":"candidate","Name":"kit",`+
		`"Components":[{"Function":"camshaft","Part":"K-218","Serial":"0417","Batch":""}],"Settings":[{"Key":"fuel","Value":"E10 98, batch 7"}],`+
		`"WheelInertia":0,"WheelRadius":0.31,"EngineRevsPerDrumRev":0}`)
	if _, err := read[campaign.Pull]("pull", `{"Name":"1","Tyre":"hot"}`); err == nil {
		t.Error("a member that the program does not know was lost in silence")
	}
}

func pinned[T any](t *testing.T, what string, value T, text string) {
	t.Helper()
	back, err := read[T](what, text)
	if err != nil {
		t.Errorf("%s: %v", what, err)
		return
	}
	row, err := write(what, back)
	if err != nil || row.body != text {
		t.Errorf("%s is stored as\n%s, %v; it was\n%s", what, row.body, err, text)
	}
	row, err = write(what, value)
	if err != nil || row.body != text {
		t.Errorf("%s is stored as\n%s, %v; want\n%s", what, row.body, err, text)
	}
}
