package lab

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"time"

	"fairpull/campaign"
	"fairpull/internal/store"
	"fairpull/quantity"
)

// Method is the version of the method by which results are found. It goes up when
// the same data with the same settings are meant to give other figures.
const Method = 1

// settingsFormat is the format of a result's settings; it stands in
// docs/workspace.md.
const settingsFormat = "fairpull.settings/1"

// settingsJSON is all that a result depends on beside the data and the program.
type settingsJSON struct {
	Format       string                `json:"format"`
	Method       int                   `json:"method"`
	Correction   string                `json:"correction"` // of the campaign, for the reader
	Limits       limitsJSON            `json:"limits"`
	History      *historySettings      `json:"history"` // null: the workspace had nothing to lend
	Calibrations []calibrationSettings `json:"calibrations,omitempty"`
	Checks       []checkSettings       `json:"checks,omitempty"` // from outside of the campaign
}

type (
	// historySettings names the kept results that a history was made of.
	historySettings struct {
		Dyno      string         `json:"dyno"`
		Vehicle   string         `json:"vehicle"` // empty: those of the class, or any
		Class     string         `json:"class,omitempty"`
		Used      bool           `json:"used"` // false: the campaign's own [history] knows more
		Campaigns []pastSettings `json:"campaigns"`
	}
	pastSettings struct {
		Campaign string `json:"campaign"`
		Result   string `json:"result"`
	}
	calibrationSettings struct {
		ValidFrom    time.Time                    `json:"valid_from"`
		DrumInertia  quantity.KilogramSquareMetre `json:"drum_inertia_kgm2"`
		DrumInertiaU quantity.KilogramSquareMetre `json:"drum_inertia_u_kgm2"`
		BrakeArm     quantity.Metre               `json:"brake_arm_m"`
		BrakeArmU    quantity.Metre               `json:"brake_arm_u_m"`
		Parasitic    [3]float64                   `json:"parasitic_torque_nm"`
		ParasiticU   [3]float64                   `json:"parasitic_torque_u_nm"`
		Note         string                       `json:"note,omitempty"`
		ParasiticR   [3]float64                   `json:"parasitic_torque_correlations,omitzero"`
		DrumSpeed    store.Scale                  `json:"drum_speed,omitzero"`
		EngineSpeed  store.Scale                  `json:"engine_speed,omitzero"`
		Pressure     store.Sensor                 `json:"pressure,omitzero"`
		Temperature  store.Sensor                 `json:"temperature,omitzero"`
		Humidity     store.Sensor                 `json:"humidity,omitzero"`
	}
	// limitsJSON has the fields of Limits under names that stay.
	limitsJSON struct {
		WeatherChange     float64 `json:"weather_change"`
		PressureExcess    float64 `json:"pressure_excess_pa"`
		GearRatio         float64 `json:"gear_ratio"`
		Slip              float64 `json:"slip"`
		Repeatability     float64 `json:"repeatability"`
		BlockTrend        float64 `json:"block_trend"`
		BlockTrendP       float64 `json:"block_trend_p"`
		Lambda            float64 `json:"lambda"`
		OilTemperature    float64 `json:"oil_temperature_k"`
		HoursBetweenSides float64 `json:"hours_between_sides"`
		CoastShare        float64 `json:"coast_share"`
		CoastShareOfGain  float64 `json:"coast_share_of_gain"`
		MinimumSetups     int     `json:"minimum_setups"`
		RangeLost         float64 `json:"range_lost"`
		HistoryP          float64 `json:"history_p"`
	}
	// checkSettings has the fields of campaign.Check under names that stay.
	checkSettings struct {
		ID          string          `json:"id"`
		Status      campaign.Status `json:"status"`
		Pulls       []string        `json:"pulls,omitempty"`
		Comparison  string          `json:"comparison,omitempty"`
		Measured    *float64        `json:"measured"`
		Limit       *float64        `json:"limit"`
		Unit        string          `json:"unit,omitempty"`
		Message     string          `json:"message"`
		LimitSource string          `json:"limit_source,omitempty"`
		Withholds   []string        `json:"withholds,omitempty"`
		Answered    []string        `json:"answered,omitempty"`
		Touches     []string        `json:"touches,omitempty"`
	}
)

// settingsOf returns what an analysis depended on that was made with the options.
func settingsOf(a *Analysis, o Options) settingsJSON {
	s := settingsJSON{Format: settingsFormat, Method: Method, Correction: a.Campaign.Correction, Limits: limitsJSON(a.Limits)}
	if o.Past != nil && len(o.Past.Campaigns) > 0 {
		s.History = &historySettings{Dyno: o.Past.Dyno, Vehicle: o.Past.Vehicle, Class: o.Past.Class, Used: a.past != nil}
		for _, c := range o.Past.Campaigns {
			s.History.Campaigns = append(s.History.Campaigns, pastSettings{c.Campaign, c.Result})
		}
	}
	applied := map[calibrated]bool{}
	for i := range a.Pulls {
		applied[a.Pulls[i].calibration] = true
	}
	for i := range o.Calibrations {
		if c := &o.Calibrations[i]; applied[calibrated{c}] {
			s.Calibrations = append(s.Calibrations, calibrationSettings{
				c.ValidFrom, c.DrumInertia, c.DrumInertiaU, c.BrakeArm, c.BrakeArmU, c.Parasitic, c.ParasiticU, c.Note,
				c.ParasiticR, c.DrumSpeed, c.EngineSpeed, c.Pressure, c.Temperature, c.Humidity,
			})
		}
	}
	for _, k := range o.Checks {
		s.Checks = append(s.Checks, checkSettings(k))
	}
	return s
}

// encodeSettings returns settings as they are kept; equal ones give equal bytes.
func encodeSettings(s settingsJSON) ([]byte, error) {
	var out bytes.Buffer
	encoder := json.NewEncoder(&out)
	encoder.SetEscapeHTML(false)
	err := encoder.Encode(s)
	return bytes.TrimSpace(out.Bytes()), err
}

// decodeSettings reads what encodeSettings wrote, this program or an earlier one:
// a limit that it did not know has its default.
func decodeSettings(data []byte) (settingsJSON, error) {
	s := settingsJSON{Limits: limitsJSON(DefaultLimits())}
	if err := json.Unmarshal(data, &s); err != nil {
		return s, fmt.Errorf("settings: %w", err)
	}
	if s.Format != settingsFormat {
		return s, fmt.Errorf("settings: their format is %.40q; this program reads %s", s.Format, settingsFormat)
	}
	return s, nil
}

// optionsOf returns the options of an analysis of a campaign that settings ask for.
func (w *Workspace) optionsOf(ctx context.Context, settings []byte, c *campaign.Campaign) (Options, error) {
	s, err := decodeSettings(settings)
	if err != nil {
		return Options{}, err
	}
	var past *Past
	if h := s.History; h != nil {
		results := make([]string, len(h.Campaigns))
		for i, p := range h.Campaigns {
			results[i] = p.Result
		}
		if past, err = w.historyOf(ctx, Past{Dyno: h.Dyno, Vehicle: h.Vehicle, Class: h.Class}, results); err != nil {
			return Options{}, err
		}
	}
	return s.options(c, past), nil
}

// options returns the options that the settings ask for, with the history that they
// name.
func (s settingsJSON) options(c *campaign.Campaign, past *Past) Options {
	limits := Limits(s.Limits)
	o := Options{Limits: &limits, Past: past}
	for _, k := range s.Calibrations {
		o.Calibrations = append(o.Calibrations, k.of(c.Dyno.ID))
	}
	for _, k := range s.Checks {
		o.Checks = append(o.Checks, campaign.Check(k))
	}
	return o
}
