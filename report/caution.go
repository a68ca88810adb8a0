package report

// Cautions are what must be heeded at a dyno before a pull, in the words of the
// project. They stand in every document, and once in this list only.
var Cautions = []string{
	"Work on a dyno can kill. The rig maker's manual, the rules of the place and qualified people come before anything that is printed here.",
	"Tyre: its speed rating lies above the fastest pull, its age and state are known, its pressure is set; stones and loose tread are picked off.",
	"Straps and stands: looked at before every setup, and tightened again after the first pull.",
	"Nobody stands in line with the driven wheel, before or behind it; the guards of the drum are closed.",
	"Exhaust extraction runs, and a carbon monoxide alarm is on in the cell.",
	"Everyone in the cell wears hearing protection.",
	"A fire extinguisher is within reach; everyone knows the emergency stop, and it has been tried.",
	"Cooling air blows on engine and tyre, and both get time between pulls.",
	"Parts that alter emissions or noise equipment fall under local law; nothing here says that a vehicle may be used on the road.",
}

func cautionBlocks() []block {
	return []block{heading{Level: 2, Words: "Cautions", ID: "cautions"}, bullets{Items: Cautions}}
}

// claimBlocks says what does not follow from this report.
func (g *Gain) claimBlocks() []block {
	items := []string{
		"Full throttle only. Nothing is said of part throttle, response, fuel consumption, emissions, noise or durability.",
		"One vehicle with the exact parts and settings listed above, and the specimens that were fitted: another vehicle, another exhaust, another specimen can answer differently.",
		"The levels are this rig's. Another rig, or this one another month, reads otherwise; compare gains, not levels.",
		"The interval covers the noise that its table lists and nothing else. What was left out of the table, such as differences from specimen to specimen, is not in it.",
		"The secondary figures and the curve stand beside the verdict and do not carry it.",
		"This is an analysis and not a signed claim.",
	}
	if g.AtCrank {
		items = append(items, "The logs were reduced elsewhere and give crank figures: how the driveline's loss was added is not known here.")
	}
	return []block{heading{Level: 2, Words: "What this does not claim", ID: "limits"}, bullets{Items: items}}
}
