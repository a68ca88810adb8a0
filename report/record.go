package report

import (
	"bufio"
	"fmt"
	"io"
	"strings"
)

// Record is a lab's append-only record as it stands.
type Record struct {
	Name    string
	Leaves  int64
	Root    string
	Founder string // fingerprint of the first key of the lab's list
	// Checkpoint is the latest that a published claim brought, and Signed of how many
	// leaves it is; empty and 0: there is none.
	Checkpoint string
	Signed     int64
}

// JSON returns the record, format fairpull.record/1.
func (r *Record) JSON() ([]byte, error) {
	return indented(struct {
		Format     string `json:"format"`
		Name       string `json:"name"`
		Leaves     int64  `json:"leaves"`
		Root       string `json:"root"`
		Founder    string `json:"founder"`
		Checkpoint string `json:"checkpoint,omitempty"`
		Signed     int64  `json:"checkpoint_leaves"`
	}{"fairpull.record/1", r.Name, r.Leaves, r.Root, r.Founder, r.Checkpoint, r.Signed})
}

// Text writes the record for a terminal.
func (r *Record) Text(w io.Writer) error {
	out := bufio.NewWriter(w)
	leaves := "leaves"
	if r.Leaves == 1 {
		leaves = "leaf"
	}
	fmt.Fprintf(out, "Record %s: %d %s, root %s\nList of keys begins with %s\n", clean(r.Name), r.Leaves, leaves, clean(r.Root), clean(r.Founder))
	switch {
	case r.Signed == 0:
		fmt.Fprintln(out, "No checkpoint is signed: no claim is published yet.")
	case r.Signed < r.Leaves:
		fmt.Fprintf(out, "The latest checkpoint is of %d; what came after it is signed with the next claim, or with --key.\n", r.Signed)
		fallthrough
	default:
		fmt.Fprintf(out, "\n%s\n", strings.TrimSpace(r.Checkpoint))
	}
	return out.Flush()
}
