package report

import (
	"slices"
	"strconv"

	"fairpull/compare"
)

// comparisonBlocks says everything of comparison i up to its curves: the figures
// stand before the charts, so that the first page of paper has both.
func (g *Gain) comparisonBlocks(i int, l look, o documentOptions) []block {
	return slices.Concat(g.answerBlocks(i), g.figureBlocks(i, o), g.curveBlocks(i, l, o), g.restBlocks(i, o))
}

// answerBlocks is the verdict of comparison i.
func (g *Gain) answerBlocks(i int) []block {
	c := &g.Comparisons[i]
	return []block{
		heading{Level: 2, Words: g.shortSide(c.Candidate) + " against " + g.shortSide(c.Baseline), ID: "comparison-" + strconv.Itoa(i+1)},
		verdict{Name: Verdict(c), Shown: c.Verdict != compare.NotEnoughEvidence && c.Verdict != "", Sentence: g.Sentence(c)},
		paragraph{Words: g.flagLine(c), Small: true},
	}
}

// figureBlocks has the figures of comparison i with their intervals.
func (g *Gain) figureBlocks(i int, o documentOptions) []block {
	c := &g.Comparisons[i]
	blocks := []block{g.figuresTable(c, o.units)}
	blocks = append(blocks, g.flagsTouching(c, "band", "peak_torque", "peak_power")...)
	if s := g.everywhereSentence(c); s != "" {
		blocks = append(blocks, paragraph{Words: s})
	}
	if s := g.withAllSentence(i); s != "" {
		blocks = append(blocks, paragraph{Words: s})
	}
	return blocks
}

// curveBlocks has the gain, and torque and power, of comparison i as charts.
func (g *Gain) curveBlocks(i int, l look, o documentOptions) []block {
	c := &g.Comparisons[i]
	blocks := []block{figure{Picture: g.gainChart(i, l), Caption: g.gainCaption(c), Plot: g.gainChartPlot(i), Beside: true, TableID: numbersID}}
	blocks = append(blocks, g.flagsTouching(c, "curve")...)
	return append(blocks,
		figure{Picture: g.levelsChart(i, l, o.units), Caption: "Torque and power of both sides, with the " + confidence(c.Confidence) +
			" interval of each side's own level. A rig's level is less certain than the ratio of two: read the gain above, not the distance of the ribbons.",
			Plot: g.levelsPlot(i, o.units), Beside: true, TableID: numbersID})
}

// restBlocks says what the interval of comparison i rests on.
func (g *Gain) restBlocks(i int, o documentOptions) []block {
	c := &g.Comparisons[i]
	var blocks []block
	if t, ok := g.compensatedTable(c, o.units); ok {
		blocks = append(blocks, t)
	}
	blocks = append(blocks, heading{Level: 3, Words: "What the interval rests on"}, g.scatterTable(c))
	blocks = append(blocks, g.flagsTouching(c, "drift")...)
	return append(blocks, g.blocksTable(c))
}
