package web

import (
	"crypto/rand"
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
	at              time.Time
}

// hold keeps a file and returns the word by which who handed it in finds it again. The
// oldest go where there are too many.
func (h *heldFiles) hold(name string, data []byte, by string, now time.Time) string {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.drop(now)
	h.list = append(h.list, heldFile{rand.Text(), name, by, data, now})
	bytes := 0
	for i := len(h.list) - 1; i >= 0; i-- {
		if bytes += len(h.list[i].data); bytes > maxHeldBytes || len(h.list)-i > maxHeldFiles {
			h.list = append([]heldFile(nil), h.list[i+1:]...)
			break
		}
	}
	return h.list[len(h.list)-1].token
}

// find returns a file that somebody handed in; false where it is gone, or another's.
func (h *heldFiles) find(token, by string, now time.Time) (heldFile, bool) {
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
