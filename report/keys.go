package report

import (
	"bufio"
	"fmt"
	"io"
	"text/tabwriter"
	"time"
)

// Key is what a lab's list of keys says of one key.
type Key struct {
	ID, Name, Purpose   string
	Public, Fingerprint string
	From                time.Time
	Until               time.Time // when a successor took its place; zero: none has
	Successor           string
	Revoked             time.Time // zero: it was not
	Compromised         bool
	Reason              string
}

// Standing says in a few words whether the key holds.
func (k *Key) Standing() string {
	switch {
	case k.Compromised:
		return "compromised, revoked " + Day(k.Revoked) + labelled(": ", cleanTo(k.Reason, 200))
	case !k.Revoked.IsZero():
		return "revoked " + Day(k.Revoked) + labelled(": ", cleanTo(k.Reason, 200))
	case !k.Until.IsZero():
		return "replaced by " + clean(k.Successor) + " " + Day(k.Until)
	}
	return "holds since " + Day(k.From)
}

// Keys is a lab's list of keys.
type Keys struct {
	Founder string // the fingerprint of the first key
	Rows    []Key
	File    []byte // the list as a file, format fairpull.keys/1
}

// Text writes the list for a terminal.
func (k *Keys) Text(w io.Writer) error {
	table := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	fmt.Fprintln(table, "key\tname\tfor\tstanding")
	for i := range k.Rows {
		row := &k.Rows[i]
		fmt.Fprintf(table, "%s\t%s\t%s\t%s\n", clean(row.ID), clean(row.Name), clean(row.Purpose), row.Standing())
	}
	if err := table.Flush(); err != nil {
		return err
	}
	out := bufio.NewWriter(w)
	fmt.Fprintf(out, "\nThe list begins with the key of the fingerprint\n  %s\nPublish it, so that others can tell this lab's claims: fairpull verify DOSSIER --founder FINGERPRINT\n", k.Founder)
	return out.Flush()
}
