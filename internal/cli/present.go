package cli

import (
	"context"
	"fmt"
	"io"
	"slices"

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

// openFor runs show with the workspace; without one where all that is named are
// campaign folders: none is needed then, nor made.
func openFor(ctx context.Context, open func(func(context.Context, *lab.Workspace) error) error, names []string, show func(context.Context, *lab.Workspace) error) error {
	if !slices.ContainsFunc(names, func(name string) bool { return !lab.IsFolder(name) }) {
		return show(ctx, nil)
	}
	return open(show)
}
