package lab

import (
	"context"
	"errors"
	"fmt"

	"fairpull/campaign"
	"fairpull/ingest"
	"fairpull/signal"
)

// unrecognisedError says that nothing tells what a file's columns are. It is not a
// pull until somebody says so.
type unrecognisedError struct {
	file, dyno string
	err        error
}

func (e *unrecognisedError) Error() string {
	return fmt.Sprintf("%s is not taken: %s. Where it is a log, teach its columns: fairpull recipe %s --learn %s", e.file, firstLine(e.err), e.dyno, e.file)
}

func (e *unrecognisedError) Unwrap() error { return e.err }

// recognise tells what a log's columns are: by the dyno's recipe that fits, else by
// its own header and the campaign's channels. The recipe's channels join the
// campaign's, so that the folder that is exported can be analysed. A log that is
// recognised and cannot be read is returned as nil: it is kept all the same.
func (s *session) recognise(ctx context.Context, c *campaign.Campaign, in incoming) (*signal.Log, *campaign.Recipe, error) {
	if err := s.readRecipes(ctx, c.Dyno.ID); err != nil {
		return nil, nil, err
	}
	recipe, err := ingest.Recognise(s.recipes, in.name, in.data)
	if err != nil {
		return nil, nil, &unrecognisedError{in.name, c.Dyno.ID, err}
	}
	channels := c.Channels
	if recipe != nil {
		before := len(channels)
		if channels, err = s.w.addChannels(ctx, c, *recipe, s.o.By.Who); err != nil {
			return nil, nil, &unrecognisedError{in.name, c.Dyno.ID, err}
		}
		if len(channels) != before {
			clear(s.failed) // what could not be read may be read now
		}
	}
	log, err := ingest.ParseLog(in.name, in.data, ingest.LogOptions{Channels: channels, DrumRadius: float64(c.Dyno.DrumRadius)})
	if err != nil && recipe == nil && unknownColumns(err) {
		return nil, nil, &unrecognisedError{in.name, c.Dyno.ID, err}
	}
	if err != nil {
		return nil, recipe, nil
	}
	return log, recipe, nil
}

// unknownColumns reports whether an error of reading a log is one of its header:
// what its columns are is then not known.
func unknownColumns(err error) bool {
	for _, kind := range []error{ingest.ErrNoHeader, ingest.ErrUnit, ingest.ErrCharacters, ingest.ErrContradicted, ingest.ErrDuplicate, ingest.ErrTwoReadings} {
		if errors.Is(err, kind) {
			return true
		}
	}
	var syntax *ingest.SyntaxError
	return errors.Is(err, ingest.ErrMissing) && errors.As(err, &syntax) && syntax.Column == ""
}

// addChannels adds the channels of a recipe to the campaign's, as its next version,
// and returns them all. A campaign reads all of its logs by one account, so a recipe
// that contradicts it, or by which an earlier log could not be read any more, is
// refused.
func (w *Workspace) addChannels(ctx context.Context, c *campaign.Campaign, r campaign.Recipe, who string) (campaign.ChannelMap, error) {
	merged, err := c.Channels.Merge(r.Channels)
	if err != nil {
		return nil, fmt.Errorf("recipe %s contradicts the campaign's [channels]: %w", r.Name, err)
	}
	if len(merged) == len(c.Channels) {
		return c.Channels, nil
	}
	if err := w.stillReadable(ctx, c, merged); err != nil {
		return nil, fmt.Errorf("by recipe %s a log of the campaign could not be read any more: %w", r.Name, err)
	}
	by := Author{Who: who, Why: "recipe " + r.Name + " of the dyno says what the columns of the logs are"}
	_, err = w.store.Revise(ctx, c.ID, by, func(now *campaign.Campaign) (err error) {
		now.Channels, err = now.Channels.Merge(r.Channels)
		return err
	})
	if err != nil {
		return nil, err
	}
	c.Channels = merged
	return merged, nil
}

// stillReadable reads every log that could be read before by other channels, too.
func (w *Workspace) stillReadable(ctx context.Context, c *campaign.Campaign, channels campaign.ChannelMap) error {
	if len(c.Pulls) == 0 {
		return nil
	}
	record, err := w.store.Get(ctx, c.ID)
	if err != nil {
		return err
	}
	return each(ctx, len(c.Pulls), func(i int) error {
		p := c.Pulls[i]
		options := ingest.LogOptions{Channels: c.Channels, DrumRadius: float64(c.Dyno.DrumRadius)}
		if _, err := ingest.ParseLog(p.Log, record.Logs[p.Log], options); err != nil {
			return nil
		}
		options.Channels = channels
		_, err := ingest.ParseLog(p.Log, record.Logs[p.Log], options)
		return err
	})
}
