package store

import (
	"errors"
	"slices"
	"testing"

	"fairpull/campaign"
)

// A list of campaigns knows their claims, and finds campaigns by the state of one.
func TestClaimStandings(t *testing.T) {
	onBoth(t, func(t *testing.T, _ string, s *Store) {
		ctx, result := t.Context(), claimable(t, s, "twin")
		claimable(t, s, "other")
		found := func(state campaign.ClaimState) []string {
			page, err := s.List(ctx, Query{Claim: state})
			if err != nil {
				t.Fatal(err)
			}
			var ids []string
			for _, c := range page.Campaigns {
				ids = append(ids, c.ID)
			}
			return ids
		}
		if got := found(campaign.ClaimDraft); len(got) != 0 {
			t.Errorf("before any claim: %v", got)
		}
		number, err := s.AddClaim(ctx, draft("twin", result), anna)
		if err != nil {
			t.Fatal(err)
		}
		mustMove(t, s, ClaimMove{Number: number, From: campaign.ClaimDraft, To: campaign.ClaimReviewed}, Author{Who: "Bert Test"})
		if got := found(campaign.ClaimReviewed); !slices.Equal(got, []string{"twin"}) || len(found(campaign.ClaimDraft)) != 0 {
			t.Errorf("reviewed: %v, draft: %v", got, found(campaign.ClaimDraft))
		}
		list, err := s.ClaimStandings(ctx, []string{"twin", "other", "nobody"})
		if err != nil || !slices.Equal(list, []ClaimStanding{{number, "twin", campaign.ClaimReviewed, true}}) {
			t.Errorf("%+v, %v", list, err)
		}
		pull, log := examplePull("twin", 3)
		if _, err := s.AddPull(ctx, "twin", pull, log, anna); err != nil {
			t.Fatal(err)
		}
		if list, err := s.ClaimStandings(ctx, []string{"twin"}); err != nil || len(list) != 1 || list[0].Current {
			t.Errorf("after a further pull: %+v, %v", list, err)
		}
		if list, err := s.ClaimStandings(ctx, nil); err != nil || list != nil {
			t.Errorf("of no campaign: %v, %v", list, err)
		}
		if _, err := s.ClaimStandings(ctx, make([]string, maxPageRows+1)); !errors.Is(err, ErrRefused) {
			t.Errorf("of too many: %v", err)
		}
	})
}
