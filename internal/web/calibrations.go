package web

import (
	"net/http"
	"net/url"
	"time"

	"fairpull/internal/lab"
	"fairpull/quantity"
)

// calibrationFields are what a calibration measures, each with its standard
// uncertainty, SI.
var calibrationFields = []restField{
	{"inertia", "Drum inertia, kg·m²"}, {"inertia_u", "± standard uncertainty, kg·m²"},
	{"arm", "Brake arm, m"}, {"arm_u", "± standard uncertainty, m"},
	{"p0", "Bare drum torque c0, N·m"}, {"p0_u", "± standard uncertainty"},
	{"p1", "c1, N·m a rad/s"}, {"p1_u", "± standard uncertainty"},
	{"p2", "c2, N·m a (rad/s)²"}, {"p2_u", "± standard uncertainty"},
}

// calibrate keeps a calibration of a dyno.
func (s *Server) calibrate(w http.ResponseWriter, r *http.Request) error {
	if err := parsed(r); err != nil {
		return err
	}
	id := r.PathValue("dyno")
	if err := s.desk.KnowsDyno(r.Context(), id); err != nil {
		return err
	}
	f := newFields(r.PostForm)
	c := calibrationOf(f, id)
	if len(f.wrong) == 0 {
		if err := lab.CheckCalibration(c); err != nil { // it looks at the values alone
			f.blame("", upper(err.Error())+".")
		}
	}
	if len(f.wrong) == 0 {
		done, err := s.desk.Calibrate(r.Context(), c, lab.Author{Who: s.by(r), Why: f.text("why")})
		if err == nil {
			http.Redirect(w, r, "/dynos/"+url.PathEscape(id)+"?done="+map[bool]string{true: "calibrated", false: "calibrated-same"}[done.Changed]+"#calibrations", http.StatusSeeOther)
			return nil
		}
		if !f.take(err, func(string) string { return "" }) {
			return err
		}
		f.blame("why", "To put this one in its place, say why.")
	}
	return s.showDyno(w, r, http.StatusUnprocessableEntity, &dynoForms{calibration: f})
}

// calibrationOf reads the form of a calibration.
func calibrationOf(f *fields, dyno string) lab.Calibration {
	c := lab.Calibration{
		Dyno: dyno, Note: f.text("note"),
		DrumInertia: quantity.KilogramSquareMetre(f.number("inertia")), DrumInertiaU: quantity.KilogramSquareMetre(f.number("inertia_u")),
		BrakeArm: quantity.Metre(f.number("arm")), BrakeArmU: quantity.Metre(f.number("arm_u")),
		Parasitic:  [3]float64{f.number("p0"), f.number("p1"), f.number("p2")},
		ParasiticU: [3]float64{f.number("p0_u"), f.number("p1_u"), f.number("p2_u")},
	}
	for _, name := range []string{"inertia", "arm"} {
		if f.text(name+"_u") != "" && f.text(name) == "" {
			f.blame(name+"_u", "An uncertainty stands without its value.")
		}
	}
	clock := f.text("time")
	if clock == "" {
		clock = "00:00"
	}
	at, err := time.ParseInLocation("2006-01-02 15:04", f.text("day")+" "+clock, time.Local)
	switch {
	case f.text("day") == "":
		f.blame("day", "Since when does it hold? Give the day, as in 2026-03-02.")
	case err != nil:
		f.blame("day", "A day is written as in 2026-03-02, a time of day as in 08:30.")
	}
	c.ValidFrom = at
	return c
}
