package cli

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"text/tabwriter"
	"time"

	"github.com/spf13/cobra"

	"fairpull/internal/lab"
)

// maxCampaignRows is the longest page of a list.
const maxCampaignRows = 1000

func campaignsCommand() *cobra.Command {
	const try = "fairpull campaigns intake --limit 20"
	cmd := &cobra.Command{
		Use:   "campaigns [WORD…]",
		Short: "List the campaigns of the workspace, or find some by words",
		Long: `List the campaigns of the workspace, the latest first. Words find campaigns
whose id, title, purpose, vehicle, dyno, configurations, parts or settings have
a word that begins so; all of the words have to be found.

A campaign is closed when it was measured to its end, withdrawn when it is not to
be used, and opened again, each with a reason that stays. Only an open one takes
pulls and new versions, and one that is withdrawn is no history any more.`,
		Example: `  fairpull campaigns
  fairpull campaigns intake cam
  fairpull campaigns --state open --json
  fairpull campaigns --verdict "gain shown"
  fairpull campaigns --workspace our-lab
  fairpull campaigns --close twin650-intake-cam --why "measured to the end"
  fairpull campaigns --reopen twin650-intake-cam --why "one block more is wanted"`,
	}
	var q lab.CampaignQuery
	cmd.Flags().StringVar(&q.Vehicle, "vehicle", "", "only of this vehicle, by its id")
	cmd.Flags().StringVar(&q.Dyno, "dyno", "", "only on this dyno, by its id")
	state := cmd.Flags().String("state", "", "only in this state: open, closed or withdrawn")
	cmd.Flags().StringVar(&q.Verdict, "verdict", "", "only those whose latest result says so of a candidate: "+strings.Join(lab.Verdicts, ", "))
	cmd.Flags().IntVar(&q.Limit, "limit", 50, "rows of a page, at most 1000")
	cmd.Flags().StringVar(&q.After, "after", "", "go on where a page ended, as it said")
	asJSON := cmd.Flags().Bool("json", false, "write the fairpull.campaigns/1 object")
	states, by, open := withStates(cmd), byFlag(cmd), withWorkspace(cmd)
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		id, flag, to, err := states.asked()
		switch {
		case err != nil:
			return err
		case id != "" && len(args) > 0:
			return &usageError{fmt.Errorf("--%s names its campaign itself, and %d arguments were given", flag, len(args)), "fairpull campaigns --" + flag + " " + id + ` --why "…"`}
		case id != "":
			return states.set(cmd, open, by, id, to)
		}
		q.Text, q.State = strings.Join(args, " "), lab.CampaignState(*state)
		switch {
		case q.State != "" && !slices.Contains(lab.CampaignStates, q.State):
			return &usageError{fmt.Errorf("there is no state %q: a campaign is open, closed or withdrawn", *state), "fairpull campaigns --state open"}
		case q.Verdict != "" && !slices.Contains(lab.Verdicts, q.Verdict):
			return &usageError{fmt.Errorf("there is no verdict %q: a verdict is %s", q.Verdict, strings.Join(lab.Verdicts, ", ")), `fairpull campaigns --verdict "gain shown"`}
		case q.Limit < 1 || q.Limit > maxCampaignRows:
			return &usageError{fmt.Errorf("a page has 1 to %d rows", maxCampaignRows), try}
		case len(args) > 0 && strings.TrimSpace(q.Text) == "":
			return &usageError{errors.New("the words to find are empty"), try}
		}
		return open(func(ctx context.Context, w *lab.Workspace) error {
			page, err := w.Campaigns(ctx, q)
			if err != nil {
				return err
			}
			if *asJSON {
				return writeCampaignsJSON(cmd.OutOrStdout(), page)
			}
			return writeCampaigns(cmd.OutOrStdout(), page, w.Place())
		})
	}
	return cmd
}

func writeCampaigns(out io.Writer, page lab.CampaignPage, place string) error {
	if len(page.Campaigns) == 0 {
		_, err := fmt.Fprintf(out, "No such campaign is in %s. To take one in: fairpull import my-campaign\n", place)
		return err
	}
	table := tabwriter.NewWriter(out, 0, 0, 2, ' ', 0)
	fmt.Fprintln(table, "campaign\tfirst pull\tpulls\tvehicle\tdyno\tstate\tverdict\ttitle")
	for _, c := range page.Campaigns {
		first := "–"
		if !c.Started.IsZero() {
			first = c.Started.Format(time.DateOnly)
		}
		fmt.Fprintf(table, "%s\t%s\t%d\t%s\t%s\t%s\t%s\t%s\n", c.ID, first, c.Pulls, dash(c.Vehicle), dash(c.Dyno), c.State, verdictCell(c), oneLine(c.Title))
	}
	if err := table.Flush(); err != nil {
		return err
	}
	if page.Next != "" {
		_, err := fmt.Fprintf(out, "There are more: --after %s\n", page.Next)
		return err
	}
	return nil
}

// verdictCell is the verdict of the latest result, with a mark where the campaign
// has changed since.
func verdictCell(c lab.CampaignSummary) string {
	if c.Verdict != "" && !c.Current {
		return c.Verdict + " (older data)"
	}
	return dash(c.Verdict)
}

func dash(text string) string {
	if text == "" {
		return "–"
	}
	return text
}

// oneLine puts a text that may have line ends and tabs on one line.
func oneLine(text string) string { return strings.Join(strings.Fields(text), " ") }

// campaignsFormat is the format of the list as JSON.
const campaignsFormat = "fairpull.campaigns/1"

type campaignRow struct {
	ID        string     `json:"campaign"`
	Title     string     `json:"title"`
	Vehicle   string     `json:"vehicle"`
	Dyno      string     `json:"dyno"`
	State     string     `json:"state"`
	FirstPull *time.Time `json:"first_pull"` // null: no pull yet
	LastPull  *time.Time `json:"last_pull"`
	Pulls     int        `json:"pulls"`
	Version   int64      `json:"version"`
	Data      string     `json:"data"` // the data digest of that version

	// The verdicts of the latest result, none without a result, and whether it rests
	// on that data.
	Verdicts []string `json:"verdicts"`
	Current  bool     `json:"verdicts_current"`
}

// writeCampaignsJSON writes a page as one object; next is null on the last.
func writeCampaignsJSON(out io.Writer, page lab.CampaignPage) error {
	list := struct {
		Format    string        `json:"format"`
		Campaigns []campaignRow `json:"campaigns"`
		Next      *string       `json:"next"`
	}{Format: campaignsFormat, Campaigns: []campaignRow{}}
	for _, c := range page.Campaigns {
		row := campaignRow{ID: c.ID, Title: c.Title, Vehicle: c.Vehicle, Dyno: c.Dyno, State: string(c.State), Pulls: c.Pulls, Version: c.Version, Data: c.Digest.String(), Verdicts: []string{}, Current: c.Current}
		if c.Verdict != "" {
			row.Verdicts = strings.Split(c.Verdict, "; ")
		}
		if !c.Started.IsZero() {
			row.FirstPull, row.LastPull = &c.Started, &c.Ended
		}
		list.Campaigns = append(list.Campaigns, row)
	}
	if page.Next != "" {
		list.Next = &page.Next
	}
	encoder := json.NewEncoder(out)
	encoder.SetEscapeHTML(false)
	encoder.SetIndent("", "  ")
	return encoder.Encode(list)
}
