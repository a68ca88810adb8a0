package evidence

import (
	"errors"
	"fmt"
	"slices"
	"time"
)

// Purpose is what a key is for. One key has one purpose.
type Purpose string

// The purposes.
const (
	ForKeys     Purpose = "keys"     // signs the list of keys itself: the keeper's
	ForApproval Purpose = "approval" // belongs to a person and signs statements
	ForRecord   Purpose = "record"   // signs the checkpoints of the record
)

// Change is what an event does to the list of keys.
type Change string

// The changes.
const (
	Added   Change = "added"
	Rotated Change = "rotated" // a key takes the place of an earlier one of the same name
	Revoked Change = "revoked"
)

// KeyEvent is one entry of the list of keys. Events are only ever appended.
type KeyEvent struct {
	Number   int       `json:"number"` // from 0
	At       time.Time `json:"at"`     // UTC, whole seconds
	Change   Change    `json:"change"`
	Name     string    `json:"name"` // the person or the record that the key belongs to
	Purpose  Purpose   `json:"purpose"`
	Key      PublicKey `json:"key"`
	Replaces string    `json:"replaces,omitempty"` // the id of the earlier key
	// Compromised says that somebody else may have had the key: then its signatures
	// hold only where something else proves that they are older than At.
	Compromised bool   `json:"compromised,omitempty"`
	Reason      string `json:"reason,omitempty"`
	Previous    Digest `json:"previous"` // of the event before with its signature; zero for the first
}

// signedEvent is an event with the signature of a keeper.
type signedEvent struct {
	Event     KeyEvent `json:"event"`
	By        string   `json:"by"` // the id of the keeper's key
	Signature string   `json:"signature"`
}

// KeyState is what the list says of one key.
type KeyState struct {
	Name        string
	Purpose     Purpose
	Key         PublicKey
	From        time.Time
	Until       time.Time // when a successor took its place; zero: none has
	Successor   string    // the id of the successor
	Revoked     time.Time // zero: it was not
	Reason      string    // why it was revoked
	Compromised bool
}

// Keyring is the list of a lab's keys with its whole history: who had which key
// from when until when, and why one was revoked. Each event is chained to the one
// before and signed by a keeper's key that was valid then. Whoever knows the
// fingerprint of the first key can trust the rest.
//
// The zero Keyring is empty. Make one with [NewKeyring].
type Keyring struct {
	events []signedEvent
	states []KeyState
	places map[string]int // of a state, by the id of its key
}

// ErrKeyring says that a list of keys does not hold.
var ErrKeyring = errors.New("the list of keys does not hold")

// The bounds of a list of keys.
const (
	mostEvents  = 2_000
	longestText = 400 // of a name or a reason, in bytes
)

// NewKeyring returns the list that begins with the keeper's key, which signs
// itself.
func NewKeyring(at time.Time, name string, keep *PrivateKey) (*Keyring, error) {
	ring := new(Keyring)
	event := KeyEvent{At: at, Change: Added, Name: name, Purpose: ForKeys, Key: keep.Public()}
	return ring, ring.append(event, keep)
}

// Add puts a key of a person or a record into the list.
func (r *Keyring) Add(at time.Time, name string, purpose Purpose, key PublicKey, keep *PrivateKey) error {
	return r.append(KeyEvent{At: at, Change: Added, Name: name, Purpose: purpose, Key: key}, keep)
}

// Rotate puts key in the place of the key with the id old, which ends then. Name
// and purpose stay. A keeper's key is rotated by itself.
func (r *Keyring) Rotate(at time.Time, old string, key PublicKey, reason string, keep *PrivateKey) error {
	state, found := r.Key(old)
	if !found {
		return fmt.Errorf("%w: there is no key %s", ErrKeyring, old)
	}
	return r.append(KeyEvent{
		At: at, Change: Rotated, Name: state.Name, Purpose: state.Purpose,
		Key: key, Replaces: old, Reason: reason,
	}, keep)
}

// Revoke ends the key with the id, for a reason. Signatures dated before stay good,
// unless the key was compromised: see [KeyEvent].
func (r *Keyring) Revoke(at time.Time, id, reason string, compromised bool, keep *PrivateKey) error {
	state, found := r.Key(id)
	if !found {
		return fmt.Errorf("%w: there is no key %s", ErrKeyring, id)
	}
	return r.append(KeyEvent{
		At: at, Change: Revoked, Name: state.Name, Purpose: state.Purpose,
		Key: state.Key, Reason: reason, Compromised: compromised,
	}, keep)
}

// append signs an event and puts it at the end, where it holds.
func (r *Keyring) append(event KeyEvent, keep *PrivateKey) error {
	event.Number = len(r.events)
	event.At = event.At.UTC().Truncate(time.Second)
	if n := len(r.events); n > 0 {
		previous, err := r.events[n-1].digest()
		if err != nil {
			return err
		}
		event.Previous = previous
	}
	message, err := encode(event)
	if err != nil {
		return err
	}
	signature, err := keep.Sign(message, "")
	if err != nil {
		return err
	}
	return r.take(signedEvent{Event: event, By: keep.Public().ID(), Signature: signature})
}

// digest names the event with its signature.
func (e signedEvent) digest() (Digest, error) {
	all, err := encode(e)
	return OfBytes(all), err
}

// take verifies the next event and applies it. Where it does not hold, the list
// stays as it was.
func (r *Keyring) take(e signedEvent) error {
	if err := r.holds(e); err != nil {
		return fmt.Errorf("%w: event %d: %w", ErrKeyring, len(r.events), err)
	}
	event := e.Event
	switch event.Change {
	case Rotated:
		old := r.find(event.Replaces)
		old.Until, old.Successor = event.At, event.Key.ID()
	case Revoked:
		old := r.find(event.Key.ID())
		old.Revoked, old.Reason, old.Compromised = event.At, event.Reason, event.Compromised
	}
	if event.Change != Revoked {
		if r.places == nil {
			r.places = map[string]int{}
		}
		r.places[event.Key.ID()] = len(r.states)
		r.states = append(r.states, KeyState{Name: event.Name, Purpose: event.Purpose, Key: event.Key, From: event.At})
	}
	r.events = append(r.events, e)
	return nil
}

// holds reports what is wrong with the next event.
func (r *Keyring) holds(e signedEvent) error {
	n, event := len(r.events), e.Event
	var previous Digest
	if n > 0 {
		var err error
		if previous, err = r.events[n-1].digest(); err != nil {
			return err
		}
	}
	switch {
	case n >= mostEvents:
		return fmt.Errorf("there are more than %d events", mostEvents)
	case event.Number != n:
		return fmt.Errorf("it carries the number %d", event.Number)
	case event.Previous != previous:
		return errors.New("it does not follow the event before it")
	case event.At.IsZero() || event.At != event.At.UTC().Truncate(time.Second):
		return errors.New("its time is not UTC in whole seconds")
	case n > 0 && event.At.Before(r.events[n-1].Event.At):
		return errors.New("it is dated before the event before it")
	case event.Key.IsZero():
		return errors.New("it names no key")
	}
	if err := r.follows(event); err != nil {
		return err
	}
	message, err := encode(event)
	if err != nil {
		return err
	}
	keep, err := r.keeper(e)
	if err != nil {
		return err
	}
	_, err = keep.Verify(message, e.Signature)
	return err
}

// keeper returns the key that must have signed the event.
func (r *Keyring) keeper(e signedEvent) (PublicKey, error) {
	if len(r.events) == 0 {
		if e.Event.Purpose != ForKeys || e.Event.Change != Added || e.By != e.Event.Key.ID() {
			return PublicKey{}, errors.New("the list must begin with a key that keeps the list and signs itself")
		}
		return e.Event.Key, nil
	}
	keeper := r.find(e.By)
	if keeper == nil || keeper.Purpose != ForKeys || !keeper.Until.IsZero() || !keeper.Revoked.IsZero() {
		return PublicKey{}, fmt.Errorf("key %.40q may not sign the list of keys", e.By)
	}
	return keeper.Key, nil
}

// follows reports whether what the event does can be done to the list.
func (r *Keyring) follows(event KeyEvent) error {
	if !slices.Contains([]Purpose{ForKeys, ForApproval, ForRecord}, event.Purpose) {
		return fmt.Errorf("%.40q is no purpose of a key", event.Purpose)
	}
	if event.Name == "" {
		return errors.New("the key belongs to nobody: a name is needed")
	}
	if err := errors.Join(oneLine("name", event.Name, longestText), oneLine("reason", event.Reason, longestText)); err != nil {
		return err
	}
	if event.Compromised && event.Change != Revoked {
		return errors.New("only a key that is revoked can be compromised")
	}
	known, earlier := r.find(event.Key.ID()), r.find(event.Replaces)
	switch event.Change {
	case Added:
		return r.added(event, known)
	case Rotated:
		switch {
		case known != nil:
			return fmt.Errorf("key %s is in the list already", event.Key.ID())
		case earlier == nil || earlier.Name != event.Name || earlier.Purpose != event.Purpose:
			return errors.New("it replaces no key of the same name and purpose")
		case !earlier.Until.IsZero() || !earlier.Revoked.IsZero():
			return fmt.Errorf("key %s has ended before", event.Replaces)
		}
	case Revoked:
		switch {
		case known == nil || known.Key != event.Key || known.Name != event.Name || known.Purpose != event.Purpose || event.Replaces != "":
			return errors.New("it revokes a key that is not in the list")
		case !known.Revoked.IsZero():
			return fmt.Errorf("key %s was revoked before", event.Key.ID())
		case event.Reason == "":
			return errors.New("a key is revoked for a reason")
		}
	default:
		return fmt.Errorf("%.40q is no change", event.Change)
	}
	return nil
}

// added reports whether the key can be added; known is an entry of the same id.
func (r *Keyring) added(event KeyEvent, known *KeyState) error {
	switch {
	case known != nil:
		return fmt.Errorf("key %s is in the list already", event.Key.ID())
	case event.Replaces != "" || event.Reason != "":
		return errors.New("a key that is added replaces none and needs no reason")
	}
	for _, s := range r.states {
		if s.Name == event.Name && s.Purpose == event.Purpose && s.Until.IsZero() && s.Revoked.IsZero() {
			return fmt.Errorf("%s has key %s for this: rotate that one", s.Name, s.Key.ID())
		}
	}
	return nil
}

// find returns the state of the key with the id, or nil.
func (r *Keyring) find(id string) *KeyState {
	if i, found := r.places[id]; found {
		return &r.states[i]
	}
	return nil
}

// Key returns what the list says of the key with the id.
func (r *Keyring) Key(id string) (KeyState, bool) {
	if s := r.find(id); s != nil {
		return *s, true
	}
	return KeyState{}, false
}

// Current returns the key that a name has for a purpose at the end of the list.
func (r *Keyring) Current(name string, purpose Purpose) (KeyState, bool) {
	for _, s := range r.states {
		if s.Name == name && s.Purpose == purpose && s.Until.IsZero() && s.Revoked.IsZero() {
			return s, true
		}
	}
	return KeyState{}, false
}

// Keys returns every key that the list ever had, in the order of coming.
func (r *Keyring) Keys() []KeyState { return slices.Clone(r.states) }

// Events returns the history.
func (r *Keyring) Events() []KeyEvent {
	events := make([]KeyEvent, len(r.events))
	for i, e := range r.events {
		events[i] = e.Event
	}
	return events
}

// Founder returns the fingerprint of the first key, which whoever verifies compares
// with the one that the lab has published. It is zero for an empty list.
func (r *Keyring) Founder() Digest {
	if len(r.states) == 0 {
		return Digest{}
	}
	return r.states[0].Key.Fingerprint()
}

// Begins reports whether r is an earlier state of later, event for event.
func (r *Keyring) Begins(later *Keyring) bool {
	return len(r.events) <= len(later.events) && slices.Equal(r.events, later.events[:len(r.events)])
}
