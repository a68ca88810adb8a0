package lab

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"strings"

	"github.com/pelletier/go-toml/v2"

	"fairpull/report"
)

// lookFormat is the format of a file with a maker's look; docs/customer-sheet.md.
const lookFormat = "fairpull.look/1"

// Bounds of the files, in bytes.
const (
	maxLook = 64 << 10
	maxLogo = 1 << 20
)

// lookText is a maker's look as its file has it.
type lookText struct {
	Format  string `toml:"format"`
	Name    string `toml:"name"`
	Contact string `toml:"contact"`
	Colour  string `toml:"colour"`
	Accent  string `toml:"accent"`
	Logo    string `toml:"logo"` // a file beside this one
}

// ReadLook reads a maker's look, and the logo that stands beside its file.
func ReadLook(file string) (*report.Look, error) {
	text, err := readBounded(file, maxLook)
	if err != nil {
		return nil, err
	}
	var l lookText
	if err := strictTOML(text, &l); err != nil {
		return nil, fmt.Errorf("%s: %w", file, err)
	}
	if l.Format != lookFormat {
		return nil, fmt.Errorf("%s: its format is %.40q; write format = %q", file, l.Format, lookFormat)
	}
	var logo []byte
	if l.Logo != "" {
		if !filepath.IsLocal(l.Logo) {
			return nil, fmt.Errorf("%s: the logo %.80q is no file beside this one", file, l.Logo)
		}
		if logo, err = readBounded(filepath.Join(filepath.Dir(file), l.Logo), maxLogo); err != nil {
			return nil, fmt.Errorf("%s: the logo: %w", file, err)
		}
	}
	look, err := report.NewLook(l.Name, l.Contact, l.Colour, l.Accent, logo)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", file, err)
	}
	return &look, nil
}

// strictTOML reads TOML; a key that is unknown is an error.
func strictTOML(text []byte, into any) error {
	err := toml.NewDecoder(bytes.NewReader(text)).DisallowUnknownFields().Decode(into)
	var unknown *toml.StrictMissingError
	if errors.As(err, &unknown) {
		line, _ := unknown.Errors[0].Position()
		return fmt.Errorf("line %d: the key %s is unknown", line, strings.Join(unknown.Errors[0].Key(), "."))
	}
	var broken *toml.DecodeError
	if errors.As(err, &broken) {
		line, _ := broken.Position()
		return fmt.Errorf("line %d: %w", line, err)
	}
	return err
}

// SheetQuery asks for the customer sheet of a claim.
type SheetQuery struct {
	Number  string
	Program string
	// Vehicles are further campaigns of the same part, each on another vehicle: ids, or
	// paths of campaign folders; the claim's own counts as well. Empty: none.
	Vehicles []string
	// Road asks what the gain comes to on the road, and what it says stands on the
	// sheet; nil: nothing does. Its What is the claim.
	Road    *RoadQuery
	Options report.SheetOptions
}

// Sheet returns the customer sheet of a claim, in any of its states: what it says of
// that stands on it.
func (w *Workspace) Sheet(ctx context.Context, q SheetQuery) (*report.Sheet, error) {
	claim, err := w.ClaimDocument(ctx, q.Number, q.Program)
	if err != nil {
		return nil, err
	}
	if len(q.Vehicles) > 0 {
		q.Options.Across, err = Across(ctx, w, AcrossQuery{
			Campaigns: append([]string{claim.Campaign}, q.Vehicles...), Candidate: claim.Candidate, Figure: claim.Claimed.Name, Version: q.Program,
		})
		if err != nil {
			return nil, err
		}
	}
	if q.Road != nil {
		ask := *q.Road
		ask.What, ask.Version = q.Number, q.Program
		if q.Options.Road, err = Road(ctx, w, ask); err != nil {
			return nil, err
		}
	}
	sheet, err := report.NewSheet(claim, q.Options)
	if err != nil {
		return nil, declinedError{err}
	}
	return sheet, nil
}
