package report

import (
	"strconv"
	"time"

	"fairpull/campaign"
)

// RigNote is one thing that a list says of a rig.
type RigNote struct {
	About  string          // check standard, calibration, scatter
	Status campaign.Status // empty: nothing is known
	Mark   string          // goes before the words where something is to be done
	Words  string
}

func rigNote(about string, status campaign.Status, words string) RigNote {
	n := RigNote{About: about, Status: status, Words: unbroken(words)}
	if status != "" && status != campaign.Pass {
		n.Mark = statusMark(status)
	}
	return n
}

// Note says in one sentence what the check standard finds of its rig.
func (s *CheckStandard) Note() RigNote {
	if len(s.Checks) == 0 || !s.Checks[len(s.Checks)-1].Judged {
		return rigNote("check standard", "", s.summary())
	}
	if len(s.Checks[len(s.Checks)-1].Signals) > 0 {
		return rigNote("check standard", campaign.Warn, s.summary())
	}
	return rigNote("check standard", campaign.Pass, s.summary())
}

// NoStandardNote says that nothing watches a rig.
func NoStandardNote() RigNote {
	return rigNote("check standard", "", "No vehicle is kept as a check standard.")
}

// Note says in one sentence how the scatter from setup to setup goes, or that from
// pull to pull where nothing more is known.
func (s *Scatter) Note() RigNote {
	for i := range s.Levels {
		l := &s.Levels[i]
		if l.Campaigns == 0 || l.Key == "block" {
			continue
		}
		status := campaign.Pass
		if l.Trend.Known && l.Trend.P < 0.05 && l.Trend.PerYear > 0 {
			status = campaign.Warn
		}
		return rigNote("scatter", status, capitalised(l.Name)+" "+sdWords(l.SD[0])+", from "+plural(l.Campaigns, "campaign")+". "+l.trend())
	}
	return rigNote("scatter", "", "No judged campaign says anything of it yet.")
}

// CalibrationMonths is how old a calibration may be before it is due: the lab's
// limit, by default a year, which is common practice.
const CalibrationMonths = 12

// CalibrationNote says how old the latest calibration of a rig is; a zero latest
// says that none is kept.
func CalibrationNote(latest, now time.Time) RigNote {
	if latest.IsZero() {
		return rigNote("calibration", "", "None is kept: the campaigns' own values hold.")
	}
	due := latest.AddDate(0, CalibrationMonths, 0)
	words := "Valid from " + day(latest)
	if now.Before(due) {
		return rigNote("calibration", campaign.Pass, words+", due on "+day(due)+".")
	}
	return rigNote("calibration", campaign.Warn, words+": more than "+strconv.Itoa(CalibrationMonths)+" months ago, so it was due on "+day(due)+".")
}
