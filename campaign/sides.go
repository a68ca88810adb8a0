package campaign

import (
	"errors"
	"fmt"
	"maps"
	"math"
	"slices"
	"time"
)

// maxCorrectionFactor is far above any factor that a standard gives.
const maxCorrectionFactor = 2.0

func (c *Campaign) checkConfigurations(p *problems) {
	seen := map[string]bool{}
	baselines := 0
	for i, configuration := range c.Configurations {
		key := fmt.Sprintf("configuration[%d]", i)
		p.id(key+".id", configuration.ID)
		if seen[configuration.ID] {
			p.add(key+".id", "give every configuration an id of its own", "the id %.80q is taken", configuration.ID)
		}
		seen[configuration.ID] = true
		switch configuration.Role {
		case Baseline:
			baselines++
			if baselines == 2 {
				p.add(key+".role", `leave one "baseline" and call the rest "candidate"`, "a second configuration is the baseline")
			}
		case Candidate:
		default:
			p.add(key+".role", `write "baseline" or "candidate"`, "the role is %.80q", string(configuration.Role))
		}
		p.text(key+".name", configuration.Name)
		p.optional(key+".driven_wheel_inertia_kgm2", float64(configuration.WheelInertia), maxWheelInertia)
		p.optional(key+".driven_wheel_radius_m", float64(configuration.WheelRadius), maxRadius)
		p.optional(key+".engine_revs_per_drum_rev", configuration.EngineRevsPerDrumRev, maxRatio)
		checkParts(p, key, configuration)
	}
	if len(c.Configurations) < 2 {
		p.add("configuration", "declare a baseline and at least one candidate, each in a [[configuration]] table",
			"%d configuration declared, and a comparison takes two", len(c.Configurations))
	} else if baselines == 0 {
		p.add("configuration", `give one configuration role = "baseline"`, "no configuration is the baseline")
	}
}

func checkParts(p *problems, key string, configuration Configuration) {
	for i, part := range configuration.Components {
		here := fmt.Sprintf("%s.components[%d]", key, i)
		if part.Function == "" || part.Part == "" {
			p.add(here, "write both, as in { function = \"camshaft\", part = \"K-218\" }", "a component lacks its function or its part")
		}
		for _, text := range []string{part.Function, part.Part, part.Serial, part.Batch} {
			p.text(here, text)
		}
	}
	for _, setting := range configuration.Settings {
		p.text(key+".settings", setting.Key)
		p.text(key+".settings", setting.Value)
	}
}

func (c *Campaign) checkPulls(p *problems) {
	used := map[string]int{} // by configuration
	names, logs := map[string]bool{}, map[string]string{}
	starts := map[time.Time]string{}
	for i, pull := range c.Pulls {
		key := fmt.Sprintf("pulls[%d]", i)
		p.name(key+".pull", pull.Name)
		p.name(key+".setup", pull.Setup)
		if names[pull.Name] {
			p.add(key+".pull", "give every pull a number or name of its own", "pull %.80q is named twice", pull.Name)
		}
		names[pull.Name] = true
		if _, declared := c.Configuration(pull.Configuration); !declared {
			p.add(key+".configuration", "write the id of a [[configuration]] of campaign.toml, or declare it there",
				"configuration %.80q is not declared", pull.Configuration)
		}
		p.pull(key, pull)
		if !pull.Used() {
			continue
		}
		used[pull.Configuration]++
		if other, taken := logs[pull.Log]; taken {
			p.add(key+".log", "name the log of this pull, or exclude one of the two with a reason",
				"log %.80q is that of pull %.80q already", pull.Log, other)
		}
		logs[pull.Log] = pull.Name
		if other, taken := starts[pull.Started.UTC()]; taken {
			p.add(key+".started", "write when each pull began: the order of the pulls rests on it",
				"pull %.80q started at the same moment", other)
		}
		starts[pull.Started.UTC()] = pull.Name
	}
	for i, configuration := range c.Configurations {
		if used[configuration.ID] == 0 {
			p.add(fmt.Sprintf("configuration[%d].id", i), "record a pull of it in pulls.csv, or take the configuration out",
				"%s %.80q has no usable pull", configuration.Role, configuration.ID)
		}
	}
}

// pull checks the texts and numbers of one row.
func (p *problems) pull(key string, pull Pull) {
	if pull.Started.IsZero() {
		p.add(key+".started", "write the start time with its offset, as in 2026-03-02T14:05:00+01:00", "the start time is missing")
	}
	p.text(key+".log", pull.Log)
	p.text(key+".excluded", pull.Excluded)
	p.text(key+".correction_applied", pull.CorrectionApplied)
	p.optional(key+".correction_factor", pull.CorrectionFactor, maxCorrectionFactor)
	if _, err := pull.Weather.State(); err != nil && !errors.Is(err, ErrNoWeather) {
		p.add(key, "read the weather again, or exclude the pull with a reason", "%v", err)
	}
	for _, name := range slices.Sorted(maps.Keys(pull.Values)) {
		p.text(key+"."+name, pull.Values[name])
	}
	for _, name := range slices.Sorted(maps.Keys(pull.Measured)) {
		if value := pull.Measured[name]; math.IsNaN(value) || math.IsInf(value, 0) {
			p.add(key+"."+name, "write a finite number, or leave the cell empty", "it is %g", value)
		}
	}
}

func (p *problems) name(key, name string) {
	if err := CheckName(name); err != nil {
		p.add(key, fmt.Sprintf("write at most %d bytes of plain text", MaxID), "the name %.80q %v", name, err)
	}
}
