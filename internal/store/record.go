package store

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io/fs"
	"reflect"
	"slices"
	"strings"
	"time"

	"fairpull/campaign"
	"fairpull/evidence"
)

// Record is a whole campaign: what the folder says, and its files.
type Record struct {
	Campaign campaign.Campaign
	// Logs are the raw logs by path below the folder, as the pulls name them.
	Logs map[string][]byte
	// CampaignFile and PullsFile are campaign.toml and pulls.csv byte for byte;
	// nil where the campaign did not come from a folder, or has changed since.
	CampaignFile, PullsFile []byte
}

// Bounds of a campaign that is kept.
const (
	maxPulls          = 20_000
	maxConfigurations = 1000
	maxBody           = 4 << 20 // one row's JSON, in bytes
)

// headBody is what a campaign says apart from what has a table of its own. The
// names of its fields and of those within are part of the stored format.
type headBody struct {
	Title, Purpose string
	Objective      campaign.Objective
	Correction     string
	Procedure      []campaign.SetPoint
	History        *campaign.History
	Plan           *campaign.Plan `json:",omitempty"`
	Channels       campaign.ChannelMap
	ExtraColumns   []string
}

func head(c *campaign.Campaign) headBody {
	return headBody{c.Title, c.Purpose, c.Objective, c.Correction, c.Procedure, c.History, c.Plan, c.Channels, c.ExtraColumns}
}

func (h headBody) into(c *campaign.Campaign) {
	c.Title, c.Purpose, c.Objective, c.Correction = h.Title, h.Purpose, h.Objective, h.Correction
	c.Procedure, c.History, c.Plan = h.Procedure, h.History, h.Plan
	c.Channels, c.ExtraColumns = h.Channels, h.ExtraColumns
}

// sheet is one row's JSON and its digest.
type sheet struct {
	body   string
	digest evidence.Digest
}

// write returns a value as it is stored. A value that would not come back as it
// was, such as a text that is not UTF-8 or a number that is not finite, is
// [ErrRefused].
func write[T any](what string, value T) (sheet, error) {
	var text bytes.Buffer
	encoder := json.NewEncoder(&text)
	encoder.SetEscapeHTML(false)
	if err := encoder.Encode(value); err != nil {
		return sheet{}, refused("%s: %v", what, err)
	}
	if text.Len() > maxBody {
		return sheet{}, refused("%s: it is longer than %d bytes", what, maxBody)
	}
	body := string(bytes.TrimSpace(text.Bytes()))
	back, err := read[T](what, body)
	if err != nil {
		return sheet{}, refused("%v", err)
	}
	if !reflect.DeepEqual(back, value) {
		return sheet{}, refused("%s: it would not come back as it is (a text that is not UTF-8?)", what)
	}
	return sheet{body: body, digest: evidence.OfBytes([]byte(body))}, nil
}

// read is the inverse of write. A member that the program does not know is an
// error: it would be lost.
func read[T any](what, body string) (T, error) {
	var value T
	decoder := json.NewDecoder(bytes.NewReader([]byte(body)))
	decoder.DisallowUnknownFields()
	if err := decoder.Decode(&value); err != nil {
		return value, fmt.Errorf("%s: stored text: %w", what, err)
	}
	return value, nil
}

// writePull returns a pull as it is stored. Its line in pulls.csv says where it
// stands, not what it says, and has a column of its own.
func writePull(p campaign.Pull) (sheet, error) {
	p.Line = 0
	return write("pull "+p.Name, p)
}

// settle returns the start time as a folder gives it back: with the offset, and
// without a zone's name or the monotonic clock's reading.
func settle(p *campaign.Pull) error {
	back, err := time.Parse(time.RFC3339Nano, p.Started.Format(time.RFC3339Nano))
	if err != nil || !back.Equal(p.Started) {
		return refused("pull %s: its start time %v has no RFC 3339 form", p.Name, p.Started)
	}
	p.Started = back
	return nil
}

// check refuses a record whose parts do not refer to each other. What is left to
// the analysis, such as a candidate without a pull, is kept: a campaign is taken
// in before its first pull.
func (r *Record) check() error {
	c := &r.Campaign
	if err := campaign.CheckID(c.ID); err != nil {
		return refused("the campaign's id %.80q %v", c.ID, err)
	}
	if strings.ContainsRune(c.Title, 0) {
		return refused("the title %.80q holds a zero byte", c.Title)
	}
	if len(c.Pulls) > maxPulls || len(c.Configurations) > maxConfigurations {
		return refused("campaign %s has %d pulls and %d configurations; %d and %d are kept",
			c.ID, len(c.Pulls), len(c.Configurations), maxPulls, maxConfigurations)
	}
	for _, named := range []struct{ what, id string }{{"vehicle", c.Vehicle.ID}, {"dyno", c.Dyno.ID}} {
		if err := campaign.CheckID(named.id); err != nil && named.id != "" {
			return refused("the id of the %s %.80q %v", named.what, named.id, err)
		}
	}
	ids := map[string]bool{}
	for _, configuration := range c.Configurations {
		if err := campaign.CheckID(configuration.ID); err != nil {
			return refused("the configuration's id %.80q %v", configuration.ID, err)
		}
		if ids[configuration.ID] {
			return refused("configuration %s is there twice", configuration.ID)
		}
		ids[configuration.ID] = true
	}
	return r.checkPulls(ids)
}

func (r *Record) checkPulls(configurations map[string]bool) error {
	names, logs := map[string]bool{}, map[string]bool{}
	for _, pull := range r.Campaign.Pulls {
		if err := checkPull(pull, configurations); err != nil {
			return err
		}
		if names[pull.Name] {
			return refused("pull %s is there twice", pull.Name)
		}
		if _, given := r.Logs[pull.Log]; !given {
			return refused("pull %s: its log %s is not given", pull.Name, pull.Log)
		}
		names[pull.Name], logs[pull.Log] = true, true
	}
	for name := range r.Logs {
		if !logs[name] {
			return refused("log %.200q belongs to no pull", name)
		}
	}
	return nil
}

func checkPull(pull campaign.Pull, configurations map[string]bool) error {
	if err := campaign.CheckName(pull.Name); err != nil {
		return refused("the pull's name %.80q %v", pull.Name, err)
	}
	if err := campaign.CheckName(pull.Setup); err != nil {
		return refused("pull %s: its setup %.80q %v", pull.Name, pull.Setup, err)
	}
	if !configurations[pull.Configuration] {
		return refused("pull %s: configuration %.80q is not declared", pull.Name, pull.Configuration)
	}
	if !fs.ValidPath(pull.Log) || pull.Log == "." || slices.Contains([]string{campaignFile, pullsFile}, pull.Log) {
		return refused("pull %s: %.200q is not the path of a log below the folder", pull.Name, pull.Log)
	}
	if err := campaign.CheckText(pull.Log); err != nil {
		return refused("pull %s: its log's path %v", pull.Name, err)
	}
	return nil
}
