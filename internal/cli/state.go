package cli

import (
	"context"
	"errors"
	"fmt"

	"github.com/spf13/cobra"

	"fairpull/internal/lab"
)

// stateFlags are the flags of campaigns that set the state of one.
type stateFlags struct {
	closed, withdrawn, reopened, why string
}

func withStates(cmd *cobra.Command) *stateFlags {
	var f stateFlags
	cmd.Flags().StringVar(&f.closed, "close", "", "close this campaign: it takes no pulls and no new version; needs --why")
	cmd.Flags().StringVar(&f.withdrawn, "withdraw", "", "withdraw this campaign: it is kept, and is no history any more; needs --why")
	cmd.Flags().StringVar(&f.reopened, "reopen", "", "open this campaign again; needs --why")
	cmd.Flags().StringVar(&f.why, "why", "", "the reason, which stays in the audit trail")
	return &f
}

// asked returns the campaign whose state is to be set, if one is, and the flag that
// says so.
func (f *stateFlags) asked() (id, flag string, state lab.CampaignState, err error) {
	for _, one := range []struct {
		id, flag string
		state    lab.CampaignState
	}{{f.closed, "close", lab.StateClosed}, {f.withdrawn, "withdraw", lab.StateWithdrawn}, {f.reopened, "reopen", lab.StateOpen}} {
		switch {
		case one.id == "":
		case id != "":
			return "", "", "", &usageError{fmt.Errorf("--%s and --%s at once", flag, one.flag), "fairpull campaigns --" + flag + " " + id + ` --why "…"`}
		default:
			id, flag, state = one.id, one.flag, one.state
		}
	}
	switch {
	case id == "" && f.why != "":
		err = &usageError{errors.New("--why goes with --close, --withdraw or --reopen"), `fairpull campaigns --close twin650-intake-cam --why "…"`}
	case id != "" && f.why == "":
		err = &usageError{fmt.Errorf("--%s needs a reason", flag), "fairpull campaigns --" + flag + " " + id + ` --why "…"`}
	}
	return id, flag, state, err
}

// set sets the state of a campaign and says so.
func (f *stateFlags) set(cmd *cobra.Command, open func(func(context.Context, *lab.Workspace) error) error, by func() (string, error), id string, state lab.CampaignState) error {
	who, err := by()
	if err != nil {
		return err
	}
	return open(func(ctx context.Context, w *lab.Workspace) error {
		changed, err := w.SetState(ctx, id, state, lab.Author{Who: who, Why: f.why})
		if err != nil {
			return err
		}
		if !changed {
			fmt.Fprintf(cmd.OutOrStdout(), "%s is %s already: nothing was changed.\n", id, state)
			return nil
		}
		fmt.Fprintf(cmd.OutOrStdout(), "%s is %s from now on.\n", id, state)
		return nil
	})
}
