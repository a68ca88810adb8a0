package report

import (
	"bufio"
	"fmt"
	"io"
)

// Outcomes of a finding.
const (
	Confirmed = "confirmed"
	Caution   = "caution"
	Failed    = "failed"
)

// Finding is one thing that a verification found.
type Finding struct {
	Outcome string `json:"outcome"` // confirmed, caution or failed
	Part    string `json:"part"`    // bag, seal, signature, record, time stamp, keys, claim, figures, documents
	Where   string `json:"where,omitempty"`
	What    string `json:"what"`
}

// Verification is what came of verifying a dossier.
type Verification struct {
	Dossier  string // where it is
	Number   string // of the claim; empty: it could not be read
	Title    string
	Sentence string // what is claimed; empty: the dossier is not verified
	Verified bool
	// MethodChanged says that figures differ because a later method derived them.
	MethodChanged bool
	Findings      []Finding
}

// JSON returns the verification, format fairpull.verification/1, indented.
func (v *Verification) JSON() ([]byte, error) {
	findings := v.Findings
	if findings == nil {
		findings = []Finding{}
	}
	return indented(struct {
		Format        string    `json:"format"`
		Dossier       string    `json:"dossier"`
		Number        string    `json:"number,omitempty"`
		Title         string    `json:"title,omitempty"`
		Verified      bool      `json:"verified"`
		MethodChanged bool      `json:"method_changed"`
		Sentence      string    `json:"sentence,omitempty"`
		Findings      []Finding `json:"findings"`
	}{"fairpull.verification/1", v.Dossier, v.Number, v.Title, v.Verified, v.MethodChanged, v.Sentence, findings})
}

// Text writes the verification for a terminal of the given width: what failed
// first, then cautions, then what was confirmed.
func (v *Verification) Text(w io.Writer, width int) error {
	out := bufio.NewWriter(w)
	head := "NOT VERIFIED"
	if v.Verified {
		head = "Verified"
	}
	fmt.Fprintf(out, "%s: %s%s\n", head, clean(v.Dossier), labelled(", claim ", clean(v.Number)))
	if v.Sentence != "" {
		fmt.Fprintln(out)
		writeWrapped(out, cleanTo(v.Sentence, 2000), 2, width)
	}
	for _, group := range []struct{ outcome, title string }{
		{Failed, "Failed:"}, {Caution, "What this does not prove:"}, {Confirmed, "Confirmed:"},
	} {
		first := true
		for _, f := range v.Findings {
			if f.Outcome != group.outcome {
				continue
			}
			if first {
				fmt.Fprintln(out, "\n"+group.title)
				first = false
			}
			writeWrapped(out, "- "+clean(f.Part)+labelled(", ", cleanTo(f.Where, 200))+": "+cleanTo(f.What, 1000), 2, width)
		}
	}
	return out.Flush()
}
