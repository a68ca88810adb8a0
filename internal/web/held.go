package web

import (
	"crypto/rand"
	"slices"
	"sync"
	"time"
)

// Bounds of the files that are held while a person says what they are.
const (
	maxHeldFiles = 8
	maxHeldBytes = 128 << 20
	heldFor      = time.Hour
)

// heldFiles are files that were handed in to be looked at, in memory and for a while.
type heldFiles struct {
	mu   sync.Mutex
	list []heldFile // the oldest first
}

type heldFile struct {
	token, name, by string
	data            []byte
	beside          map[string][]byte // readings with what lies beside them, by name; nil: a file alone
	at              time.Time
}

func (f *heldFile) size() int {
	n := len(f.data)
	for _, data := range f.beside {
		n += len(data)
	}
	return n
}

// hold keeps a file and returns the word by which who handed it in finds it again. The
// oldest go where there are too many.
func (h *heldFiles) hold(name string, data []byte, by string, now time.Time) string {
	return h.add(heldFile{token: rand.Text(), name: name, by: by, data: data, at: now})
}

// holdReadings keeps readings as hold keeps a file; those that somebody handed in under the
// same word before go. An empty word: a new one.
func (h *heldFiles) holdReadings(token string, beside map[string][]byte, by string, now time.Time) string {
	if token == "" {
		token = rand.Text()
	}
	return h.add(heldFile{token: token, by: by, beside: beside, at: now})
}

// add keeps what is no larger than maxHeldBytes.
func (h *heldFiles) add(f heldFile) string {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.drop(f.at)
	h.list = append(slices.DeleteFunc(h.list, func(was heldFile) bool { return was.token == f.token && was.by == f.by }), f)
	bytes := 0
	for i := len(h.list) - 1; i >= 0; i-- {
		if bytes += h.list[i].size(); bytes > maxHeldBytes || len(h.list)-i > maxHeldFiles {
			h.list = append([]heldFile(nil), h.list[i+1:]...)
			break
		}
	}
	return f.token
}

// find returns a file that somebody handed in; false where it is gone, or another's.
func (h *heldFiles) find(token, by string, now time.Time) (heldFile, bool) {
	if f, found := h.findAny(token, by, now); found && f.beside == nil {
		return f, true
	}
	return heldFile{}, false
}

// findReadings is find for readings.
func (h *heldFiles) findReadings(token, by string, now time.Time) (heldFile, bool) {
	if f, found := h.findAny(token, by, now); found && f.beside != nil {
		return f, true
	}
	return heldFile{}, false
}

func (h *heldFiles) findAny(token, by string, now time.Time) (heldFile, bool) {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.drop(now)
	for _, f := range h.list {
		if f.token == token && f.by == by {
			return f, true
		}
	}
	return heldFile{}, false
}

// drop lets go of what was held long enough.
func (h *heldFiles) drop(now time.Time) {
	for len(h.list) > 0 && now.Sub(h.list[0].at) >= heldFor {
		h.list[0] = heldFile{}
		h.list = h.list[1:]
	}
}
