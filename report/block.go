package report

import (
	"strings"
	"sync"

	"fairpull/campaign"
	"fairpull/report/draw"
)

// A document is a list of blocks. The page and the paper show the same list, so
// they say the same.
type (
	block interface{ isBlock() }

	// heading opens a section. Level 1 is the document's title.
	heading struct {
		Level int
		Words string
		ID    string // for links within a page; may be empty
	}
	// verdict is the answer: its name and its sentence.
	verdict struct {
		Name     string
		Shown    bool // a gain, a loss or no difference is shown
		Sentence string
	}
	// paragraph is plain text. Small text is for captions and bylines.
	paragraph struct {
		Words string
		Small bool
	}
	// bullets is a list of sentences.
	bullets struct{ Items []string }
	// openCheck is a check that did not pass, beside what it touches.
	openCheck struct {
		Mark, Status, Name, Message string
	}
	// figure is a chart with its caption. Plot is what it shows in numbers, where a
	// page can draw it anew, else Numbers. Beside says that a table of the same page
	// has them, with TableID where that is not just below.
	figure struct {
		Picture draw.Picture
		Caption string
		Plot    *plot
		Numbers numbers
		Beside  bool
		TableID string
		At      ChartsAt // where it can be taken along
	}
	// table has one row of heads; the first cell of each row names it.
	table struct {
		Caption string
		Heads   []string
		Numeric []bool // columns set flush right
		Rows    [][]string
		// Marks gives rows a status: "" none, else pass, warn or fail; nil: none at
		// all. The word stands in the row, too.
		Marks []string
		Long  bool // many rows: set small
	}
)

func (heading) isBlock()   {}
func (verdict) isBlock()   {}
func (paragraph) isBlock() {}
func (bullets) isBlock()   {}
func (openCheck) isBlock() {}
func (figure) isBlock()    {}
func (table) isBlock()     {}

// flagOf turns a check into a block.
func flagOf(k campaign.Check) openCheck {
	return openCheck{Mark: statusMark(k.Status), Status: string(k.Status), Name: clean(k.ID), Message: messageOf(k)}
}

// messageOf is what a check found, with a minus sign before a negative number.
func messageOf(k campaign.Check) string {
	return negative().Replace(cleanTo(k.Message, maxMessage))
}

// maxMessage bounds the message of a check.
const maxMessage = 1000

var negative = sync.OnceValue(func() *strings.Replacer {
	var pairs []string
	for digit := '0'; digit <= '9'; digit++ {
		pairs = append(pairs, " -"+string(digit), " "+minus+string(digit), "(-"+string(digit), "("+minus+string(digit))
	}
	return strings.NewReplacer(pairs...)
})

// document lists the blocks of g in the order in which a person reads: verdict,
// gain, torque and power, checks, pulls, then what was compared and how.
func (g *Gain) document(l look, o documentOptions) []block {
	blocks := []block{
		heading{Level: 1, Words: g.title()},
		paragraph{Words: cleanTo(g.Campaign.Purpose, 400)},
		paragraph{Words: g.byline(), Small: true},
	}
	for _, line := range g.Basis() {
		blocks = append(blocks, paragraph{Words: line, Small: true})
	}
	blocks = append(blocks, g.exploratoryBlocks()...)
	for i := range g.Comparisons {
		blocks = append(blocks, g.comparisonBlocks(i, l, o)...)
	}
	blocks = append(blocks, g.waysBlocks(o.units)...)
	blocks = append(blocks, g.checkBlocks()...)
	blocks = append(blocks, g.pullBlocks(l, o)...)
	blocks = append(blocks, g.configurationBlocks()...)
	blocks = append(blocks, g.procedureBlocks(o)...)
	blocks = append(blocks, g.claimBlocks()...)
	blocks = append(blocks, cautionBlocks()...)
	blocks = append(blocks, g.numberBlocks(o)...)
	return blocks
}
