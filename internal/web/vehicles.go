package web

import (
	"net/http"
	"net/url"

	"fairpull/campaign"
	"fairpull/internal/lab"
	"fairpull/quantity"
	"fairpull/report"
)

// vehiclesView is the page of the vehicles.
type vehiclesView struct {
	frame
	Rows    []vehicleRow
	F       url.Values
	Wrong   map[string]string
	Fields  []restField
	Classes []string // that there are
	Edited  string   // the vehicle whose statement stands in the form; empty: a new one
}

type vehicleRow struct {
	ID, Words string
	Class     string // that counts
	Version   int64
	Campaigns []string
}

// vehicleFields are what is stated of a vehicle in numbers, SI.
var vehicleFields = []restField{
	{"mass", "Mass with rider, kg"}, {"gear", "Gear of the pulls"}, {"revs", "Engine turns a drum turn in that gear"},
	{"wheel_inertia", "Driven wheel inertia with tyre, kg·m²"}, {"wheel_radius", "Driven wheel radius, m"},
}

func (s *Server) vehicles(w http.ResponseWriter, r *http.Request) error {
	return s.showVehicles(w, r, http.StatusOK, nil)
}

func (s *Server) showVehicles(w http.ResponseWriter, r *http.Request, status int, f *fields) error {
	list, err := s.desk.Vehicles(r.Context())
	if err != nil {
		return err
	}
	view := vehiclesView{frame: s.frame(r, "Vehicles"), Fields: vehicleFields, F: url.Values{}, Wrong: map[string]string{}}
	view.Section = "vehicles"
	if view.Classes, err = s.desk.VehicleClasses(r.Context()); err != nil {
		return err
	}
	wanted := r.URL.Query().Get("vehicle")
	for _, v := range list {
		view.Rows = append(view.Rows, vehicleRow{v.ID, report.VehicleWords(v.Vehicle, view.Units), v.Class, v.Version, v.Campaigns})
		if v.ID == wanted {
			view.Edited, view.F = v.ID, vehicleValues(v.Vehicle)
		}
	}
	if wanted != "" && view.Edited == "" {
		return &requestError{http.StatusNotFound, "The workspace knows no vehicle of that id."}
	}
	if f != nil {
		view.F, view.Wrong, view.Here = f.v, f.wrong, "/vehicles"
	}
	return s.page(w, r, status, "vehicles", view)
}

func vehicleValues(v campaign.Vehicle) url.Values {
	return url.Values{
		"id": {v.ID}, "class": {v.Class}, "description": {v.Description}, "tyre": {v.TyreSpeedSymbol}, "mass": {exact(float64(v.MassWithRider))}, "gear": {exact(float64(v.TestGear))},
		"revs": {exact(v.EngineRevsPerDrumRev)}, "wheel_inertia": {exact(float64(v.WheelInertia))}, "wheel_radius": {exact(float64(v.WheelRadius))},
	}
}

// vehicleField returns the field of the form that a key of campaign.toml is.
func vehicleField(key string) string {
	return map[string]string{
		"vehicle.id": "id", "vehicle.class": "class", "vehicle.description": "description", "vehicle.tyre_speed_symbol": "tyre", "vehicle.mass_with_rider_kg": "mass",
		"vehicle.test_gear": "gear", "vehicle.engine_revs_per_drum_rev": "revs", "vehicle.driven_wheel_inertia_kgm2": "wheel_inertia",
		"vehicle.driven_wheel_radius_m": "wheel_radius",
	}[key]
}

// saveVehicle keeps what the form states of a vehicle.
func (s *Server) saveVehicle(w http.ResponseWriter, r *http.Request) error {
	if err := parsed(r); err != nil {
		return err
	}
	f := newFields(r.PostForm)
	v := campaign.Vehicle{
		ID: f.text("id"), Class: f.text("class"), Description: f.text("description"), TyreSpeedSymbol: f.text("tyre"), MassWithRider: quantity.Kilogram(f.number("mass")),
		TestGear: f.whole("gear", 0, 20), EngineRevsPerDrumRev: f.number("revs"),
		WheelInertia: quantity.KilogramSquareMetre(f.number("wheel_inertia")), WheelRadius: quantity.Metre(f.number("wheel_radius")),
	}
	if len(f.wrong) == 0 {
		isNew, err := s.desk.SaveVehicle(r.Context(), v, lab.Author{Who: s.by(r), Why: f.text("why")})
		if err == nil {
			http.Redirect(w, r, "/vehicles?done="+savedWord(isNew), http.StatusSeeOther)
			return nil
		}
		if !f.take(err, vehicleField) {
			return err
		}
	}
	return s.showVehicles(w, r, http.StatusUnprocessableEntity, f)
}

func savedWord(isNew bool) string {
	if isNew {
		return "stated"
	}
	return "stated-same"
}
