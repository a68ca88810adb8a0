package campaign

import (
	"errors"
	"strings"
	"testing"
)

// A claim goes from draft to published one step at a time; only another signature
// repeats a state; nothing leads back and nothing out of an end.
func TestClaimStates(t *testing.T) {
	states := []ClaimState{ClaimDraft, ClaimReviewed, ClaimSigned, ClaimPublished, ClaimAmended, ClaimWithdrawn}
	may := map[ClaimState]string{
		ClaimDraft: "reviewed withdrawn", ClaimReviewed: "signed withdrawn", ClaimSigned: "signed published withdrawn",
		ClaimPublished: "amended withdrawn", ClaimAmended: "", ClaimWithdrawn: "", "": "", "unknown": "",
	}
	for from, to := range may {
		for _, next := range append(states, "", "unknown") {
			want := next != "" && strings.Contains(" "+to+" ", " "+string(next)+" ")
			if got := from.May(next); got != want {
				t.Errorf("from %q to %q: %v, want %v", from, next, got, want)
			}
		}
	}
}

func TestClaimPolicy(t *testing.T) {
	if err := DefaultClaimPolicy().Check(); err != nil {
		t.Error(err)
	}
	if err := (ClaimPolicy{}).Check(); err == nil {
		t.Error("the zero policy can be used")
	}
	for what, spoil := range map[string]func(*ClaimPolicy){
		"figure":   func(p *ClaimPolicy) { p.Figure = "best" },
		"verdict":  func(p *ClaimPolicy) { p.Verdicts = []string{"not enough evidence"} },
		"verdicts": func(p *ClaimPolicy) { p.Verdicts = nil },
		"setups":   func(p *ClaimPolicy) { p.Setups = -1 },
		"pulls":    func(p *ClaimPolicy) { p.Pulls = 1000 },
	} {
		p := DefaultClaimPolicy()
		spoil(&p)
		if p.Check() == nil {
			t.Errorf("a policy with a broken %s can be used", what)
		}
	}
}

func TestCheckClaimText(t *testing.T) {
	for text, want := range map[string]error{
		"Intake kit": nil, "": nil, "CERTIFIED gain": ErrCertified, "a certificate": ErrCertified, "zertifiziert": ErrCertified,
		"cer\u00adtified": ErrCertified, "ｃｅｒtified": ErrCertified, "cert\u200bificado": ErrCertified,
		"a\x00": ErrControl, strings.Repeat("x", MaxText+1): ErrTooLong,
	} {
		if got := CheckClaimText(text); !errors.Is(got, want) || want == nil && got != nil {
			t.Errorf("%.20q: %v, want %v", text, got, want)
		}
	}
}
