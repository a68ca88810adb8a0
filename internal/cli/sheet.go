package cli

import (
	"context"
	"errors"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"fairpull/internal/lab"
	"fairpull/quantity"
	"fairpull/report"
)

func sheetCommand() *cobra.Command {
	const try = "fairpull sheet C-0001"
	cmd := &cobra.Command{
		Use:   "sheet NUMBER",
		Short: "Write a claim's customer sheet: one page in plain words, and its chart",
		Long: `Write a claim for customers: one page, as PDF or HTML, and as SVG or PNG the chart to
put into a page of one's own. In English, German, Spanish or French, in the maker's
colours and with the maker's logo (docs/customer-sheet.md). How far the claim has
come stands on it: before it is published the sheet is a draft.

--vehicle names further campaigns of the same part, each on another vehicle: from
three vehicles on the sheet says what to expect on one more. --road adds what the gain
comes to on the road, for the vehicle that a file describes (docs/road.md).`,
		Example: `  fairpull sheet C-0001
  fairpull sheet C-0001 --language de --out blatt.pdf --out blatt.html --out kurve.svg
  fairpull sheet C-0001 --units us --paper a4 --out sheet-us.pdf`,
		Args: exactly(1, "sheet takes the number of a claim", try),
	}
	var q lab.SheetQuery
	f := withDocument(cmd, "what to write: .pdf and .html the sheet, .svg and .png its chart (may be repeated; default sheet-NUMBER.pdf)")
	cmd.Flags().StringVar(&q.Options.Language, "language", "en", "the sheet's language: "+strings.Join(report.LanguageCodes(), ", "))
	cmd.Flags().StringVar(&q.Options.Paper, "paper", "", "a4 or letter (default: letter with --units us, else a4)")
	look := cmd.Flags().String("look", "", "a file with the maker's name, colours and logo (format fairpull.look/1)")
	cmd.Flags().StringArrayVar(&q.Vehicles, "vehicle", nil, "a further campaign of the same part on another vehicle (may be repeated)")
	road := cmd.Flags().String("road", "", "a file that says what the vehicle is on the road (format fairpull.road/1)")
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		if *road != "" {
			q.Road = &lab.RoadQuery{}
			if err := lab.ReadRoad(*road, q.Road); err != nil {
				return err
			}
			system, err := f.units()
			if err != nil {
				return err
			}
			q.Road.Units = system
		}
		if _, err := report.ParseLanguage(q.Options.Language); err != nil {
			return &usageError{err, try + " --language de"}
		}
		if p := q.Options.Paper; p != "" && p != "a4" && p != "letter" {
			return &usageError{fmt.Errorf("there is no paper %.20q", p), try + " --paper letter"}
		}
		if *look != "" {
			own, err := lab.ReadLook(*look)
			if err != nil {
				return err
			}
			q.Options.Look = own
		}
		q.Number, q.Program = args[0], Version
		return f.write(args[0], func(ctx context.Context, w *lab.Workspace) (lab.Document, error) {
			return w.Sheet(ctx, q)
		})
	}
	return cmd
}

func reportCommand() *cobra.Command {
	const try = "fairpull report C-0001"
	cmd := &cobra.Command{
		Use:   "report NUMBER",
		Short: "Write a claim's test report, with what ISO/IEC 17025 asks a report to have",
		Long: `Write the test report of a claim as PDF or HTML: results, decision rule, measurement
uncertainty with its budget, method, recorded values, every pull with the reason
where one is left out, deviations. --details names a file with what was not
measured: laboratory, customer, condition of the items (docs/customer-sheet.md); what
it leaves out is as kept with fairpull details. What is missing of what ISO/IEC 17025:2017, 7.8, asks for is said.`,
		Example: `  fairpull report C-0001
  fairpull report C-0001 --out report-us.html --units us`,
		Args: exactly(1, "report takes the number of a claim", try),
	}
	f := withDocument(cmd, "what to write, .pdf or .html (may be repeated; default report-NUMBER.pdf)")
	details := cmd.Flags().String("details", "", "a file with laboratory, customer and items (format fairpull.details/1)")
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		for _, file := range *f.files {
			if lower := strings.ToLower(file); strings.HasSuffix(lower, ".svg") || strings.HasSuffix(lower, ".png") {
				return &usageError{errors.New("a test report is a document and no picture"), try + " --out report.pdf"}
			}
		}
		var d report.ReportDetails
		if *details != "" {
			var err error
			if d, err = lab.ReadDetails(*details); err != nil {
				return err
			}
		}
		return f.write(args[0], func(ctx context.Context, w *lab.Workspace) (lab.Document, error) {
			r, err := w.TestReport(ctx, args[0], d, Version)
			if err != nil {
				return nil, err
			}
			if missing := r.Missing(); len(missing) > 0 {
				fmt.Fprintf(cmd.ErrOrStderr(), "not stated, and ISO/IEC 17025:2017 asks for it: %s\n", strings.Join(missing, "; "))
			}
			return r, nil
		})
	}
	return cmd
}

// documentFlags are what the verbs that write a document of a claim have in common.
type documentFlags struct {
	cmd       *cobra.Command
	files     *[]string
	overwrite *bool
	units     func() (quantity.System, error)
	open      func(func(context.Context, *lab.Workspace) error) error
}

// withDocument adds --out, --overwrite, --units and --workspace to a command.
func withDocument(cmd *cobra.Command, out string) documentFlags {
	return documentFlags{
		cmd: cmd, files: cmd.Flags().StringArray("out", nil, out), overwrite: cmd.Flags().Bool("overwrite", false, "let --out replace a file that exists"),
		units: unitsFlag(cmd), open: withWorkspace(cmd),
	}
}

// write writes the document of claim number into the files, or into VERB-NUMBER.pdf
// where none is named.
func (f documentFlags) write(number string, of func(context.Context, *lab.Workspace) (lab.Document, error)) error {
	if !claimNumber.MatchString(number) {
		return &usageError{fmt.Errorf("%.40q is not the number of a claim, as in C-0001", number), "fairpull claim --list"}
	}
	system, err := f.units()
	if err != nil {
		return err
	}
	files := *f.files
	if len(files) == 0 {
		files = []string{f.cmd.Name() + "-" + number + ".pdf"}
	}
	if err := lab.CheckReports(files, *f.overwrite); err != nil {
		return &usageError{err, f.cmd.CommandPath() + " " + number + " --out other.pdf"}
	}
	return f.open(func(ctx context.Context, w *lab.Workspace) error {
		document, err := of(ctx, w)
		if err != nil {
			return err
		}
		for _, file := range files {
			if err := lab.WriteDocument(document, file, *f.overwrite, system); err != nil {
				return err
			}
			fmt.Fprintf(f.cmd.OutOrStdout(), "Wrote %s.\n", file)
		}
		return nil
	})
}
