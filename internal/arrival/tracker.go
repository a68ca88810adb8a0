package arrival

import (
	"cmp"
	"slices"
	"strings"
	"time"
)

// listed is what the folder says of one file.
type listed struct {
	name     string
	size     int64
	modified time.Time
}

// tracker remembers what was seen of each file. Its moments are handed to it
// and carry the monotonic clock, so a wall clock that jumps moves nothing.
type tracker struct {
	options Options
	files   map[string]*sight
	begun   bool
}

// sight is what was seen of one file.
type sight struct {
	listed
	since   time.Time // size and modification time have stood still from here on
	retry   time.Time // leave it alone before
	wait    time.Duration
	done    bool // handed on as it stands, or passed over
	handed  bool // some content of this name was handed on
	present bool
	told    Kind
}

func newTracker(o Options) *tracker {
	return &tracker{options: o, files: map[string]*sight{}}
}

// look takes a listing of the folder at the moment now. It returns the files
// that have stood still for long enough, in order of modification and name, how
// many are on their way, and the names that the first look passed over.
func (t *tracker) look(now time.Time, list []listed) (ready []*sight, underway int, left []string) {
	for _, l := range list {
		if unfinishedName(l.name) {
			continue
		}
		s, known := t.files[l.name]
		switch {
		case !known:
			s = &sight{listed: l, since: now, present: !t.begun}
			t.files[l.name] = s
			if s.present && !t.options.Existing {
				s.done = true
				left = append(left, l.name)
			}
		case s.size != l.size || !s.modified.Equal(l.modified):
			// Growing or rewritten. One that was passed over at the start was
			// still being written then.
			s.listed, s.since, s.done, s.told = l, now, false, ""
			s.retry, s.wait = time.Time{}, 0
		}
		if s.done {
			continue
		}
		underway++
		if now.Sub(s.since) >= t.options.Quiet && !now.Before(s.retry) {
			ready = append(ready, s)
		}
	}
	t.begun = true
	slices.SortFunc(ready, func(a, b *sight) int {
		return cmp.Or(a.modified.Compare(b.modified), cmp.Compare(a.name, b.name))
	})
	slices.Sort(left)
	return ready, underway, left
}

// maxRetry is the longest time between two tries.
const maxRetry = 15 * time.Second

// again leaves a file alone until it is worth another try: for longer each time.
func (t *tracker) again(s *sight, now time.Time) {
	s.wait = max(t.options.Retry, min(2*s.wait, maxRetry))
	s.retry = now.Add(s.wait)
}

// tell reports whether kind is news of the file.
func (s *sight) tell(kind Kind) bool {
	news := s.told != kind
	s.told = kind
	return news
}

// unfinishedName reports whether a name says that its file is being written, is
// hidden, or is a copy that an editor keeps.
func unfinishedName(name string) bool {
	if strings.HasPrefix(name, ".") || strings.HasPrefix(name, "~") || strings.HasSuffix(name, "~") {
		return true
	}
	lower := strings.ToLower(name)
	for _, ending := range []string{".tmp", ".temp", ".part", ".partial", ".filepart", ".crdownload", ".swp", ".lock"} {
		if strings.HasSuffix(lower, ending) {
			return true
		}
	}
	return false
}
