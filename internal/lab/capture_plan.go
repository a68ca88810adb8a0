package lab

import (
	"context"
	"errors"
	"fmt"
	"strings"

	"fairpull/campaign"
	"fairpull/report"
)

// freezePlan writes down the moment and the question of a plan whose first
// candidate pull has been made. Where there is no plan, no such pull, or the plan
// is frozen already, nothing is written. c is brought up to date.
func (s *session) freezePlan(ctx context.Context, c *campaign.Campaign) error {
	frozen, changed := c.Frozen()
	if !changed {
		return nil
	}
	if err := s.w.freezePlan(ctx, c.ID, s.o.By.Who); err != nil {
		return err
	}
	c.Plan = frozen.Plan
	s.say(report.CaptureNotice, "", "The first candidate pull is made: question, figure, band, order and numbers are frozen from here on. What departs from them carries no claim.")
	return nil
}

// freezePlan freezes the plan of a campaign whose first candidate pull has been
// made; it is frozen once, and at no other moment than that pull's.
func (w *Workspace) freezePlan(ctx context.Context, id, who string) error {
	by := Author{Who: who, Why: "the first candidate pull was made: the plan is frozen"}
	_, err := w.store.Revise(ctx, id, by, func(c *campaign.Campaign) error {
		if frozen, changed := c.Frozen(); changed {
			c.Plan = frozen.Plan
		}
		return nil
	})
	return err
}

// errNoPlace says that nobody knows what is on the rig.
var errNoPlace = errors.New("nothing says what is fitted")

// whereNext returns where the next pull belongs: what a person said is on the rig,
// else as the plan has it.
func (s *session) whereNext(c *campaign.Campaign) (report.CaptureNext, error) {
	if s.forced != nil {
		return report.CaptureNext{Configuration: s.forced.configuration, Setup: s.forced.setup}, nil
	}
	if c.Plan == nil {
		return report.CaptureNext{}, fmt.Errorf("%w: campaign %s has no plan.\n  Say it with --configuration and --setup, as in --configuration %s --setup s1", errNoPlace, c.ID, firstID(c))
	}
	p := c.Progress()
	if len(p.Departures) > 0 {
		return report.CaptureNext{}, fmt.Errorf("%w: the pulls of campaign %s have left its plan (%s).\n  Say what is fitted with --configuration and --setup; the plan's claim is gone", errNoPlace, c.ID, strings.Join(p.Departures, "; "))
	}
	blocks := c.Plan.Blocks
	if p.Next >= len(blocks) {
		last := blocks[len(blocks)-1]
		return report.CaptureNext{Block: len(blocks), Blocks: len(blocks), Configuration: last.Configuration, Setup: last.Setup, Finished: true}, nil
	}
	b := blocks[p.Next]
	next := report.CaptureNext{Block: p.Next + 1, Blocks: len(blocks), Configuration: b.Configuration, Setup: b.Setup, Left: p.Left}
	if c.Plan.Blind {
		next.Code = c.Plan.Codes()[p.Next]
	}
	begun := len(p.Measured) == p.Next+1 // a pull of it is there
	next.Confirm = !begun && s.confirmed < next.Block && !s.o.KeepGoing
	if !begun && s.settled < next.Block {
		next.Settling = settlingLeft(c, p.Next)
	}
	return next, nil
}

func firstID(c *campaign.Campaign) string {
	if len(c.Configurations) == 0 {
		return "A"
	}
	return c.Configurations[0].ID
}

// settlingLeft returns how many settling pulls are to come before block i of the
// plan: as many as planned after a change of parts, less those written down since
// the last pull that counts.
func settlingLeft(c *campaign.Campaign, i int) int {
	blocks := c.Plan.Blocks
	if i == 0 || blocks[i].Configuration == blocks[i-1].Configuration {
		return 0
	}
	var latest campaign.Pull
	for _, p := range c.Pulls {
		if p.Used() && !p.Started.Before(latest.Started) {
			latest = p
		}
	}
	left := c.Plan.SettlingPulls
	for _, p := range c.Pulls {
		if p.Settling() && p.Configuration == blocks[i].Configuration && p.Setup == blocks[i].Setup && p.Started.After(latest.Started) {
			left--
		}
	}
	return max(left, 0)
}

// nextWords says what is to be done next.
func (s *session) nextWords(c *campaign.Campaign, n report.CaptureNext) string {
	where := fmt.Sprintf("%s, setup %s", fittedWords(c, n), n.Setup)
	switch {
	case n.Finished:
		return "The plan is through: take the verdict with fairpull judge " + c.ID
	case n.Blocks == 0:
		return "The next pulls are of " + where + "."
	case n.Confirm:
		return fmt.Sprintf("Next: block %d of %d, %s. When it is fitted, type: next block", n.Block, n.Blocks, where)
	case n.Settling > 0:
		return fmt.Sprintf("Next: %s of block %d of %d, %s; not counted.", counted(n.Settling, "settling pull"), n.Block, n.Blocks, where)
	}
	return fmt.Sprintf("Next: %s of block %d of %d, %s.", counted(n.Left, "pull"), n.Block, n.Blocks, where)
}

// fittedWords names what is to be fitted: by its code where the plan is blind.
func fittedWords(c *campaign.Campaign, n report.CaptureNext) string {
	if n.Code != "" {
		return "code " + n.Code
	}
	if configuration, _ := c.Configuration(n.Configuration); configuration.Name != "" {
		return n.Configuration + " (" + configuration.Name + ")"
	}
	return n.Configuration
}
