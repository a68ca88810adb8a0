package cli

import (
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"fairpull/internal/lab"
	"fairpull/quantity"
	"fairpull/report"
)

// presented is an answer that is shown as text or JSON and written as documents.
type presented interface {
	lab.Document
	Text(w io.Writer, o report.TextOptions) error
	JSON() ([]byte, error)
}

// present writes the documents that are asked for, then the answer itself to standard
// output.
func present(cmd *cobra.Command, view presented, reports []string, overwrite, asJSON bool, units quantity.System) error {
	for _, file := range reports {
		if err := lab.WriteDocument(view, file, overwrite, units); err != nil {
			return err
		}
		fmt.Fprintf(cmd.ErrOrStderr(), "wrote %s\n", file)
	}
	out := cmd.OutOrStdout()
	if !asJSON {
		return view.Text(out, report.TextOptions{Width: terminalWidth(), Color: colour(out), Units: units})
	}
	data, err := view.JSON()
	if err != nil {
		return err
	}
	_, err = out.Write(data)
	return err
}
