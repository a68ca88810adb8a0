package report

import "strings"

// exploratoryBlocks says at the top of a document that it is no answer to the
// campaign's question; nothing where it is one.
func (g *Gain) exploratoryBlocks() []block {
	s := g.ExploratorySentence()
	if s == "" {
		return nil
	}
	return []block{openCheck{Mark: "!", Status: "warn", Name: "exploratory", Message: s}}
}

// ExploratorySentence says what was changed to look at the campaign, and what
// follows; empty where nothing was.
func (g *Gain) ExploratorySentence() string { return exploratorySentence(g.Exploratory) }

func exploratorySentence(changed []string) string {
	if len(changed) == 0 {
		return ""
	}
	var changes []string
	for _, c := range changed {
		changes = append(changes, clean(c))
	}
	return "This is not the campaign's own question: " + strings.Join(changes, "; ") +
		". The settings were chosen when the effect could be seen, so nothing here can be claimed, and the verdict is withheld."
}
