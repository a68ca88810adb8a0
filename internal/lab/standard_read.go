package lab

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"fairpull/campaign"
	"fairpull/correction"
	"fairpull/internal/store"
)

// standardKind is the kind under which readings of a check standard are kept.
const standardKind = "check standard"

// standardReading is what a campaign says of a dyno through its check standard. The
// names of the fields are part of the stored form.
type standardReading struct {
	LeftOut string // why nothing of the campaign is on the chart; empty: it is
	AtCrank bool
	Setups  []standardSetup `json:",omitempty"`
}

// standardSetup is one strapping-down of the check standard.
type standardSetup struct {
	Setup    string
	Started  time.Time // of its first pull
	Pulls    int
	LnTorque float64 // mean over the pulls of ln of the mean torque over the range, N·m
}

// readStandard returns what a campaign of the check standard says: the pulls of every
// configuration that has the standard's parts, setup by setup.
func (w *Workspace) readStandard(ctx context.Context, id string, s store.Standard, calibrations []Calibration) (standardReading, error) {
	folder, _, err := w.folder(ctx, id, 0)
	if err != nil {
		return standardReading{}, err
	}
	defer folder.Close()
	c := &folder.Campaign
	if c.Vehicle.TestGear != 0 && s.TestGear != 0 && c.Vehicle.TestGear != s.TestGear {
		return standardReading{LeftOut: fmt.Sprintf("it was measured in gear %d, the check standard in gear %d", c.Vehicle.TestGear, s.TestGear)}, nil
	}
	unchanged := map[string]bool{}
	difference := "it has no configuration"
	for _, configuration := range c.Configurations {
		other := partsDiffer(s.Components, configuration.Components)
		unchanged[configuration.ID] = other == ""
		if configuration.Role == campaign.Baseline && other != "" {
			difference = "its baseline " + other
		}
	}
	c.Pulls = slices.DeleteFunc(slices.Clone(c.Pulls), func(p campaign.Pull) bool {
		return !p.Used() || !unchanged[p.Configuration] || p.Started.Before(s.From)
	})
	if len(c.Pulls) == 0 {
		if slices.ContainsFunc(c.Configurations, func(k campaign.Configuration) bool { return unchanged[k.ID] }) {
			difference = "no usable pull of the unchanged vehicle is in it"
		}
		return standardReading{LeftOut: difference}, nil
	}
	c.Correction, c.Objective.BandRPM = s.Correction, s.BandRPM
	standard, err := correction.ByName(s.Correction)
	if err != nil {
		return standardReading{}, err
	}
	pulls, _, err := reducePulls(ctx, folder, calibrations, nil)
	if err == nil {
		err = correct(c, standard, pulls)
	}
	if err == nil {
		err = sameKindOfFigure(pulls)
	}
	if err != nil {
		if ctx.Err() != nil {
			return standardReading{}, err
		}
		return standardReading{LeftOut: "it cannot be read: " + firstLine(err)}, nil
	}
	return setupsOf(pulls, s.BandRPM), nil
}

// setupsOf puts the pulls of each setup together, in order of time.
func setupsOf(pulls []Pull, band [2]float64) standardReading {
	r := standardReading{AtCrank: pulls[0].AtCrank}
	at := map[string]int{}
	for i := range pulls {
		p := &pulls[i]
		level, covered := lnMeanTorque(p, band)
		if !covered {
			return standardReading{LeftOut: fmt.Sprintf("pull %s does not cover %.0f to %.0f rpm", p.Name, band[0], band[1])}
		}
		k, seen := at[p.Setup]
		if !seen {
			k = len(r.Setups)
			at[p.Setup] = k
			r.Setups = append(r.Setups, standardSetup{Setup: p.Setup, Started: p.Started})
		}
		s := &r.Setups[k]
		s.LnTorque = (s.LnTorque*float64(s.Pulls) + level) / float64(s.Pulls+1)
		s.Pulls++
	}
	return r
}

// lnMeanTorque returns ln of a pull's mean corrected torque over a range of engine
// speeds, both ends and every node of the grid between; false where the pull misses
// part of it.
func lnMeanTorque(p *Pull, band [2]float64) (ln float64, covered bool) {
	var sum float64
	n := 0
	for _, rpm := range gridNodes(band) {
		if rpm < band[0] || rpm > band[1] {
			continue
		}
		at, found := slices.BinarySearch(p.Corrected.SpeedRPM, rpm)
		if !found {
			return 0, false
		}
		sum += p.Corrected.Torque[at]
		n++
	}
	return math.Log(sum / float64(n)), true
}

// partsDiffer says how parts differ from those that are asked for: "has another
// exhaust: S-2 in the place of OEM 650-90"; empty where they do not. A serial or a
// batch counts where both state it.
func partsDiffer(want, have []campaign.Component) string {
	by := func(list []campaign.Component) map[string]campaign.Component {
		m := map[string]campaign.Component{}
		for _, c := range list {
			m[c.Function] = c
		}
		return m
	}
	wanted, had := by(want), by(have)
	var different []string
	for _, c := range want {
		switch h, there := had[c.Function]; {
		case !there:
			different = append(different, "states no "+c.Function)
		case h.Part != c.Part || stated(h.Serial, c.Serial) || stated(h.Batch, c.Batch):
			different = append(different, "has another "+c.Function+": "+partName(h)+" in the place of "+partName(c))
		}
	}
	for _, h := range have {
		if _, there := wanted[h.Function]; !there {
			different = append(different, "states a "+h.Function+" as well: "+partName(h))
		}
	}
	return strings.Join(different, ", ")
}

// stated reports whether both are there and differ.
func stated(a, b string) bool { return a != "" && b != "" && a != b }

func partName(c campaign.Component) string {
	name := c.Part
	if c.Serial != "" {
		name += " no. " + c.Serial
	}
	if c.Batch != "" {
		name += " batch " + c.Batch
	}
	return name
}

// standardKey names all that a reading depends on.
func standardKey(data string, s store.Standard, calibrations []Calibration) (string, error) {
	text, err := json.Marshal(struct {
		Method       int
		Data         string
		Standard     store.Standard
		Calibrations []Calibration
	}{Method, data, s, calibrations})
	if err != nil {
		return "", err
	}
	sum := sha256.Sum256(text)
	return hex.EncodeToString(sum[:]), nil
}

// readings returns what every campaign of the check standard says, the earliest first,
// read where the workspace has no reading that holds.
func (w *Workspace) standardReadings(ctx context.Context, s store.Standard) ([]string, map[string]standardReading, error) {
	calibrations, err := w.store.Calibrations(ctx, s.Dyno)
	if err != nil {
		return nil, nil, err
	}
	calibrations = inherited(calibrations)
	kept, err := w.store.Readings(ctx, standardKind, s.Dyno, s.Vehicle)
	if err != nil {
		return nil, nil, err
	}
	campaigns, err := w.allCampaigns(ctx, CampaignQuery{Dyno: s.Dyno, Vehicle: s.Vehicle, From: s.From})
	if err != nil {
		return nil, nil, err
	}
	var ids []string
	found := map[string]standardReading{}
	for _, c := range campaigns {
		key, err := standardKey(c.Digest.String(), s, calibrations)
		if err != nil {
			return nil, nil, err
		}
		ids = append(ids, c.ID)
		if r, there := kept[c.ID]; there && r.Key == key {
			var reading standardReading
			if err := json.Unmarshal(r.Body, &reading); err == nil {
				found[c.ID] = reading
				continue
			}
		}
		reading, err := w.readStandard(ctx, c.ID, s, calibrations)
		if err != nil {
			return nil, nil, err
		}
		body, err := json.Marshal(reading)
		if err != nil {
			return nil, nil, err
		}
		if err := w.store.KeepReading(ctx, store.Reading{Campaign: c.ID, Kind: standardKind, Key: key, Body: body}); err != nil {
			return nil, nil, err
		}
		found[c.ID] = reading
	}
	return ids, found, nil
}

// allCampaigns returns every campaign that a query asks for and that has pulls and is
// not withdrawn, the earliest first.
func (w *Workspace) allCampaigns(ctx context.Context, q CampaignQuery) ([]CampaignSummary, error) {
	var out []CampaignSummary
	for q.Limit, q.After = 1000, ""; ; {
		page, err := w.Campaigns(ctx, q)
		if err != nil {
			return nil, err
		}
		for _, c := range page.Campaigns {
			if c.Pulls > 0 && c.State != store.StateWithdrawn {
				out = append(out, c)
			}
		}
		if q.After = page.Next; q.After == "" {
			slices.Reverse(out)
			return out, nil
		}
	}
}
