package evidence

import (
	"errors"
	"fmt"
	"time"
)

// growthFormat is the format of a proof that a record only grew; docs/evidence.md.
const growthFormat = "fairpull.growth/1"

// longestGrowth bounds such a proof, in bytes.
const longestGrowth = longestSeal

// ErrGrowth says that a file is no proof that a record only grew.
var ErrGrowth = errors.New("is no proof that a record only grew")

// Growth shows that a record at a later checkpoint begins with what it was at an
// earlier one: nothing was changed, taken out or put in between. It can be verified by
// itself; that the earlier checkpoint is the one that somebody kept, they see.
type Growth struct {
	Earlier string   // a checkpoint, as it was kept
	Later   string   // another
	Proof   []Digest // [RFC6962], section 2.1.2
	Keys    *Keyring
}

// growthText is a proof as its file has it.
type growthText struct {
	Format  string      `json:"format"`
	Earlier string      `json:"earlier"`
	Later   string      `json:"later"`
	Proof   []Digest    `json:"proof"`
	Keys    keyringText `json:"keys"`
}

// Encode returns the proof as a JSON file. The same proof gives the same bytes.
func (g *Growth) Encode() ([]byte, error) {
	proof := g.Proof
	if proof == nil {
		proof = []Digest{}
	}
	return encodeLines(growthText{growthFormat, g.Earlier, g.Later, proof, g.list().text()})
}

// list returns the keys, an empty list for none.
func (g *Growth) list() *Keyring {
	if g.Keys == nil {
		return new(Keyring)
	}
	return g.Keys
}

// ParseGrowth reads what [Growth.Encode] writes, in its one right form. It verifies the
// list of keys, and nothing else: ask [Growth.Verify]. Errors are [ErrGrowth].
func ParseGrowth(data []byte) (*Growth, error) {
	if len(data) > longestGrowth {
		return nil, fmt.Errorf("%w: it is longer than %d bytes", ErrGrowth, longestGrowth)
	}
	var text growthText
	if err := decode(data, &text, encodeLines); err != nil {
		return nil, fmt.Errorf("%w: it %w", ErrGrowth, err)
	}
	if text.Format != growthFormat {
		return nil, fmt.Errorf("%w: its format is %.40q; this program reads %s", ErrGrowth, text.Format, growthFormat)
	}
	keys, err := text.Keys.keyring()
	if err != nil {
		return nil, fmt.Errorf("%w: %w", ErrGrowth, err)
	}
	return &Growth{Earlier: text.Earlier, Later: text.Later, Proof: text.Proof, Keys: keys}, nil
}

// Verify verifies both checkpoints, the proof between them and the list of keys, against
// what is trusted. Kept is the checkpoint that whoever verifies kept; empty: none, and
// then a caution says what is not known. It reads no clock and fetches nothing.
func (g *Growth) Verify(trust Trust, kept string) Findings {
	v := sealCheck{seal: &Seal{}, keys: g.list()}
	v.checkKeys(trust)
	earlier, one := v.checkpoint("the earlier checkpoint", g.Earlier, trust)
	later, two := v.checkpoint("the later checkpoint", g.Later, trust)
	if !one || !two {
		return v.found
	}
	if err := later.Continues(earlier, g.Proof); err != nil {
		v.found.add(Failed, partRecord, later.Origin, "%v", err)
		return v.found
	}
	v.found.add(Confirmed, partRecord, later.Origin, "the record of %d leaves begins with that of %d: nothing was changed or taken out", later.Size, earlier.Size)
	switch kept {
	case "":
		v.found.add(Caution, partRecord, later.Origin, "the earlier checkpoint is the one that the proof brings itself: compare it with one that was kept")
	case g.Earlier:
		v.found.add(Confirmed, partRecord, later.Origin, "the earlier checkpoint is the one that was kept")
	case g.Later:
		v.found.add(Confirmed, partRecord, later.Origin, "the later checkpoint is the one that was kept")
	default:
		v.found.add(Failed, partRecord, later.Origin, "neither checkpoint is the one that was kept")
	}
	return v.found
}

// checkpoint verifies a checkpoint and the right of its key to sign it.
func (v *sealCheck) checkpoint(what, text string, trust Trust) (Head, bool) {
	head, key, err := ParseCheckpoint([]byte(text), v.recordKeys()...)
	if err != nil {
		v.found.add(Failed, partRecord, "", "%s %v", what, err)
		return head, false
	}
	state, _ := v.keys.Key(key.ID())
	switch {
	case state.Name != head.Origin:
		v.found.add(Failed, partRecord, head.Origin, "%s is signed by the key of %s", what, state.Name)
	case trust.Origin != "" && trust.Origin != head.Origin:
		v.found.add(Failed, partRecord, head.Origin, "the lab's record is %s", trust.Origin)
	case v.revoked(partRecord, state, time.Time{}, time.Time{}):
		return head, true
	}
	return head, false
}

// recordKeys are the keys that sign checkpoints, or have.
func (v *sealCheck) recordKeys() []PublicKey {
	var keys []PublicKey
	for _, state := range v.keys.Keys() {
		if state.Purpose == ForRecord {
			keys = append(keys, state.Key)
		}
	}
	return keys
}
