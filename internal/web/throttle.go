package web

import (
	"net/netip"
	"sync"
	"time"
)

// Limits of signing in: tries that failed within a time, for one name and from
// one address.
const (
	triesWithin     = 15 * time.Minute
	triesOfName     = 8
	triesOfAddress  = 30
	throttleEntries = 4096
)

// throttle counts tries to sign in that failed. What it keeps is bounded: where
// there are more keys than it holds, everybody waits until some have lapsed.
type throttle struct {
	mu    sync.Mutex
	now   func() time.Time
	tries map[string][]time.Time // by "name NAME" and "address NETWORK"
}

func newThrottle(now func() time.Time) *throttle {
	return &throttle{now: now, tries: map[string][]time.Time{}}
}

// wait returns how long somebody has to wait before the next try; 0: not at all.
// A try that may go on is counted as failed until it is forgotten, so that many
// at once are not let through.
func (t *throttle) wait(name, address string) time.Duration {
	t.mu.Lock()
	defer t.mu.Unlock()
	now := t.now()
	t.lapse(now)
	network := networkOf(address)
	if len(t.tries)+2 > throttleEntries {
		return triesWithin
	}
	longest := time.Duration(0)
	for _, limit := range []struct {
		key  string
		most int
	}{{"name " + name, triesOfName}, {"address " + network, triesOfAddress}} {
		if tries := t.tries[limit.key]; len(tries) >= limit.most {
			longest = max(longest, tries[len(tries)-limit.most].Add(triesWithin).Sub(now))
		}
	}
	if longest > 0 {
		return longest
	}
	for _, key := range []string{"name " + name, "address " + network} {
		t.tries[key] = append(t.tries[key], now)
	}
	return 0
}

// lapse drops the tries that no longer count.
func (t *throttle) lapse(now time.Time) {
	for key, tries := range t.tries {
		first := 0
		for first < len(tries) && now.Sub(tries[first]) >= triesWithin {
			first++
		}
		if first == len(tries) {
			delete(t.tries, key)
		} else if first > 0 {
			t.tries[key] = append([]time.Time(nil), tries[first:]...)
		}
	}
}

// forget takes back the try that succeeded.
func (t *throttle) forget(name, address string) {
	t.mu.Lock()
	defer t.mu.Unlock()
	delete(t.tries, "name "+name)
	key := "address " + networkOf(address)
	if n := len(t.tries[key]); n > 1 {
		t.tries[key] = t.tries[key][:n-1]
	} else {
		delete(t.tries, key)
	}
}

// networkOf returns what one client can have many addresses of: for IP version 6 the
// network of 64 bits, else the address itself.
//
// Source: RFC 4291, section 2.5.4: an interface identifier has the last 64 bits.
func networkOf(address string) string {
	a, err := netip.ParseAddr(address)
	if err != nil {
		return address
	}
	if a = a.Unmap(); a.Is4() {
		return a.String()
	}
	return netip.PrefixFrom(a.WithZone(""), 64).Masked().String()
}
