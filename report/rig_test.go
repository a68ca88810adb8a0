package report

import (
	"math"
	"strings"
	"testing"
	"time"

	"fairpull/campaign"
)

func TestRigNotes(t *testing.T) {
	day := func(y int, m time.Month, d int) time.Time { return time.Date(y, m, d, 9, 0, 0, 0, time.UTC) }
	check := StandardEntry{Started: day(2031, 5, 14), Judged: true}
	signalling := check
	signalling.Signals = []string{"EWMA"}
	level := ScatterLevel{Key: "setup", Name: "setup to setup", Campaigns: 4, SD: [3]float64{0.0065, math.NaN(), math.NaN()}}
	growing := level
	growing.Trend = ScatterTrend{Known: true, PerYear: 0.2, Lo: 0.1, Hi: 0.3, P: 0.01}
	for _, c := range []struct {
		got    RigNote
		status campaign.Status
		says   string
	}{
		{CalibrationNote(time.Time{}, day(2031, 5, 14)), "", "None is kept"},
		{CalibrationNote(day(2030, 5, 15), day(2031, 5, 14)), campaign.Pass, "due on 2031-05-15"},
		{CalibrationNote(day(2030, 5, 14), day(2031, 5, 14)), campaign.Warn, "it was due on 2031-05-14"},
		{NoStandardNote(), "", "No vehicle"},
		{(&CheckStandard{}).Note(), "", "no check yet"},
		{(&CheckStandard{Checks: []StandardEntry{{Started: day(2031, 5, 14)}}}).Note(), "", "too few"},
		{(&CheckStandard{Checks: []StandardEntry{signalling, check}}).Note(), campaign.Pass, "finds the rig as it was"},
		{(&CheckStandard{Checks: []StandardEntry{check, signalling}}).Note(), campaign.Warn, "The rig has changed"},
		{(&Scatter{}).Note(), "", "No judged campaign"},
		{(&Scatter{Levels: []ScatterLevel{level}}).Note(), campaign.Pass, "Setup to setup 0.65\u00a0%, from 4 campaigns"},
		{(&Scatter{Levels: []ScatterLevel{growing}}).Note(), campaign.Warn, "The scatter grows"},
	} {
		if c.got.Status != c.status || !strings.Contains(c.got.Words, c.says) || (c.got.Mark != "") != (c.status == campaign.Warn) {
			t.Errorf("%+v; want %q, %q", c.got, c.status, c.says)
		}
	}
}
