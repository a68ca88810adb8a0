package lab

import (
	"context"
	"errors"
	"slices"

	"fairpull/campaign"
	"fairpull/internal/store"
)

// VehicleRecord is what the workspace knows of a vehicle.
type VehicleRecord struct {
	campaign.Vehicle       // as it was stated last; its class is the one that counts
	Version          int64 // of what is stated of it
	Campaigns        []string
}

// DynoRecord is what the workspace knows of a dyno, its calibrations apart.
type DynoRecord struct {
	campaign.Dyno
	Version      int64
	Campaigns    []string
	Recipes      int
	Calibrations int
}

// Vehicles returns the vehicles of the workspace, by their ids, with what was stated
// of each last and the campaigns that measured it, the latest first.
func (w *Workspace) Vehicles(ctx context.Context) ([]VehicleRecord, error) {
	ids, err := w.store.Vehicles(ctx)
	if err != nil {
		return nil, err
	}
	campaigns, err := w.allCampaigns(ctx, CampaignQuery{})
	if err != nil {
		return nil, err
	}
	classes, err := w.store.VehicleClasses(ctx)
	if err != nil {
		return nil, err
	}
	var out []VehicleRecord
	for _, id := range ids {
		known, err := w.store.Vehicle(ctx, id, 0)
		if err != nil {
			return nil, err
		}
		r := VehicleRecord{Vehicle: known.Value, Version: known.Version}
		r.Class = classes[id]
		for _, c := range campaigns {
			if c.Vehicle == id {
				r.Campaigns = append(r.Campaigns, c.ID)
			}
		}
		out = append(out, r)
	}
	return out, nil
}

// DynoRecords returns the dynos of the workspace, by their ids.
func (w *Workspace) DynoRecords(ctx context.Context) ([]DynoRecord, error) {
	ids, err := w.store.Dynos(ctx)
	if err != nil {
		return nil, err
	}
	campaigns, err := w.allCampaigns(ctx, CampaignQuery{})
	if err != nil {
		return nil, err
	}
	var out []DynoRecord
	for _, id := range ids {
		r, err := w.dynoAlone(ctx, id)
		if err != nil {
			return nil, err
		}
		for _, c := range campaigns {
			if c.Dyno == id {
				r.Campaigns = append(r.Campaigns, c.ID)
			}
		}
		out = append(out, r)
	}
	return out, nil
}

// DynoRecord returns what the workspace knows of one dyno.
func (w *Workspace) DynoRecord(ctx context.Context, id string) (DynoRecord, error) {
	r, err := w.dynoAlone(ctx, id)
	if err != nil {
		return r, err
	}
	campaigns, err := w.allCampaigns(ctx, CampaignQuery{Dyno: id})
	for _, c := range campaigns {
		r.Campaigns = append(r.Campaigns, c.ID)
	}
	return r, err
}

func (w *Workspace) dynoAlone(ctx context.Context, id string) (DynoRecord, error) {
	known, err := w.store.Dyno(ctx, id, 0)
	if err != nil {
		return DynoRecord{}, err
	}
	recipes, err := w.store.Recipes(ctx, id)
	if err != nil {
		return DynoRecord{}, err
	}
	calibrations, err := w.store.Calibrations(ctx, id)
	return DynoRecord{Dyno: known.Value, Version: known.Version, Recipes: len(recipes), Calibrations: len(calibrations)}, err
}

// VehicleAndDynoIDs returns the ids of the vehicles and of the dynos that the
// workspace knows, in order.
func (w *Workspace) VehicleAndDynoIDs(ctx context.Context) (vehicles, dynos []string, err error) {
	if vehicles, err = w.store.Vehicles(ctx); err != nil {
		return nil, nil, err
	}
	dynos, err = w.store.Dynos(ctx)
	return vehicles, dynos, err
}

// KnowsDyno returns [ErrUnknown] where the workspace does not know a dyno.
func (w *Workspace) KnowsDyno(ctx context.Context, id string) error {
	_, err := w.store.Dyno(ctx, id, 0)
	return err
}

// SaveVehicle keeps what is stated of a vehicle, for campaigns that are planned from
// now on; those that are there keep what they came with. What is stated already
// changes nothing; another statement needs a reason.
func (w *Workspace) SaveVehicle(ctx context.Context, v campaign.Vehicle, by Author) (bool, error) {
	c := campaign.Campaign{Vehicle: v}
	if err := problemIn(c.DraftProblems(), "vehicle"); err != nil {
		return false, err
	}
	change, err := w.store.SaveVehicle(ctx, v, by)
	return change.Changed(), reasoned(err, by)
}

// SaveDyno keeps what is stated of a dyno, as [Workspace.SaveVehicle] does.
func (w *Workspace) SaveDyno(ctx context.Context, d campaign.Dyno, by Author) (bool, error) {
	c := campaign.Campaign{Dyno: d}
	if err := problemIn(c.DraftProblems(), "dyno"); err != nil {
		return false, err
	}
	change, err := w.store.SaveDyno(ctx, d, by)
	return change.Changed(), reasoned(err, by)
}

// problemIn returns the first problem of a part of a campaign.
func problemIn(problems []campaign.Problem, part string) error {
	at := slices.IndexFunc(problems, func(p campaign.Problem) bool { return len(p.Key) > len(part) && p.Key[:len(part)+1] == part+"." })
	if at < 0 {
		return nil
	}
	return problems[at]
}

// reasoned says what to do where a reason is missing.
func reasoned(err error, by Author) error {
	if errors.Is(err, store.ErrRefused) && by.Why == "" {
		return refused("Something else was stated before. Say why this takes its place: the reason stays in the audit trail.")
	}
	return err
}
