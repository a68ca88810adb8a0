package lab

import (
	"context"
	"sync"
)

// mostKnown is how many campaigns' studies are held in memory: a few times what one
// history has, some ten megabytes.
const mostKnown = 5 * pastCampaigns

// knownPast holds what results add to a history, by their ids. A kept result never
// changes, so what is known of it holds.
type knownPast struct {
	mu       sync.Mutex
	byResult map[string]PastCampaign
}

// of returns what is known of the results.
func (k *knownPast) of(results []string) map[string]PastCampaign {
	k.mu.Lock()
	defer k.mu.Unlock()
	known := make(map[string]PastCampaign, len(results))
	for _, id := range results {
		if c, there := k.byResult[id]; there {
			known[id] = c
		}
	}
	return known
}

// add keeps what was read. Where there is no room, what was held before is let go.
func (k *knownPast) add(read []PastCampaign) {
	k.mu.Lock()
	defer k.mu.Unlock()
	if k.byResult == nil || len(k.byResult)+len(read) > mostKnown {
		k.byResult = make(map[string]PastCampaign, len(read))
	}
	for _, c := range read {
		k.byResult[c.Result] = c
	}
}

// historyOf returns the history that the given results make, as it stood when a
// result was kept that names them; past says whose they are.
func (w *Workspace) historyOf(ctx context.Context, past Past, results []string) (*Past, error) {
	known := w.past.of(results)
	var missing []string
	for _, id := range results {
		if _, there := known[id]; !there {
			missing = append(missing, id)
		}
	}
	rows, err := w.store.PastOf(ctx, missing)
	if err != nil {
		return nil, err
	}
	read, err := readStudies(rows)
	if err != nil {
		return nil, err
	}
	w.past.add(read)
	for _, c := range read {
		known[c.Result] = c
	}
	for _, id := range results {
		past.Campaigns = append(past.Campaigns, known[id])
	}
	return &past, nil
}
