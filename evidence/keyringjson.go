package evidence

import "fmt"

// keyringFormat names the text form of a list of keys.
const keyringFormat = "fairpull.keys/1"

// keyringText is the text form.
type keyringText struct {
	Format string        `json:"format"`
	Events []signedEvent `json:"events"`
}

// text returns what is written of the list.
func (r *Keyring) text() keyringText {
	return keyringText{Format: keyringFormat, Events: r.events}
}

// Encode returns the list as a JSON file. The same list gives the same bytes.
func (r *Keyring) Encode() ([]byte, error) { return encodeLines(r.text()) }

// ParseKeyring reads what [Keyring.Encode] writes, and verifies every event, its
// signature and its place in the chain. Anything else is [ErrKeyring].
func ParseKeyring(data []byte) (*Keyring, error) {
	var text keyringText
	if err := decode(data, &text, encodeLines); err != nil {
		return nil, fmt.Errorf("%w: it %w", ErrKeyring, err)
	}
	return text.keyring()
}

// keyring verifies the text's events one after the other.
func (t keyringText) keyring() (*Keyring, error) {
	if t.Format != keyringFormat {
		return nil, fmt.Errorf("%w: its format is %.40q; this program reads %s", ErrKeyring, t.Format, keyringFormat)
	}
	ring := new(Keyring)
	for _, e := range t.Events {
		if err := ring.take(e); err != nil {
			return nil, err
		}
	}
	return ring, nil
}
