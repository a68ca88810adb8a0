package cli

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"regexp"

	"github.com/spf13/cobra"

	"fairpull/internal/lab"
	"fairpull/report"
)

// claimNumber is what the number of a claim looks like; anything else is the id of
// a campaign.
var claimNumber = regexp.MustCompile(`^C-[0-9]{4,}$`)

type claimFlags struct {
	review, sign, publish, amend, withdraw, list, showPolicy, json bool
	policy, why, stamper                                           string
	o                                                              lab.ClaimOptions
}

func claimCommand() *cobra.Command {
	cmd := &cobra.Command{
		Use:   "claim CAMPAIGN | NUMBER",
		Short: "Draft, review, sign, publish, amend or withdraw a claim",
		Long: `Draft a claim from a campaign's latest kept result: what may be said, bound to the
vehicle, the parts, the settings and the conditions that were measured. The lab's
policy decides what may be claimed, and what it refuses is said item by item.

With a claim's number, show it or take it on: --review by somebody else than the
drafter, --sign with the key of somebody else than the drafter, which fixes its
dossier, --publish with the key of the record. A published claim is amended by
another, or withdrawn, for a reason. Every state is kept (docs/claims.md).`,
		Example: `  fairpull claim twin650-intake-cam --by "D. Drafter"
  fairpull claim C-0001
  fairpull claim C-0001 --review --by "R. Reviewer"
  fairpull claim C-0001 --sign --key approver.key
  fairpull claim C-0001 --publish --key record.key
  fairpull claim --list
  fairpull claim --show-policy`,
	}
	var f claimFlags
	flags := cmd.Flags()
	flags.BoolVar(&f.review, "review", false, "note that the draft was looked through")
	flags.BoolVar(&f.sign, "sign", false, "sign the claim; its dossier is fixed with the first signature")
	flags.BoolVar(&f.publish, "publish", false, "enter the signed claim into the record")
	flags.BoolVar(&f.amend, "amend", false, "draft a claim that takes the place of a published one")
	flags.BoolVar(&f.withdraw, "withdraw", false, "end the claim")
	flags.BoolVar(&f.list, "list", false, "list all claims")
	flags.BoolVar(&f.showPolicy, "show-policy", false, "write the policy that holds, as the file that --policy takes")
	flags.StringVar(&f.policy, "policy", "", "make this file the lab's policy (needs --why)")
	flags.StringVar(&f.stamper, "time-stamp", "", "with --publish: also ask the time-stamping service at this address (RFC 3161)")
	flags.StringVar(&f.why, "why", "", "a reason, which stays with the claim")
	flags.StringVar(&f.o.Candidate, "candidate", "", "the configuration that the claim is about, where the campaign has several candidates")
	flags.StringVar(&f.o.Title, "title", "", "the claim's title (default: the campaign's)")
	flags.StringArrayVar(&f.o.Deviations, "deviation", nil, "a deviation that the analysis does not know (may be repeated)")
	flags.StringArrayVar(&f.o.NotCovered, "not-covered", nil, "something more that the claim does not cover (may be repeated)")
	flags.BoolVar(&f.json, "json", false, "write the fairpull.claim/1 object, with --list fairpull.claims/1")
	key := keyFlag(cmd, "key", "the private key that signs: an approver's, for --publish the record's", passphraseEnv)
	by, open := byFlag(cmd), withWorkspace(cmd)
	cmd.Args = func(_ *cobra.Command, args []string) error { return f.check(args) }
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		who, err := by()
		if err != nil {
			return err
		}
		f.o.By, f.o.Program = lab.Author{Who: who, Why: f.why}, Version
		var file lab.KeyFile
		if f.sign || f.publish {
			if file, err = key(false); err != nil {
				return err
			}
		}
		return open(func(ctx context.Context, w *lab.Workspace) error {
			switch {
			case f.list:
				return listClaims(ctx, cmd, w, f.json)
			case f.showPolicy:
				return showPolicy(ctx, cmd, w)
			case f.policy != "":
				return setPolicy(ctx, cmd, w, f)
			}
			return moveClaim(ctx, cmd, w, args[0], f, file)
		})
	}
	return cmd
}

// check refuses what contradicts itself.
func (f *claimFlags) check(args []string) error {
	const try = "fairpull claim twin650-intake-cam"
	moves := 0
	for _, set := range []bool{f.review, f.sign, f.publish, f.amend, f.withdraw} {
		if set {
			moves++
		}
	}
	alone := f.list || f.showPolicy || f.policy != ""
	switch {
	case alone && (len(args) > 0 || moves > 0):
		return &usageError{errors.New("--list, --show-policy and --policy stand alone"), "fairpull claim --list"}
	case f.policy != "" && f.why == "":
		return &usageError{errors.New("a policy is changed for a reason: --why is missing"), `fairpull claim --policy policy.toml --why "…"`}
	case alone:
		return nil
	case len(args) != 1:
		return &usageError{fmt.Errorf("claim takes a campaign's id or a claim's number, and %d arguments were given", len(args)), try}
	case moves > 1:
		return &usageError{errors.New("a claim takes one step at a time"), "fairpull claim C-0001 --review"}
	case moves == 1 && !claimNumber.MatchString(args[0]):
		return &usageError{fmt.Errorf("%q is not the number of a claim, as in C-0001", args[0]), "fairpull claim --list"}
	case (f.withdraw || f.amend) && f.why == "":
		return &usageError{errors.New("a claim is amended or withdrawn for a reason: --why is missing"), `fairpull claim ` + args[0] + ` --withdraw --why "…"`}
	case f.stamper != "" && !f.publish:
		return &usageError{errors.New("--time-stamp belongs to --publish"), "fairpull claim " + args[0] + " --publish --key record.key"}
	case moves == 0 && f.why != "" && claimNumber.MatchString(args[0]):
		return &usageError{errors.New("--why is the reason of a step, and none is asked for"), "fairpull claim " + args[0]}
	}
	return nil
}

// moveClaim drafts, shows or takes a claim on.
func moveClaim(ctx context.Context, cmd *cobra.Command, w *lab.Workspace, what string, f claimFlags, file lab.KeyFile) error {
	progress := newProgress(cmd.ErrOrStderr(), "pulls")
	f.o.Progress = progress.report
	var claim *report.Claim
	var err error
	next := ""
	switch {
	case f.review:
		claim, err = w.ReviewClaim(ctx, what, f.o.By)
		next = "fairpull claim " + what + " --sign --key approver.key"
	case f.sign:
		claim, err = w.SignClaim(ctx, what, file, Version, f.why)
		next = "fairpull claim " + what + " --publish --key record.key"
	case f.publish:
		claim, err = w.PublishClaim(ctx, what, file, f.stamper, f.o.By)
		next = "fairpull dossier " + what
	case f.withdraw:
		claim, err = w.WithdrawClaim(ctx, what, f.o.By)
	case f.amend:
		claim, err = w.AmendClaim(ctx, what, f.o)
	case claimNumber.MatchString(what):
		claim, err = w.Claim(ctx, what)
		return writeClaim(cmd, claim, err, f.json, "", (*report.Claim).Text)
	default:
		claim, err = w.DraftClaim(ctx, what, f.o)
	}
	progress.end()
	if next == "" && err == nil && !f.withdraw {
		next = "fairpull claim " + claim.Number + ` --review --by "A. Name"`
	}
	text := (*report.Claim).Head
	if !claimNumber.MatchString(what) || f.amend { // a draft is read through
		text = (*report.Claim).Text
	}
	return writeClaim(cmd, claim, err, f.json, next, text)
}

// writeClaim writes a claim, as JSON or by text, and what comes next.
func writeClaim(cmd *cobra.Command, claim *report.Claim, err error, asJSON bool, next string, text func(*report.Claim, io.Writer, int) error) error {
	if err != nil {
		return err
	}
	if asJSON {
		data, err := claim.JSON()
		if err != nil {
			return err
		}
		_, err = cmd.OutOrStdout().Write(data)
		return err
	}
	if err := text(claim, cmd.OutOrStdout(), terminalWidth()); err != nil {
		return err
	}
	if next != "" {
		fmt.Fprintf(cmd.ErrOrStderr(), "next: %s\n", next)
	}
	return nil
}

func listClaims(ctx context.Context, cmd *cobra.Command, w *lab.Workspace, asJSON bool) error {
	claims, err := w.Claims(ctx)
	if err != nil {
		return err
	}
	if !asJSON {
		return claims.Text(cmd.OutOrStdout(), terminalWidth())
	}
	data, err := claims.JSON()
	if err != nil {
		return err
	}
	_, err = cmd.OutOrStdout().Write(data)
	return err
}

func showPolicy(ctx context.Context, cmd *cobra.Command, w *lab.Workspace) error {
	policy, own, err := w.ClaimPolicy(ctx)
	if err != nil {
		return err
	}
	text, err := lab.PolicyTOML(policy)
	if err != nil {
		return err
	}
	if !own {
		fmt.Fprintln(cmd.ErrOrStderr(), "the workspace has no policy of its own: this is the built-in one")
	}
	_, err = cmd.OutOrStdout().Write(text)
	return err
}

// maxPolicyFile bounds what is read of a policy, in bytes.
const maxPolicyFile = 64 << 10

func setPolicy(ctx context.Context, cmd *cobra.Command, w *lab.Workspace, f claimFlags) error {
	info, err := os.Stat(f.policy)
	if err != nil {
		return fmt.Errorf("the policy: %w", err)
	}
	if !info.Mode().IsRegular() || info.Size() > maxPolicyFile {
		return fmt.Errorf("%s is no policy: it is larger than %d bytes, or no file", f.policy, maxPolicyFile)
	}
	text, err := os.ReadFile(f.policy)
	if err != nil {
		return err
	}
	changed, err := w.SetClaimPolicy(ctx, text, f.o.By)
	if err != nil {
		return err
	}
	if !changed {
		_, err = fmt.Fprintln(cmd.OutOrStdout(), "The policy says that already: nothing was changed.")
		return err
	}
	_, err = fmt.Fprintf(cmd.OutOrStdout(), "The policy is that of %s from now on. Claims that were drafted keep theirs.\n", f.policy)
	return err
}
