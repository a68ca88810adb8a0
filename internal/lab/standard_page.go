package lab

import (
	"context"
	"errors"
	"fmt"
	"slices"

	"fairpull/internal/store"
)

// unfit says in whole sentences why something cannot be kept. For a program it
// is [ErrRefused].
type unfit struct{ text string }

func refused(format string, values ...any) error {
	return &unfit{fmt.Sprintf(format, values...)}
}

func (r *unfit) Error() string        { return r.text }
func (r *unfit) Is(target error) bool { return target == ErrRefused }

// HasStandard reports whether a dyno has a check standard.
func (w *Workspace) HasStandard(ctx context.Context, dyno string) (bool, error) {
	_, err := w.store.StandardOf(ctx, dyno)
	if errors.Is(err, store.ErrNotFound) {
		return false, nil
	}
	return err == nil, err
}

// VehiclesOn returns the vehicles that were measured on a dyno, by their ids.
func (w *Workspace) VehiclesOn(ctx context.Context, dyno string) ([]string, error) {
	campaigns, err := w.allCampaigns(ctx, CampaignQuery{Dyno: dyno})
	if err != nil {
		return nil, err
	}
	var vehicles []string
	for _, c := range campaigns {
		if c.Vehicle != "" {
			vehicles = append(vehicles, c.Vehicle)
		}
	}
	slices.Sort(vehicles)
	return slices.Compact(vehicles), nil
}
