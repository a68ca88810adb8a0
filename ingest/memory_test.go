package ingest

import (
	"errors"
	"os"
	"reflect"
	"testing"
)

func TestFromCampaign(t *testing.T) {
	files := os.DirFS("../internal/demo/campaign")
	opened, err := Open(files)
	if err != nil {
		t.Fatal(err)
	}
	known, err := FromCampaign(opened.Campaign, files)
	if err != nil {
		t.Fatal(err)
	}
	p := opened.Campaign.Pulls[0]
	want, err := opened.Log(p)
	if err != nil {
		t.Fatal(err)
	}
	got, err := known.Log(p)
	if err != nil || !reflect.DeepEqual(got, want) {
		t.Errorf("the log of pull %s differs from that of the opened folder (%v)", p.Name, err)
	}
	c := opened.Campaign
	c.Pulls = c.Pulls[:1]
	var list *Errors
	var one *SyntaxError
	if _, err := FromCampaign(c, files); !errors.As(err, &list) && !errors.As(err, &one) {
		t.Errorf("a campaign without a candidate's pull: %v; want it refused", err)
	}
	if err := known.Close(); err != nil {
		t.Error(err)
	}
}
