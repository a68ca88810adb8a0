package cli

import (
	"context"
	"errors"
	"fmt"
	"io"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"fairpull/internal/lab"
)

func attachCommand() *cobra.Command {
	const try = "fairpull attach twin650-intake-cam --setup s1 photo.jpg"
	cmd := &cobra.Command{
		Use:   "attach CAMPAIGN FILE…",
		Short: "Keep photographs and documents with a setup or a configuration",
		Long: `Keep photographs and documents with a setup or a configuration of a campaign of
the workspace, byte for byte and by their digest. What a file is, is told from its
content. An export writes them below attachments, with their list; an import
takes them back. Nothing is taken away.`,
		Example: `  fairpull attach twin650-intake-cam --setup s1 pull.csv --note "the logger's own copy"
  fairpull attach twin650-intake-cam --list`,
	}
	var a lab.Attachment
	setup := cmd.Flags().String("setup", "", "the setup that the files belong to")
	configuration := cmd.Flags().String("configuration", "", "the configuration that the files belong to")
	cmd.Flags().StringVar(&a.Note, "note", "", "a note to the files")
	list := cmd.Flags().Bool("list", false, "list what is attached")
	by, open := byFlag(cmd), withWorkspace(cmd)
	cmd.Args = func(_ *cobra.Command, args []string) error {
		switch {
		case *list && len(args) != 1:
			return &usageError{errors.New("--list takes one campaign's id"), "fairpull attach twin650-intake-cam --list"}
		case *list && (*setup != "" || *configuration != "" || a.Note != ""):
			return &usageError{errors.New("--list lists all that is attached, and takes nothing else"), "fairpull attach twin650-intake-cam --list"}
		case *list:
			return nil
		case len(args) < 2:
			return &usageError{errors.New("attach takes a campaign's id and the files"), try}
		case (*setup == "") == (*configuration == ""):
			return &usageError{errors.New("the files belong to one setup or to one configuration"), try}
		}
		return nil
	}
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		a.Campaign, a.Kind, a.Subject = args[0], lab.AttachSetup, *setup
		if *configuration != "" {
			a.Kind, a.Subject = lab.AttachConfiguration, *configuration
		}
		return open(func(ctx context.Context, w *lab.Workspace) error {
			if *list {
				return listAttachments(ctx, cmd.OutOrStdout(), w, args[0])
			}
			who, err := by()
			if err != nil {
				return err
			}
			added, err := w.Attach(ctx, a, args[1:], lab.Author{Who: who})
			if err != nil {
				return err
			}
			fmt.Fprintf(cmd.OutOrStdout(), "Attached to %s %s of %s: %d of %d files; the others were there already.\n", a.Kind, a.Subject, a.Campaign, added, len(args)-1)
			return nil
		})
	}
	return cmd
}

func listAttachments(ctx context.Context, out io.Writer, w *lab.Workspace, id string) error {
	list, err := w.Attachments(ctx, id)
	if err != nil {
		return err
	}
	if len(list) == 0 {
		_, err := fmt.Fprintf(out, "Nothing is attached to %s.\n", id)
		return err
	}
	table := tabwriter.NewWriter(out, 0, 0, 2, ' ', 0)
	fmt.Fprintln(table, "belongs to\tfile\ttype\tbytes\tdigest\tnote")
	for _, a := range list {
		fmt.Fprintf(table, "%s %s\t%s\t%s\t%d\t%.19s…\t%s\n", a.Kind, oneLine(a.Subject), oneLine(a.Name), a.Media, a.Size, a.Digest, oneLine(a.Note))
	}
	return table.Flush()
}
