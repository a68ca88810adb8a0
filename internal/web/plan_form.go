package web

import (
	"net/url"
	"strconv"

	"fairpull/campaign"
	"fairpull/internal/lab"
	"fairpull/quantity"
)

// draftOf reads the campaign that the form describes.
func draftOf(f *fields) lab.PlanDraft {
	d := lab.PlanDraft{
		Like: f.text("like"), ID: f.text("id"), Title: f.text("title"), Purpose: f.text("purpose"),
		Vehicle: f.text("vehicle"), Dyno: f.text("dyno"),
		Objective: campaign.Objective{
			BandRPM:      [2]float64{f.within("band_low", 0, 100_000), f.within("band_high", 0, 100_000)},
			SmallestGain: f.within("smallest", 0, 100) / 100, Confidence: f.within("confidence", 50, 99.9) / 100,
			Primary: campaign.Primary(f.text("primary")), DriftLinear: f.ticked("drift_linear"),
		},
	}
	for n := range maxConfigs {
		if k, there := configurationOf(f, "k"+strconv.Itoa(n)+"_"); there {
			d.Configurations = append(d.Configurations, k)
		}
	}
	return d
}

// configurationOf reads the configuration whose fields begin so; one without an id
// is none.
func configurationOf(f *fields, p string) (campaign.Configuration, bool) {
	k := campaign.Configuration{
		ID: f.text(p + "id"), Role: campaign.Role(f.text(p + "role")), Name: f.text(p + "name"),
		WheelInertia: quantity.KilogramSquareMetre(f.number(p + "wheel_inertia")), WheelRadius: quantity.Metre(f.number(p + "wheel_radius")),
		EngineRevsPerDrumRev: f.number(p + "revs"),
	}
	for m := range maxParts {
		c := p + "c" + strconv.Itoa(m) + "_"
		part := campaign.Component{Function: f.text(c + "function"), Part: f.text(c + "part"), Serial: f.text(c + "serial"), Batch: f.text(c + "batch")}
		if part != (campaign.Component{}) {
			k.Components = append(k.Components, part)
		}
	}
	for m := range maxSettings {
		c := p + "s" + strconv.Itoa(m) + "_"
		if set := (campaign.Setting{Key: f.text(c + "key"), Value: f.text(c + "value")}); set != (campaign.Setting{}) {
			k.Settings = append(k.Settings, set)
		}
	}
	if k.ID == "" && (k.Name != "" || k.Components != nil || k.Settings != nil) {
		f.blame("configurations", "A configuration has parts and no id. Give it a short one, as in B; or empty its fields.")
	}
	return k, k.ID != ""
}

// planOptionsOf reads what the plan rests on.
func planOptionsOf(f *fields) lab.PlanOptions {
	usual := lab.DefaultRig()
	or := func(name string, low, high, value float64) float64 {
		if f.text(name) == "" {
			return value
		}
		return f.within(name, low, high)
	}
	o := lab.PlanOptions{
		Judged: lab.NotJudged(), Power: or("power", 1, 99.9, 100*lab.DefaultPower) / 100, Weather: or("weather", 0, 99, 0.5) / 100,
		Setups: lab.AnySetups, TopRPM: f.within("top_rpm", 0, 100_000),
		Rig: lab.RigTimes{
			PullMinutes: or("pull_minutes", 0, 1000, usual.PullMinutes), ChangeMinutes: or("change_minutes", 0, 10_000, usual.ChangeMinutes),
			StrapMinutes: or("strap_minutes", 0, 10_000, usual.StrapMinutes), WarmUpMinutes: or("warm_up_minutes", 0, 10_000, usual.WarmUpMinutes),
			SettlingPulls: int(or("settling", 0, campaign.MaxSettlingPulls, float64(usual.SettlingPulls))),
		},
	}
	if f.text("settling") != "" {
		o.Rig.SettlingPulls = f.whole("settling", 0, campaign.MaxSettlingPulls)
	}
	switch lab.PlanSetups(f.text("setups")) {
	case lab.AnewSetup:
		o.Setups = lab.AnewSetup
	case lab.OneSetup:
		o.Setups = lab.OneSetup
	}
	j := &o.Judged
	j.Nothing = f.ticked("no_history")
	for _, row := range []struct {
		name   string
		sd, df *float64
	}{{"setup", &j.SetupSD, &j.SetupDF}, {"block", &j.BlockSD, &j.BlockDF}, {"pull", &j.PullSD, &j.PullDF}} {
		*row.sd, *row.df = f.some(row.name+"_sd", 0.001, 99)/100, f.within(row.name+"_df", 0, 1e6)
		if *row.df != 0 && f.text(row.name+"_sd") == "" {
			f.blame(row.name+"_sd", "Degrees of freedom belong to a standard deviation, and none is given.")
		}
	}
	return o
}

// planValues writes a draft as the form shows it.
func planValues(d lab.PlanDraft) url.Values {
	v := url.Values{}
	set := func(name, value string) {
		if value != "" {
			v.Set(name, value)
		}
	}
	set("like", d.Like)
	set("id", d.ID)
	set("title", d.Title)
	set("purpose", d.Purpose)
	set("vehicle", d.Vehicle)
	set("dyno", d.Dyno)
	o := d.Objective
	set("primary", string(o.Primary))
	set("band_low", exact(o.BandRPM[0]))
	set("band_high", exact(o.BandRPM[1]))
	set("smallest", percents(o.SmallestGain))
	set("confidence", percents(o.Confidence))
	if o.DriftLinear {
		set("drift_linear", "yes")
	}
	for n, k := range d.Configurations[:min(len(d.Configurations), maxConfigs)] {
		p := "k" + strconv.Itoa(n) + "_"
		set(p+"id", k.ID)
		set(p+"role", string(k.Role))
		set(p+"name", k.Name)
		set(p+"wheel_inertia", exact(float64(k.WheelInertia)))
		set(p+"wheel_radius", exact(float64(k.WheelRadius)))
		set(p+"revs", exact(k.EngineRevsPerDrumRev))
		for m, part := range k.Components[:min(len(k.Components), maxParts)] {
			c := p + "c" + strconv.Itoa(m) + "_"
			set(c+"function", part.Function)
			set(c+"part", part.Part)
			set(c+"serial", part.Serial)
			set(c+"batch", part.Batch)
		}
		for m, setting := range k.Settings[:min(len(k.Settings), maxSettings)] {
			c := p + "s" + strconv.Itoa(m) + "_"
			set(c+"key", setting.Key)
			set(c+"value", setting.Value)
		}
	}
	return v
}

// configForms says which fields the form has: those that are filled in, spare rows,
// and one configuration that is not there yet.
func configForms(v url.Values) []configForm {
	last := -1
	for n := range maxConfigs {
		if v.Get("k"+strconv.Itoa(n)+"_id") != "" || v.Get("k"+strconv.Itoa(n)+"_name") != "" {
			last = n
		}
	}
	rows := func(prefix string, most int, names ...string) []int {
		filled := 0
		for m := range most {
			for _, name := range names {
				if v.Get(prefix+strconv.Itoa(m)+"_"+name) != "" {
					filled = m + 1
				}
			}
		}
		list := make([]int, min(filled+spareParts, most))
		for m := range list {
			list[m] = m
		}
		return list
	}
	var forms []configForm
	for n := range min(last+2, maxConfigs) {
		p := "k" + strconv.Itoa(n) + "_"
		forms = append(forms, configForm{
			N: n, ID: v.Get(p + "id"), Additional: n > last,
			Parts: rows(p+"c", maxParts, "function", "part", "serial", "batch"), Settings: rows(p+"s", maxSettings, "key", "value"),
		})
	}
	return forms
}
