package cli

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"strings"

	"github.com/spf13/cobra"

	"fairpull/internal/lab"
	"fairpull/report"
)

func captureCommand() *cobra.Command {
	const try = "fairpull capture twin650-intake-cam --from incoming"
	cmd := &cobra.Command{
		Use:   "capture CAMPAIGN --from FOLDER",
		Short: "Take pulls in while they are made, and say at once what they are worth",
		Long: `Watch the folder where the rig's logger drops its files, or listen to a line, and
take each log into a campaign of the workspace as its next pull: once the file is
whole it is recognised by the dyno's recipe, kept, reduced and checked, and one
line says whether it is accepted, what the repeatability and the gain are so far,
and how wide the interval will be at the end of the plan.

What is told is on the disk. A capture that was interrupted is begun again with
--existing: what the campaign has already is not taken twice. While it runs it
takes words from standard input, a line each:

` + captureWords(),
		Example: `  fairpull capture twin650-intake-cam --from my-campaign/logs --once --configuration A --setup s9
  fairpull capture twin650-intake-cam --from my-campaign/logs --once --json --configuration A --setup s9`,
		Args: exactly(1, "capture takes a campaign's id", try),
	}
	var o lab.CaptureOptions
	flags := cmd.Flags()
	flags.StringVar(&o.From, "from", "", "the folder that the rig's logger writes to")
	flags.StringVar(&o.Line, "line", "", "a line that sends logs instead: tcp://HOST:PORT, or a serial port as in /dev/ttyUSB0:115200")
	flags.StringVar(&o.Configuration, "configuration", "", "what is fitted, where there is no plan or to depart from it")
	flags.StringVar(&o.Setup, "setup", "", "the strapping-down that it is in")
	flags.StringVar(&o.Values, "set", "", "values to begin with, as in \"pressure_kpa=98.7 temperature_degc=21.5 relative_humidity_pct=45\"")
	flags.StringVar(&o.Recipe, "recipe", "", "the recipe of the dyno to use (default: the one that fits)")
	flags.BoolVar(&o.KeepGoing, "keep-going", false, "take the pull after a full block for the next planned block, without being told that it is fitted")
	flags.BoolVar(&o.Rewritten, "rewritten", false, "a file that changes after it was taken is a new pull, as with a logger that always writes to one name")
	flags.BoolVar(&o.Existing, "existing", false, "take the files that are in the folder already, too")
	flags.BoolVar(&o.Once, "once", false, "take what is in the folder and end")
	flags.DurationVar(&o.Quiet, "quiet", 0, "how long a file stands still before it is whole (default 1s)")
	flags.DurationVar(&o.OpenEnd, "open-end", 0, "after how long a file that ends within a line is taken all the same (default: never)")
	flags.DurationVar(&o.Silence, "silence", 0, "of a line, which ends a log (default 3s)")
	asJSON := flags.Bool("json", false, "write one fairpull.capture/1 object a line")
	by := byFlag(cmd)
	open := withWorkspace(cmd)
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		if (o.From == "") == (o.Line == "") {
			return &usageError{errors.New("capture takes logs from a folder (--from) or from a line (--line)"), try}
		}
		if (o.Configuration == "") != (o.Setup == "") {
			return &usageError{errors.New("--configuration and --setup go together"), try + " --configuration B --setup s2"}
		}
		if o.Once && o.Line != "" {
			return &usageError{errors.New("--once goes with --from: a line has no end to wait for"), try + " --once"}
		}
		if o.Quiet < 0 || o.OpenEnd < 0 || o.Silence < 0 {
			return &usageError{errors.New("a time is above 0"), try + " --quiet 2s"}
		}
		who, err := by()
		if err != nil {
			return err
		}
		o.Campaign, o.By = args[0], lab.Author{Who: who}
		return open(func(ctx context.Context, w *lab.Workspace) error {
			typed := o
			typed.Commands = typedLines(ctx, cmd.InOrStdin())
			return w.Capture(ctx, typed, tellCapture(cmd, *asJSON))
		})
	}
	return cmd
}

// captureWords lists what a capture understands.
func captureWords() string {
	var b strings.Builder
	for _, c := range lab.CaptureCommands {
		fmt.Fprintf(&b, "  %s\n      %s\n", c[0], c[1])
	}
	return strings.TrimRight(b.String(), "\n")
}

// typedLines reads lines until there are no more, or nobody wants them.
func typedLines(ctx context.Context, in io.Reader) <-chan string {
	typed := make(chan string)
	go func() {
		defer close(typed)
		scanner := bufio.NewScanner(in)
		scanner.Buffer(nil, 64<<10)
		for scanner.Scan() {
			select {
			case typed <- scanner.Text():
			case <-ctx.Done():
				return
			}
		}
	}()
	return typed
}

// tellCapture writes what a capture tells: problems to standard error, in text, and
// all else to standard output.
func tellCapture(cmd *cobra.Command, asJSON bool) func(report.Capture) {
	return func(c report.Capture) {
		out := cmd.OutOrStdout()
		if asJSON {
			data, err := c.JSON()
			if err != nil {
				fmt.Fprintf(cmd.ErrOrStderr(), "fairpull: %v\n", err)
				return
			}
			fmt.Fprintf(out, "%s\n", data)
			return
		}
		if c.Kind == report.CaptureProblem {
			out = cmd.ErrOrStderr()
		}
		fmt.Fprintln(out, c.Text())
	}
}
