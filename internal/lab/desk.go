package lab

import (
	"container/list"
	"context"
	"sync"

	"golang.org/x/sync/singleflight"

	"fairpull/report"
)

// Desk is a workspace as many people look at it at once: what was analysed for
// one is kept for a while for the others. What it keeps is bounded.
type Desk struct {
	*Workspace
	looks  *memo[lookKey, *Look]
	cards  *memo[string, *report.Card] // by the id of a result, which never changes
	raws   *memo[rawKey, *RawLog]
	claims *memo[string, *Analysis] // behind claims, by the id of their result
	calls  singleflight.Group

	mu      sync.Mutex
	changed int64 // the latest change that a look was asked for at
	rigs    rigsKept
}

// Bounds of what a desk keeps.
const (
	maxLooks  = 24
	maxCards  = 2000
	maxClaims = 12
)

// NewDesk returns a desk over an open workspace, which stays the caller's to
// close.
func NewDesk(w *Workspace) *Desk {
	return &Desk{Workspace: w, looks: newMemo[lookKey, *Look](maxLooks), cards: newMemo[string, *report.Card](maxCards), raws: newMemo[rawKey, *RawLog](maxRawLogs), claims: newMemo[string, *Analysis](maxClaims)}
}

// LastChange returns the number of the latest change to the workspace: a page
// made at the same number says the same.
func (w *Workspace) LastChange(ctx context.Context) (int64, error) { return w.store.LastChange(ctx) }

// memo keeps the values that were asked for last, at most a number of them.
type memo[K comparable, V any] struct {
	mu    sync.Mutex
	most  int
	order *list.List // of entries, the latest first
	at    map[K]*list.Element
}

type memoEntry[K comparable, V any] struct {
	key   K
	value V
}

func newMemo[K comparable, V any](most int) *memo[K, V] {
	return &memo[K, V]{most: most, order: list.New(), at: map[K]*list.Element{}}
}

func (m *memo[K, V]) get(key K) (value V, found bool) {
	m.mu.Lock()
	defer m.mu.Unlock()
	element, found := m.at[key]
	if !found {
		return value, false
	}
	m.order.MoveToFront(element)
	return element.Value.(memoEntry[K, V]).value, true
}

func (m *memo[K, V]) put(key K, value V) {
	m.mu.Lock()
	defer m.mu.Unlock()
	if element, found := m.at[key]; found {
		element.Value = memoEntry[K, V]{key, value}
		m.order.MoveToFront(element)
		return
	}
	m.at[key] = m.order.PushFront(memoEntry[K, V]{key, value})
	if m.order.Len() > m.most {
		last := m.order.Back()
		delete(m.at, last.Value.(memoEntry[K, V]).key)
		m.order.Remove(last)
	}
}

func (m *memo[K, V]) clear() {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.order.Init()
	clear(m.at)
}

func (m *memo[K, V]) len() int {
	m.mu.Lock()
	defer m.mu.Unlock()
	return m.order.Len()
}

// ChangeNote is one change of the workspace, for those who follow it.
type ChangeNote struct {
	Seq           int64
	Kind, Subject string // "campaign" and its id, "dyno", …
}

// ChangesAfter returns the changes after the one of the given number, oldest
// first, at most limit.
func (w *Workspace) ChangesAfter(ctx context.Context, seq int64, limit int) ([]ChangeNote, error) {
	changes, err := w.store.Changes(ctx, "", "", seq, limit)
	var notes []ChangeNote
	for _, c := range changes {
		notes = append(notes, ChangeNote{c.Seq, c.Kind, c.Subject})
	}
	return notes, err
}

// LooksKept returns how many analyses are kept at the moment.
func (d *Desk) LooksKept() int { return d.looks.len() }

// at drops what was analysed before a change: nobody asks for it again.
func (d *Desk) at(changed int64) {
	d.mu.Lock()
	defer d.mu.Unlock()
	if changed > d.changed {
		d.changed = changed
		d.looks.clear()
	}
}
