package lab

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"path"
	"regexp"
	"runtime"
	"slices"
	"strings"

	"fairpull/campaign"
	"fairpull/evidence"
	"fairpull/ingest"
	"fairpull/internal/store"
	"fairpull/report"
)

// derive holds the claim against its seal, derives everything again and compares.
func (v *verification) derive(ctx context.Context) error {
	claim, err := decodeClaim(v.files[dossierClaim])
	if err != nil {
		return err
	}
	v.Sentence = claim.Sentence
	if err := json.Unmarshal(v.files[dossierProgram], &v.made); err != nil {
		return fmt.Errorf("%s: %w", dossierProgram, err)
	}
	v.bound(claim)
	settings, err := decodeSettings(v.files[dossierSettings])
	if err != nil {
		return err
	}
	if settings.Method < 1 || settings.Method > v.method {
		v.failed("figures", dossierSettings, "they were found by method %d, and this program knows 1 to %d: verify with the version that the dossier names", settings.Method, v.method)
		return nil
	}
	v.form(claim)
	a, now, err := v.again(ctx, settings)
	if err != nil {
		return err
	}
	if problem := firstFault(claim, a); problem != "" {
		v.failed("claim", dossierClaim, "%s", problem)
		return nil
	}
	c := a.comparison(claim.Candidate)
	older := settings.Method < v.method
	v.compare(older, "the gain result", dossierResult, v.files[dossierResult], now.Body)
	v.study(older, now.Scatter)
	derived := a.claimOf(c, claim.ClaimHead)
	text, err := encodeClaim(derived)
	if err != nil {
		return err
	}
	v.compare(older, "the claim", dossierClaim, v.files[dossierClaim], text)
	if !older {
		v.Sentence = derived.Sentence // in this program's words, which stand for the figures it found
	}
	for _, item := range a.notAllowed(c, claim.Policy) {
		v.differs(older, dossierClaim, "its own policy does not allow it: %s", item)
	}
	v.measured(a, claim)
	v.tables()
	return v.documents(a, claim)
}

// firstFault says what keeps a claim from being held against an analysis; empty:
// nothing.
func firstFault(claim campaign.Claim, a *Analysis) string {
	switch {
	case claim.Campaign != a.Campaign.ID:
		return fmt.Sprintf("it is about campaign %.80q, and the folder is of %s", claim.Campaign, a.Campaign.ID)
	case a.comparison(claim.Candidate) == nil:
		return fmt.Sprintf("the folder has no candidate %.80q", claim.Candidate)
	case claim.Policy.Check() != nil:
		return fmt.Sprintf("its policy: %v", claim.Policy.Check())
	}
	return ""
}

// bound holds what the claim says of itself against the seal and the other files.
func (v *verification) bound(claim campaign.Claim) {
	s := v.seal.Statement
	before := len(v.Findings)
	if claim.Number != s.Subject || oneLineOf(claim.Title) != s.Title {
		v.failed("claim", dossierClaim, "it is claim %.40q, %.80q, and what was signed is %q, %q", claim.Number, claim.Title, s.Subject, s.Title)
	}
	if claim.DraftedBy != s.DraftedBy {
		v.failed("claim", dossierClaim, "it was drafted by %.80q, and the signed statement says by %q", claim.DraftedBy, s.DraftedBy)
	}
	if claim.Drafted.After(s.Made) {
		v.failed("claim", dossierClaim, "it was drafted after it was signed")
	}
	if found := evidence.OfBytes(v.files[dossierResult]).String(); found != claim.Result {
		v.failed("claim", dossierResult, "it is not the result that the claim rests on (%s)", claim.Result)
	}
	view := &report.Claim{}
	if err := sealInto(view, v.seal); err != nil {
		v.failed("signature", "", "%v", err)
	}
	for _, one := range view.Signed {
		if evidence.SamePerson(one.By, claim.DraftedBy) {
			v.failed("signature", one.Key, "%s drafted the claim and signed it", one.By)
		}
	}
	v.reviewed(claim, view.Signed)
	if len(v.Findings) == before {
		v.confirmed("claim", dossierClaim, "it is what was signed, drafted by %s and signed by somebody else", claim.DraftedBy)
	}
}

// reviewed holds the states of the claim against who drafted and who signed it.
func (v *verification) reviewed(claim campaign.Claim, signed []report.ClaimSignature) {
	states, err := v.states()
	if err != nil {
		v.failed("claim", dossierStates, "%v", err)
		return
	}
	var way []string
	for _, e := range states {
		way = append(way, string(e.State))
		if e.State == campaign.ClaimReviewed && evidence.SamePerson(e.Who, claim.DraftedBy) {
			v.failed("claim", dossierStates, "%s drafted and reviewed it", e.Who)
		}
	}
	if !slices.Equal(way, []string{string(campaign.ClaimDraft), string(campaign.ClaimReviewed), string(campaign.ClaimSigned)}) {
		v.failed("claim", dossierStates, "its way was %s, and not draft, reviewed, signed", strings.Join(way, ", "))
		return
	}
	if states[0].Who != claim.DraftedBy || len(signed) == 0 || states[2].Who != signed[0].By {
		v.failed("claim", dossierStates, "it names others than those who drafted and signed it")
	}
}

func (v *verification) states() ([]campaign.ClaimEvent, error) {
	var j statesJSON
	if err := json.Unmarshal(v.files[dossierStates], &j); err != nil {
		return nil, fmt.Errorf("it cannot be read: %w", err)
	}
	if j.Format != statesFormat {
		return nil, fmt.Errorf("its format is %.40q; this program reads %s", j.Format, statesFormat)
	}
	return j.States, nil
}

// again analyses the campaign folder of the dossier with the settings kept.
func (v *verification) again(ctx context.Context, settings settingsJSON) (*Analysis, store.Result, error) {
	files := memory{}
	for name, data := range v.files {
		if within, in := strings.CutPrefix(name, campaignFolder); in {
			files[within] = data
		}
	}
	folder, err := ingest.Open(files)
	if err != nil {
		return nil, store.Result{}, err
	}
	defer folder.Close()
	past, err := v.past(settings.History)
	if err != nil {
		return nil, store.Result{}, err
	}
	options := settings.options(&folder.Campaign, past)
	a, err := Analyse(ctx, folder, options)
	if err != nil {
		return nil, store.Result{}, err
	}
	now, err := resultOf(a, options)
	return a, now, err
}

// past returns the history that the settings name, from the studies kept.
func (v *verification) past(h *historySettings) (*Past, error) {
	if h == nil {
		return nil, nil
	}
	var index historyJSON
	if err := json.Unmarshal(v.files[dossierHistory], &index); err != nil {
		return nil, fmt.Errorf("%s cannot be read: %w", dossierHistory, err)
	}
	if index.Format != historyFormat {
		return nil, fmt.Errorf("%s: its format is %.40q; this program reads %s", dossierHistory, index.Format, historyFormat)
	}
	named := func(p pastSettings, row historyStudyRow) bool {
		return p.Campaign == row.Campaign && p.Result == row.Result
	}
	if index.Dyno != h.Dyno || index.Vehicle != h.Vehicle || index.Class != h.Class || !slices.EqualFunc(h.Campaigns, index.Campaigns, named) {
		return nil, fmt.Errorf("%s does not list the results that %s names", dossierHistory, dossierSettings)
	}
	rows := make([]store.Past, len(index.Campaigns))
	for i, c := range index.Campaigns {
		study, there := v.files[path.Clean(c.File)]
		if !there {
			return nil, fmt.Errorf("the study %.80q is missing", c.File)
		}
		rows[i] = store.Past{Campaign: c.Campaign, Vehicle: c.Vehicle, Started: c.Started, Result: c.Result, Scatter: study}
	}
	campaigns, err := readStudies(rows)
	return &Past{Dyno: h.Dyno, Vehicle: h.Vehicle, Class: h.Class, Campaigns: campaigns}, err
}

// compare holds what was kept against what was derived again, figure by figure at
// the rounding in which they are shown.
func (v *verification) compare(older bool, what, where string, kept, now []byte) {
	if bytes.Equal(kept, now) {
		v.confirmed("figures", where, "%s is derived again to the last digit", what)
		return
	}
	var moved report.Recomputed
	if err := difference(&moved, store.Result{Body: kept}, store.Result{Body: now}); err != nil {
		v.failed("figures", where, "%v", err)
		return
	}
	before := len(v.Findings)
	for _, m := range moved.Verdicts {
		v.differs(older, where, "the verdict on %s is %q, derived again it is %q", m.Candidate, m.From, m.To)
	}
	smallest := 0
	for i := range moved.Moves {
		m := &moved.Moves[i]
		switch {
		case m.Text && (v.made.Version == v.program || !sameFigures(m.FromText, m.ToText)):
			v.differs(older, where, "%s is %q, derived again it is %q", m.Path, report.Shorten(m.FromText, 200), report.Shorten(m.ToText, 200))
		case m.Text:
			v.add(report.Caution, "figures", where, "%s is worded otherwise by this version of the program, with the same figures: %q, here %q", m.Path, report.Shorten(m.FromText, 300), report.Shorten(m.ToText, 300))
		case m.Shown():
			v.differs(older, where, "%s is %s, derived again it is %s%s", m.Path, m.FromShown, m.ToShown, sizeOf(m))
		default:
			smallest++
		}
	}
	if moved.More > 0 {
		v.differs(older, where, "and %d more differ", moved.More)
	}
	if len(v.Findings) == before {
		v.confirmed("figures", where, "%s is derived again as it is shown; %d figures differ by less", what, smallest)
	}
}

// sizeOf says by how much a figure moved.
func sizeOf(m *report.Move) string {
	if m.From == nil || m.To == nil {
		return ""
	}
	size := fmt.Sprintf(" (by %.3g)", math.Abs(*m.To-*m.From))
	if m.Nodes > 0 {
		size = fmt.Sprintf(" (by %.3g at %s rpm, the farthest of %d of %d nodes)", math.Abs(*m.To-*m.From), m.RPM, m.Nodes, m.Of)
	}
	return size
}

// differs notes a figure that comes out otherwise: a failure, or where an older
// method found it, a change of the method.
func (v *verification) differs(older bool, where, format string, args ...any) {
	if older {
		v.MethodChanged = true
		v.add(report.Caution, "figures", where, "method changed: "+format, args...)
		return
	}
	v.failed("figures", where, format, args...)
}

var figurePattern = regexp.MustCompile(`[-−]?[0-9]+(?:\.[0-9]+)?`)

// sameFigures reports whether two texts hold the same numbers in the same order.
func sameFigures(a, b string) bool {
	return slices.Equal(figurePattern.FindAllString(a, -1), figurePattern.FindAllString(b, -1))
}

// study compares what the campaign says of the rig's scatter.
func (v *verification) study(older bool, now []byte) {
	kept := v.files[dossierStudy]
	if bytes.Equal(kept, now) {
		return
	}
	if why := studiesDiffer(kept, now); why != "" {
		v.differs(older, dossierStudy, "what the campaign says of the scatter is derived again otherwise: %s", why)
	}
}

// studiesDiffer says where two studies differ by more than a part in a million;
// empty: nowhere.
func studiesDiffer(a, b []byte) string {
	one, errOne := decodeStudy(a)
	two, errTwo := decodeStudy(b)
	if err := errors.Join(errOne, errTwo); err != nil {
		return err.Error()
	}
	near := func(x, y float64) bool {
		return x == y || math.Abs(x-y) <= 1e-6*(math.Abs(x)+math.Abs(y))+1e-9 || math.IsNaN(x) && math.IsNaN(y)
	}
	if !slices.EqualFunc(one.SpeedRPM, two.SpeedRPM, near) {
		return "other engine speeds"
	}
	for i, pair := range [][2][][]float64{{one.Setup.Residuals, two.Setup.Residuals}, {one.Block.Residuals, two.Block.Residuals}, {one.Pull.Residuals, two.Pull.Residuals}} {
		if !slices.EqualFunc(pair[0], pair[1], func(x, y []float64) bool { return slices.EqualFunc(x, y, near) }) {
			return []string{"setups", "blocks", "pulls"}[i]
		}
	}
	return ""
}

// tables holds the tables against the gain result that they were made from.
func (v *verification) tables() {
	want, err := dossierTables(v.Number, v.files[dossierResult])
	if err != nil {
		v.failed("figures", tablesFolder, "%v", err)
		return
	}
	wrong := 0
	for name, text := range want {
		if !bytes.Equal(v.files[name], text) {
			wrong++
			v.failed("figures", name, "it does not say what %s says", dossierResult)
		}
	}
	if wrong == 0 {
		v.confirmed("figures", tablesFolder, "the tables say what %s says", dossierResult)
	}
}

// documents makes the documents again. One that comes out otherwise by the very
// program that made it has failed; another program may word or draw it otherwise.
func (v *verification) documents(a *Analysis, claim campaign.Claim) error {
	states, err := v.states()
	if err != nil {
		return nil // it was found already
	}
	view := &report.Claim{Claim: claim, States: states}
	if err := sealInto(view, v.seal); err != nil {
		return err
	}
	view.Signed, view.Record, view.Index = view.Signed[:1], recordName(v.seal.Keys), 0
	a.fill(view, v.made.Version)
	details, err := detailsIn(v.files)
	if err != nil {
		v.failed("documents", dossierDetails, "%v", err)
		return nil
	}
	want, err := dossierDocuments(view, details)
	if err != nil {
		return err
	}
	var otherwise []string
	for name, text := range want {
		if !bytes.Equal(v.files[name], text) {
			otherwise = append(otherwise, name)
		}
	}
	for name := range v.files {
		if _, known := want[name]; strings.HasPrefix(name, documentsFolder) && !known {
			otherwise = append(otherwise, name)
		}
	}
	slices.Sort(otherwise)
	switch {
	case len(otherwise) == 0:
		v.confirmed("documents", documentsFolder, "they are what this program makes of the derived figures, to the last byte")
	case v.sameProgram():
		v.failed("documents", strings.Join(otherwise, ", "), "this very program makes something else of the derived figures")
	default:
		v.add(report.Caution, "documents", strings.Join(otherwise, ", "), "made by version %s on %s, which this program cannot repeat to the byte: the figures that were derived again are those of %s", v.made.Version, v.made.System, dossierClaim)
	}
	return nil
}

// sameProgram reports whether this program made the dossier: by its file, or by the
// version of a release on the same system.
func (v *verification) sameProgram() bool {
	system := runtime.GOOS + "/" + runtime.GOARCH
	if v.made.Version == v.program && v.made.System == system && !strings.Contains(v.program, "-") {
		return true
	}
	return v.made.Executable != "" && v.made.Executable == executableDigest()
}
