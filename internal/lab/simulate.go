package lab

import (
	"context"
	"fmt"
	"slices"

	"fairpull/simulate"
)

// ScenarioLine is a named scenario and what it is.
type ScenarioLine struct{ Name, About string }

// Scenarios lists the named scenarios.
func Scenarios() []ScenarioLine {
	var lines []ScenarioLine
	for _, name := range simulate.Names() {
		lines = append(lines, ScenarioLine{name, simulate.Meaning(name)})
	}
	return lines
}

// ScenarioText returns a named scenario as TOML, to be changed and used as a
// scenario file.
func ScenarioText(name string) ([]byte, error) {
	scenario, err := simulate.Named(name)
	if err != nil {
		return nil, err
	}
	return scenario.TOML()
}

// SimulateRequest names the scenario, by name or by file, and where its campaign
// folder goes.
type SimulateRequest struct {
	Scenario string
	File     string
	Seed     uint64 // 0: the scenario's own
	Dir      string
}

// NamesScenario says whether there is a scenario of that name.
func NamesScenario(name string) bool { return slices.Contains(simulate.Names(), name) }

// maxScenarioBytes bounds a scenario file.
const maxScenarioBytes = 1 << 20

// Simulate writes a campaign folder with known truth and returns how many pulls
// it has. Once ctx is done it ends between two pulls, with nothing left behind.
func Simulate(ctx context.Context, r SimulateRequest) (pulls int, err error) {
	scenario, err := r.scenario()
	if err != nil {
		return 0, err
	}
	if r.Seed != 0 {
		scenario.Seed = r.Seed
	}
	if err := scenario.WriteContext(ctx, r.Dir); err != nil {
		return 0, err
	}
	return scenario.Rows(), nil
}

func (r SimulateRequest) scenario() (simulate.Scenario, error) {
	if r.File == "" {
		return simulate.Named(r.Scenario)
	}
	text, err := readBounded(r.File, maxScenarioBytes)
	if err != nil {
		return simulate.Scenario{}, err
	}
	scenario, err := simulate.FromTOML(text)
	if err != nil {
		return scenario, fmt.Errorf("%s: %w", r.File, err)
	}
	return scenario, nil
}
