package lab

import (
	"context"
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"fairpull/campaign"
	"fairpull/ingest"
	"fairpull/report"
)

// CaptureCommands are the words that a capture understands, with what they do.
var CaptureCommands = [][2]string{
	{"next block", "the next planned block is fitted: the pulls that follow belong to it"},
	{"next block because …", "the same, before the block has its pulls; that leaves the plan"},
	{"fitted B s2", "configuration B in setup s2 is on the rig, plan or not"},
	{"settled", "the settling pulls of this block are over"},
	{"pressure_kpa=98.7 temperature_degc=21.5 relative_humidity_pct=45", "the air; holds until it is entered anew"},
	{"tyre_pressure_kpa=251", "a value of the next pull; any column of pulls.csv"},
	{"last oil_temp_degc=91", "a value of the last pull; one that is there already needs: because …"},
	{"exclude last because …", "leave the last pull out, with its cause; it stays in the record"},
	{"take back last because …", "count it again"},
	{"where", "what comes next"},
	{"help", "these words"},
	{"quit", "end the capture"},
}

// command carries out a line that a person typed.
func (s *session) command(ctx context.Context, line string) {
	line = oneLine(line)
	if line == "" {
		return
	}
	answer, err := s.obey(ctx, line)
	switch {
	case err != nil:
		s.say(report.CaptureProblem, "", sentence(capital(firstLine(err))))
	case answer != "":
		s.say(report.CaptureAnswer, "", answer)
	}
}

func (s *session) obey(ctx context.Context, line string) (answer string, err error) {
	order, why, _ := strings.Cut(line, " because ")
	words := strings.Fields(order)
	switch {
	case order == "quit":
		s.stop(errStopped)
		return "", nil
	case order == "help":
		return commandHelp(), nil
	case order == "where":
		return s.where(ctx)
	case order == "next block":
		return s.nextBlock(ctx, why)
	case order == "settled":
		return s.settle(ctx)
	case order == "exclude last":
		return s.excludeLast(ctx, why)
	case order == "take back last":
		return s.takeBackLast(ctx, why)
	case words[0] == "fitted" && len(words) == 3:
		return s.fitted(ctx, words[1], words[2])
	case words[0] == "last" && len(words) > 1:
		return s.correctLast(ctx, strings.TrimPrefix(order, "last "), why)
	case strings.Contains(line, "="):
		return s.enter(ctx, line)
	}
	return "", fmt.Errorf("%q is not understood; the words are listed by: help", cutWords(line, 40))
}

func cutWords(text string, most int) string {
	if runes := []rune(text); len(runes) > most {
		return string(runes[:most]) + "…"
	}
	return text
}

func commandHelp() string {
	var parts []string
	for _, c := range CaptureCommands {
		parts = append(parts, c[0]+" ("+c[1]+")")
	}
	return strings.Join(parts, "; ")
}

// where says what comes next.
func (s *session) where(ctx context.Context) (string, error) {
	entry, err := s.entry(ctx)
	if err != nil {
		return "", err
	}
	next, err := s.whereNext(&entry.Campaign)
	if err != nil {
		return "", err
	}
	return s.nextWords(&entry.Campaign, next), nil
}

// nextBlock notes that the next planned block is fitted.
func (s *session) nextBlock(ctx context.Context, why string) (string, error) {
	entry, err := s.entry(ctx)
	if err != nil {
		return "", err
	}
	c := &entry.Campaign
	next, err := s.whereNext(c)
	switch {
	case err != nil:
		return "", err
	case next.Blocks == 0:
		return "", fmt.Errorf("no plan says what the next block is: say what is fitted, as in: fitted %s s2", firstID(c))
	case next.Finished:
		return "", fmt.Errorf("the plan has no further block")
	case next.Confirm:
		s.confirmed = next.Block
	case !s.begun(c, next):
		return "", fmt.Errorf("block %d is what comes next, and is taken to be fitted", next.Block)
	case next.Block == next.Blocks:
		return "", fmt.Errorf("block %d is the last of the plan, and wants %s more", next.Block, counted(next.Left, "pull"))
	case why == "":
		return "", fmt.Errorf("block %d wants %s more; to end it here leaves the plan, and there is no claim. To do so: next block because …", next.Block, counted(next.Left, "pull"))
	default:
		b := c.Plan.Blocks[next.Block]
		s.forced = &mounted{b.Configuration, b.Setup}
		s.say(report.CaptureNotice, "", fmt.Sprintf("Block %d was ended early (%s): the plan is left.", next.Block, why))
	}
	return s.where(ctx)
}

// begun reports whether a pull of the planned block is there.
func (s *session) begun(c *campaign.Campaign, n report.CaptureNext) bool {
	return len(c.Progress().Measured) >= n.Block
}

// settle notes that a block's settling pulls are over.
func (s *session) settle(ctx context.Context) (string, error) {
	entry, err := s.entry(ctx)
	if err != nil {
		return "", err
	}
	next, err := s.whereNext(&entry.Campaign)
	if err != nil {
		return "", err
	}
	if next.Settling == 0 {
		return "", fmt.Errorf("no settling pull is to come")
	}
	s.settled = next.Block
	return s.where(ctx)
}

// fitted notes what a person says is on the rig.
func (s *session) fitted(ctx context.Context, configuration, setup string) (string, error) {
	entry, err := s.entry(ctx)
	if err != nil {
		return "", err
	}
	c := &entry.Campaign
	if err := checkPlace(c, configuration, setup); err != nil {
		return "", err
	}
	s.forced = nil
	if next, err := s.whereNext(c); err == nil && next.Configuration == configuration && next.Setup == setup && !next.Finished {
		s.confirmed = max(s.confirmed, next.Block) // as planned
		return s.where(ctx)
	}
	s.forced = &mounted{configuration, setup}
	if c.Plan != nil {
		s.say(report.CaptureNotice, "", "That is not what the plan has next: pulls that follow leave it, and there is no claim.")
	}
	return s.where(ctx)
}

// lastOf returns the pull that was taken last.
func lastOf(c *campaign.Campaign) (campaign.Pull, error) {
	if len(c.Pulls) == 0 {
		return campaign.Pull{}, fmt.Errorf("there is no pull yet")
	}
	return lastPull(c), nil
}

func (s *session) excludeLast(ctx context.Context, why string) (string, error) {
	entry, err := s.entry(ctx)
	if err != nil {
		return "", err
	}
	last, err := lastOf(&entry.Campaign)
	if err != nil {
		return "", err
	}
	if why == "" {
		return "", fmt.Errorf("what went wrong with pull %s? Write: exclude last because …", last.Name)
	}
	if err := s.w.Exclude(ctx, s.o.Campaign, last.Name, why, entry.Version, s.o.By.Who); err != nil {
		return "", err
	}
	return s.after(ctx, fmt.Sprintf("Pull %s is left out: %s. It stays in the record.", last.Name, why))
}

func (s *session) takeBackLast(ctx context.Context, why string) (string, error) {
	entry, err := s.entry(ctx)
	if err != nil {
		return "", err
	}
	last, err := lastOf(&entry.Campaign)
	if err != nil {
		return "", err
	}
	if why == "" {
		return "", fmt.Errorf("why is pull %s to count? Write: take back last because …", last.Name)
	}
	if err := s.w.Restore(ctx, s.o.Campaign, last.Name, why, entry.Version, s.o.By.Who); err != nil {
		return "", err
	}
	return s.after(ctx, fmt.Sprintf("Pull %s counts again.", last.Name))
}

// after says what was done and what comes next.
func (s *session) after(ctx context.Context, done string) (string, error) {
	next, err := s.where(ctx)
	if err != nil {
		return done + " " + capital(sentence(firstLine(err))), nil
	}
	return done + " " + next, nil
}

// enter takes values: the air holds until it is entered anew, any other is the next
// pull's.
func (s *session) enter(ctx context.Context, text string) (string, error) {
	cells, err := parseValues(text)
	if err != nil {
		return "", err
	}
	return s.enterCells(ctx, cells)
}

// enterCells is enter for values by their columns.
func (s *session) enterCells(ctx context.Context, cells map[string]string) (string, error) {
	entry, err := s.entry(ctx)
	if err != nil {
		return "", err
	}
	if err := readable(cells, entry.Campaign.Procedure, s.clock.now()); err != nil {
		return "", err
	}
	aired, rest := map[string]string{}, enteredValues{}
	maps.Copy(rest, s.next)
	for key, value := range cells {
		if _, of := airColumns[key]; of {
			aired[key] = value
		} else {
			rest[key] = value
		}
	}
	var said []string
	if len(aired) > 0 {
		s.air.enter(aired, s.clock.now())
		said = append(said, "The air holds until it is entered anew: "+cellWords(s.air.cells)+".")
	}
	s.next = rest
	if len(rest) > 0 {
		said = append(said, "For the next pull: "+cellWords(rest)+".")
	}
	return strings.Join(said, " "), nil
}

// readable returns why values could not stand in a row of pulls.csv.
func readable(cells map[string]string, procedure []campaign.SetPoint, now time.Time) error {
	row := maps.Clone(cells)
	maps.Copy(row, map[string]string{
		"pull": "1", "started": now.Format(time.RFC3339Nano), "configuration": "A", "setup": "s", "log": "logs/1.csv",
	})
	pull, err := ingest.ReadRow(row, procedure)
	if err != nil {
		return err
	}
	if _, err := pull.Weather.State(); err != nil && len(missingAir(cells)) == 0 {
		return err
	}
	return nil
}

// missingAir lists what the values lack to say the whole of the air.
func missingAir(cells map[string]string) []string {
	var missing []string
	for _, column := range []string{"pressure_kpa", "temperature_degc"} {
		if cells[column] == "" {
			missing = append(missing, column)
		}
	}
	if !slices.ContainsFunc(humidityColumns, func(column string) bool { return cells[column] != "" }) {
		missing = append(missing, humidityColumns[0])
	}
	return missing
}

func cellWords(cells map[string]string) string {
	var words []string
	for _, key := range slices.Sorted(maps.Keys(cells)) {
		words = append(words, key+" "+cells[key])
	}
	return strings.Join(words, ", ")
}

// correctLast gives the last pull values. What it has already is replaced only for
// a reason.
func (s *session) correctLast(ctx context.Context, text, why string) (string, error) {
	cells, err := parseValues(text)
	if err != nil {
		return "", err
	}
	return s.correctLastCells(ctx, cells, why)
}

// correctLastCells is correctLast for values by their columns.
func (s *session) correctLastCells(ctx context.Context, cells map[string]string, why string) (string, error) {
	name := ""
	by := Author{Who: s.o.By.Who, Why: "values of the pull taken last: " + why}
	if why == "" {
		by.Why = "values of the pull taken last, entered after it"
	}
	change, err := s.w.store.Revise(ctx, s.o.Campaign, by, func(c *campaign.Campaign) error {
		last, err := lastOf(c)
		if err != nil {
			return err
		}
		name = last.Name
		at := slices.IndexFunc(c.Pulls, func(p campaign.Pull) bool { return p.Name == name })
		return complete(c, &c.Pulls[at], cells, why != "")
	})
	if err != nil {
		return "", err
	}
	if !change.Changed() {
		return fmt.Sprintf("Pull %s says so already.", name), nil
	}
	aired := map[string]string{}
	for key, value := range cells {
		if _, of := airColumns[key]; of {
			aired[key] = value
		}
	}
	if len(aired) > 0 {
		s.air.enter(aired, s.clock.now())
	}
	return s.after(ctx, fmt.Sprintf("Pull %s: %s.", name, cellWords(cells)))
}

// valueThereError says that a pull has a value already, and no reason was given to
// replace it.
type valueThereError struct{ pull, column, value string }

func (e *valueThereError) Error() string {
	return fmt.Sprintf("pull %s has %s %s already; to replace it, add: because …", e.pull, e.column, e.value)
}

// complete puts values into a pull.
func complete(c *campaign.Campaign, p *campaign.Pull, cells map[string]string, replace bool) error {
	row := airCells(p.Weather)
	maps.Copy(row, p.Values)
	for key, value := range cells {
		if was := row[key]; was != "" && was != value && !replace {
			return &valueThereError{p.Name, key, was}
		}
		if slices.Contains(humidityColumns, key) {
			for _, other := range humidityColumns {
				if row[other] != "" && other != key && !replace {
					return &valueThereError{p.Name, other, row[other]}
				}
				delete(row, other)
			}
		}
		row[key] = value
	}
	maps.Copy(row, map[string]string{
		"pull": p.Name, "started": p.Started.Format(time.RFC3339Nano), "configuration": p.Configuration, "setup": p.Setup,
		"log": p.Log, "excluded": p.Excluded, "correction_applied": p.CorrectionApplied,
	})
	read, err := ingest.ReadRow(row, c.Procedure)
	if err != nil {
		return err
	}
	read.CorrectionFactor, read.Started, read.Line = p.CorrectionFactor, p.Started, p.Line
	for _, key := range slices.Sorted(maps.Keys(read.Values)) {
		if !slices.Contains(c.ExtraColumns, key) {
			c.ExtraColumns = append(c.ExtraColumns, key)
		}
	}
	*p = read
	return nil
}
