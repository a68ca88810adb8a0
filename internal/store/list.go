package store

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode"

	"fairpull/campaign"
	"fairpull/evidence"
)

// Query asks for campaigns. A zero field asks for nothing in particular.
type Query struct {
	// Text is words, each of which begins a word of the campaign's texts: id,
	// title, purpose, vehicle, dyno, configurations, parts, settings.
	Text    string
	Vehicle string // its id
	Dyno    string // its id
	State   State
	Verdict string // of the latest result, for any of its candidates
	// Claim asks for campaigns with a claim that is in this state now.
	Claim campaign.ClaimState
	From  time.Time // the last pull not before
	To    time.Time // the first pull before
	After string    // Page.Next of the page before
	Limit int       // rows of a page; 0: 50; at most 1000

	commonFrom int // 0: commonFrom
}

// Summary is a campaign as a list shows it.
type Summary struct {
	ID, Title     string
	Vehicle, Dyno string
	State         State
	Started       time.Time // of the first pull, UTC; zero: no pull yet
	Ended         time.Time // start of the last pull
	Pulls         int
	Version       int64
	Digest        evidence.Digest
	Result        string // id of the latest result; empty: none
	Verdict       string // of that result, as Result.Verdict
	Current       bool   // that result rests on the campaign's latest data
}

// Page is a part of a list.
type Page struct {
	Campaigns []Summary // latest first
	Next      string    // for Query.After; empty: this was the last page
}

const (
	pageRows    = 50
	maxPageRows = 1000
	maxTerms    = 16
)

// List returns a page of the campaigns that a query asks for, those with the
// latest first pull first.
func (s *Store) List(ctx context.Context, q Query) (Page, error) {
	common, err := s.commonWords(ctx, words(q.Text), cmp.Or(q.commonFrom, commonFrom))
	if err != nil {
		return Page{}, err
	}
	query, args, limit, err := q.sql(common)
	if err != nil {
		return Page{}, err
	}
	rows, err := s.db.QueryContext(ctx, query, args...)
	if err != nil {
		return Page{}, explain(err)
	}
	var page Page
	for rows.Next() {
		var c Summary
		var started, ended int64
		var digest string
		if err := rows.Scan(&c.ID, &c.Title, &c.Vehicle, &c.Dyno, &c.State, &started, &ended, &c.Pulls, &c.Version, &digest, &c.Result, &c.Verdict, &c.Current); err != nil {
			return Page{}, errors.Join(err, rows.Close())
		}
		if len(page.Campaigns) == limit {
			last := page.Campaigns[limit-1]
			page.Next = cursor(last)
			break
		}
		if c.Pulls > 0 {
			c.Started, c.Ended = time.UnixMicro(started).UTC(), time.UnixMicro(ended).UTC()
		}
		if c.Digest, err = evidence.Parse(digest); err != nil {
			return Page{}, errors.Join(err, rows.Close())
		}
		page.Campaigns = append(page.Campaigns, c)
	}
	return page, explain(errors.Join(rows.Err(), rows.Close()))
}

func cursor(c Summary) string {
	started := int64(0)
	if c.Pulls > 0 {
		started = c.Started.UnixMicro()
	}
	return strconv.FormatInt(started, 10) + "/" + c.ID
}

// commonFrom is how many campaigns a word has to be in to be common: then the list is
// walked and each campaign asked for the word, else the word's campaigns are.
const commonFrom = 300

// commonWords returns which of the words are in so many campaigns.
func (s *Store) commonWords(ctx context.Context, terms []string, from int) (map[string]bool, error) {
	common := map[string]bool{}
	for _, term := range terms[:min(len(terms), maxTerms)] {
		var n int
		err := s.db.QueryRowContext(ctx, `SELECT count(*) FROM (SELECT 1 FROM words WHERE word >= $1 AND word < $2 LIMIT $3) AS found`,
			term, term+string(unicode.MaxRune), from).Scan(&n)
		if err != nil {
			return nil, explain(err)
		}
		common[term] = n == from
	}
	return common, nil
}

// sql returns the query's text and arguments, which asks for one row more than
// the page has.
func (q Query) sql(common map[string]bool) (query string, args []any, limit int, err error) {
	limit = q.Limit
	if limit == 0 {
		limit = pageRows
	}
	terms := words(q.Text)
	if limit < 0 || limit > maxPageRows || len(terms) > maxTerms {
		return "", nil, 0, refused("a page has at most %d rows, and a search %d words", maxPageRows, maxTerms)
	}
	var where []string
	and := func(condition string, values ...any) {
		for _, v := range values {
			args = append(args, v)
			condition = strings.Replace(condition, "?", "$"+strconv.Itoa(len(args)), 1)
		}
		where = append(where, condition)
	}
	if q.After != "" {
		at, id, found := strings.Cut(q.After, "/")
		started, err := strconv.ParseInt(at, 10, 64)
		if err != nil || !found {
			return "", nil, 0, refused("%.80q is not where a page ended", q.After)
		}
		and("(started, id) < (?, ?)", started, id)
	}
	if q.Vehicle != "" {
		and("vehicle = ?", q.Vehicle)
	}
	if q.Dyno != "" {
		and("dyno = ?", q.Dyno)
	}
	if q.State != "" {
		and("state = ?", string(q.State))
	}
	if q.Verdict != "" {
		and("result IN (SELECT result FROM verdicts WHERE '; ' || verdict || ';' LIKE '%; ' || ? || ';%')", q.Verdict)
	}
	if q.Claim != "" {
		and("id IN (SELECT l.campaign FROM claims l WHERE "+latestClaimState+" = ?)", string(q.Claim))
	}
	if !q.From.IsZero() {
		and("ended >= ? AND pulls > 0", q.From.UnixMicro())
	}
	if !q.To.IsZero() {
		and("started < ? AND pulls > 0", q.To.UnixMicro())
	}
	for _, term := range terms {
		condition := "id IN (SELECT campaign FROM words WHERE word >= ? AND word < ?)"
		if common[term] {
			condition = "EXISTS (SELECT 1 FROM words WHERE campaign = campaigns.id AND word >= ? AND word < ?)"
		}
		and(condition, term, term+string(unicode.MaxRune))
	}
	query = `SELECT id, title, vehicle, dyno, state, started, ended, pulls, version, digest, coalesce(result, ''),
		coalesce((SELECT verdict FROM verdicts v WHERE v.result = campaigns.result), ''),
		coalesce((SELECT r.data_digest = campaigns.digest FROM results r WHERE r.id = campaigns.result), FALSE) FROM campaigns`
	if len(where) > 0 {
		query += " WHERE " + strings.Join(where, " AND ")
	}
	return fmt.Sprintf("%s ORDER BY started DESC, id DESC LIMIT %d", query, limit+1), args, limit, nil
}

// wordsOf returns the words that a campaign is found by, sorted, each once.
func wordsOf(c *campaign.Campaign) []string {
	list := []string{c.ID, c.Title, c.Purpose, c.Vehicle.ID, c.Vehicle.Description, c.Dyno.ID, c.Correction}
	for _, configuration := range c.Configurations {
		list = append(list, configuration.ID, configuration.Name)
		for _, part := range configuration.Components {
			list = append(list, part.Function, part.Part, part.Serial, part.Batch)
		}
		for _, setting := range configuration.Settings {
			list = append(list, setting.Key, setting.Value)
		}
	}
	found := words(strings.Join(list, "\n"))
	slices.Sort(found)
	return slices.Compact(found)
}

// maxWord bounds a word, in bytes, so that it fits into an index.
const maxWord = 256

// words splits a text at what is neither letter nor digit, in lower case.
func words(text string) []string {
	list := strings.FieldsFunc(strings.ToLower(text), func(r rune) bool {
		return !unicode.IsLetter(r) && !unicode.IsDigit(r) && !unicode.IsMark(r)
	})
	for i, word := range list {
		if len(word) > maxWord {
			list[i] = strings.ToValidUTF8(word[:maxWord], "")
		}
	}
	return list
}
