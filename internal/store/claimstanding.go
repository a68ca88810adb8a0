package store

import (
	"context"
	"errors"
	"strconv"
	"strings"

	"fairpull/campaign"
)

// ClaimStanding is how far a claim has come, for lists of campaigns.
type ClaimStanding struct {
	Number, Campaign string
	State            campaign.ClaimState
	Current          bool // it rests on the campaign's latest data
}

// latestClaimState is the state that claim l is in.
const latestClaimState = `(SELECT s.state FROM claim_states s WHERE s.claim = l.number ORDER BY s.change DESC LIMIT 1)`

// ClaimStandings returns the claims of campaigns, the latest first.
func (s *Store) ClaimStandings(ctx context.Context, campaigns []string) (list []ClaimStanding, err error) {
	if len(campaigns) == 0 {
		return nil, nil
	}
	if len(campaigns) > maxPageRows {
		return nil, refused("the claims of %d campaigns are asked for; at most %d", len(campaigns), maxPageRows)
	}
	places, args := make([]string, len(campaigns)), make([]any, len(campaigns))
	for i, id := range campaigns {
		places[i], args[i] = "$"+strconv.Itoa(i+1), id
	}
	rows, err := s.db.QueryContext(ctx, `SELECT l.number, l.campaign, `+latestClaimState+`, r.data_digest = c.digest
		FROM claims l JOIN results r ON r.id = l.result JOIN campaigns c ON c.id = l.campaign
		WHERE l.campaign IN (`+strings.Join(places, ", ")+`) ORDER BY l.position DESC`, args...)
	if err != nil {
		return nil, explain(err)
	}
	defer func() { err = explain(errors.Join(err, rows.Close())) }()
	for rows.Next() {
		var c ClaimStanding
		if err := rows.Scan(&c.Number, &c.Campaign, &c.State, &c.Current); err != nil {
			return nil, err
		}
		list = append(list, c)
	}
	return list, rows.Err()
}
