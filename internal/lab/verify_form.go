package lab

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"path"
	"slices"
	"strings"
	"time"

	"fairpull/campaign"
	"fairpull/report"
)

// form holds the files of the dossier against what a dossier has: that what is read in
// one way here cannot be read in another elsewhere, that nothing is missing, and nothing
// is in it that nobody looked at.
func (v *verification) form(claim campaign.Claim) {
	if again, err := indentedJSON(claim); err != nil || !bytes.Equal(again, v.files[dossierClaim]) {
		v.failed("claim", dossierClaim, "it is not written in its one right form: another program could read something else in it")
	}
	for _, text := range claimTexts(claim) {
		if err := campaign.CheckClaimText(text); err != nil {
			v.failed("claim", dossierClaim, "%.80q %v", text, err)
		}
	}
	for _, name := range v.names() {
		if strings.HasSuffix(name, ".json") && !strings.HasPrefix(name, campaignFolder) {
			if err := onceEach(v.files[name]); err != nil {
				v.failed("claim", name, "%v", err)
			}
		}
	}
	v.trailed(claim)
	v.known()
	v.dated()
}

// claimTexts are the texts of a claim that people wrote.
func claimTexts(c campaign.Claim) []string {
	texts := slices.Concat([]string{c.Title, c.AmendsWhy, c.DraftedBy, c.Sentence, c.Specimens, c.Baseline.Name, c.Tested.Name},
		c.StatedDeviations, c.StatedLimits, c.Deviations, c.NotCovered, c.Cautions)
	for _, side := range []campaign.ClaimSide{c.Baseline, c.Tested} {
		for _, p := range side.Components {
			texts = append(texts, p.Function, p.Part)
		}
		for _, s := range side.Settings {
			texts = append(texts, s.Key, s.Value)
		}
	}
	return texts
}

// names returns the names of the files, sorted.
func (v *verification) names() []string {
	names := make([]string, 0, len(v.files))
	for name := range v.files {
		names = append(names, name)
	}
	slices.Sort(names)
	return names
}

// trailed reports an audit trail that is missing, is not read, or does not have the
// drafting of the claim by its drafter.
func (v *verification) trailed(claim campaign.Claim) {
	var trail trailJSON
	if err := json.Unmarshal(v.files[dossierTrail], &trail); err != nil || trail.Format != report.TrailFormat {
		v.failed("claim", dossierTrail, "the audit trail is missing, or not in the format %s", report.TrailFormat)
		return
	}
	drafted := func(k report.TrailChange) bool {
		return k.Kind == "claim" && k.Subject == claim.Number && k.Who == claim.DraftedBy
	}
	if !slices.ContainsFunc(trail.Changes, drafted) {
		v.failed("claim", dossierTrail, "the audit trail does not have that %.80s drafted claim %s", claim.DraftedBy, claim.Number)
	}
}

// dossierNames are the files of a dossier that are not in one of its folders.
var dossierNames = []string{
	dossierReadme, dossierClaim, dossierStates, dossierResult, dossierSettings, dossierStudy, dossierHistory, dossierTrail,
	dossierProgram, dossierPackage, dossierDetails,
}

// known reports files that were signed with the others and that nothing here looks at.
// Tables and documents are looked at by themselves.
func (v *verification) known() {
	var studies historyJSON
	if index, there := v.files[dossierHistory]; there {
		_ = json.Unmarshal(index, &studies) // what is wrong with it was found in deriving
	}
	var strange []string
	for _, name := range v.names() {
		lent := func(row historyStudyRow) bool { return path.Clean(row.File) == name }
		switch {
		case slices.Contains(dossierNames, name), strings.HasPrefix(name, campaignFolder), strings.HasPrefix(name, documentsFolder):
		case strings.HasPrefix(name, historyFolder) && slices.ContainsFunc(studies.Campaigns, lent):
		default:
			if want, err := dossierTables(v.Number, v.files[dossierResult]); err != nil || want[name] == nil {
				strange = append(strange, name)
			}
		}
	}
	if len(strange) > 0 {
		v.add(report.Caution, "files", strings.Join(strange[:min(len(strange), 10)], ", "), "%d files belong to no dossier that this program knows: they are signed, and nothing was looked at in them", len(strange))
	}
}

// dated reports a claim from the future of this computer's clock.
func (v *verification) dated() {
	if made := v.seal.Statement.Made; made.After(time.Now().Add(24 * time.Hour)) {
		v.add(report.Caution, "claim", "", "it was signed on %s, which by the clock of this computer is still to come", made.Format(time.RFC3339))
	}
}

// measured reports pulls that are dated after the claim that rests on them.
func (v *verification) measured(a *Analysis, claim campaign.Claim) {
	for _, p := range a.Campaign.Pulls {
		if p.Used() && p.Started.After(claim.Drafted) {
			v.add(report.Caution, "claim", dossierClaim, "pull %s is dated %s, after the claim was drafted on %s: a clock was wrong, or a date", p.Name, p.Started.Format(time.RFC3339), claim.Drafted.Format(time.RFC3339))
			return
		}
	}
}

// onceEach returns an error where JSON has a key twice in one object, which programs
// read differently, or goes on after its end.
func onceEach(data []byte) error {
	decoder := json.NewDecoder(bytes.NewReader(data))
	decoder.UseNumber()
	if err := onceIn(decoder, 0); err != nil {
		return err
	}
	if _, err := decoder.Token(); !errors.Is(err, io.EOF) {
		return errors.New("it goes on after its end")
	}
	return nil
}

// deepestJSON bounds how deep objects and lists may stand in each other.
const deepestJSON = 64

// onceIn reads one value.
func onceIn(decoder *json.Decoder, depth int) error {
	token, err := decoder.Token()
	if err != nil {
		return fmt.Errorf("it cannot be read: %w", err)
	}
	open, nested := token.(json.Delim)
	if !nested {
		return nil
	}
	if depth == deepestJSON {
		return fmt.Errorf("its parts stand in each other more than %d deep", deepestJSON)
	}
	seen := map[string]bool{}
	for decoder.More() {
		if open == '{' {
			key, err := decoder.Token()
			if err != nil {
				return fmt.Errorf("it cannot be read: %w", err)
			}
			// Keys that differ in case alone are one to some readers.
			name := strings.ToLower(fmt.Sprint(key))
			if seen[name] {
				return fmt.Errorf("it has the key %.80q twice in one object", name)
			}
			seen[name] = true
		}
		if err := onceIn(decoder, depth+1); err != nil {
			return err
		}
	}
	_, err = decoder.Token()
	return err
}
