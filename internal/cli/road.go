package cli

import (
	"context"
	"errors"
	"fmt"
	"os"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"fairpull/internal/lab"
	"fairpull/quantity"
	"fairpull/report"
)

// roadFlags are what the verb road is asked with.
type roadFlags struct {
	from, ride                               string
	rollOns                                  []string
	to, over, gears                          []float64
	top, json, overwrite                     bool
	mass, limiter, shift, dragArea, tyreRoll float64
	class                                    string
	reports                                  []string
	q                                        lab.RoadQuery
}

func roadCommand() *cobra.Command {
	const try = "fairpull road my-campaign"
	cmd := &cobra.Command{
		Use:   "road CAMPAIGN | FOLDER | CLAIM",
		Short: "What a gain means on the road: roll-ons, starts, top speed, with and without the part",
		Long: `Compute what a gain means where people ride: roll-on times in one gear, the time from
standstill to a speed or over a distance, the top speed, each without and with the
part, with intervals carried by simulation; and the gain weighted by where a rider
spends time. From mass, gearing, road load and grip; what is not entered is taken
from the campaign or typical, and each figure stands with its source (docs/road.md).

Speeds are in km/h, with --units us in mph; distances in m, or ft.`,
		Example: `  fairpull road my-campaign
  fairpull road twin650-intake-cam --json
  fairpull road my-campaign --gears 2.9,2.1,1.65,1.35,1.15,1.0 --roll-on 80-120@5 --to 100 --top --class unfaired
  fairpull road my-campaign --ride 3000-4000=20,4000-5000=50,5000-7000=10 --report road.html`,
		Args: exactly(1, "road takes one campaign or claim", try),
	}
	var f roadFlags
	flags := cmd.Flags()
	flags.StringVar(&f.from, "from", "", "a file that says all of it (format fairpull.road/1); flags go before it")
	flags.Float64Var(&f.mass, "mass", 0, "mass with rider, kg (default: the campaign's)")
	flags.Float64SliceVar(&f.gears, "gears", nil, "ratios of the gearbox, first gear first")
	flags.Float64Var(&f.limiter, "limiter", 0, "engine speed at which the limiter holds, rpm")
	flags.Float64Var(&f.shift, "shift", 0, "engine speed at which the rider shifts up, rpm (default: where the next gear pulls as hard)")
	flags.StringVar(&f.class, "class", "", "typical drag and rolling resistance of: "+strings.Join(lab.RoadClasses(), "; "))
	flags.Float64Var(&f.dragArea, "drag-area", 0, "drag area, m²")
	flags.Float64Var(&f.tyreRoll, "rolling", 0, "coefficient of rolling resistance")
	flags.StringArrayVar(&f.rollOns, "roll-on", nil, "a roll-on, as 60-100, or in a gear as 60-100@5 (may be repeated)")
	flags.Float64SliceVar(&f.to, "to", nil, "time from standstill to these speeds")
	flags.Float64SliceVar(&f.over, "over", nil, "time from standstill over these distances")
	flags.BoolVar(&f.top, "top", false, "the top speed")
	flags.StringVar(&f.ride, "ride", "", "where the rider spends time: 2000-3000=20,3000-4000=35, or a logger file")
	flags.StringVar(&f.q.Candidate, "candidate", "", "the part, where the campaign has several candidates")
	flags.BoolVar(&f.json, "json", false, "write the fairpull.on-road/1 object, in SI, unrounded")
	flags.StringArrayVar(&f.reports, "report", nil, "also write a document: .html, .pdf, .svg or .png (may be repeated)")
	flags.BoolVar(&f.overwrite, "overwrite", false, "let --report replace a file that exists")
	units, open := unitsFlag(cmd), withWorkspace(cmd)
	cmd.RunE = func(cmd *cobra.Command, args []string) error {
		system, err := units()
		if err != nil {
			return err
		}
		if err := lab.CheckReports(f.reports, f.overwrite); err != nil {
			return &usageError{err, try + " --report road.html"}
		}
		f.q.What, f.q.Units, f.q.Version = args[0], system, Version
		if err := f.fill(system); err != nil {
			return err
		}
		show := func(ctx context.Context, w *lab.Workspace) error { return f.show(ctx, cmd, w, system) }
		return openFor(cmd.Context(), open, args, show)
	}
	return cmd
}

// fill reads file and flags into the query.
func (f *roadFlags) fill(system quantity.System) error {
	if f.from != "" {
		if err := lab.ReadRoad(f.from, &f.q); err != nil {
			return err
		}
	}
	v := &f.q.Vehicle
	for _, one := range []struct {
		flag  string
		value float64
		into  *float64
	}{{"mass", f.mass, &v.Mass}, {"limiter", f.limiter, &v.LimitRPM}, {"shift", f.shift, &v.ShiftRPM}} {
		if !(one.value >= 0) {
			return &usageError{fmt.Errorf("--%s is a positive number", one.flag), "fairpull road my-campaign --mass 285"}
		}
		if one.value > 0 {
			*one.into = one.value
		}
	}
	if len(f.gears) > 0 {
		v.Gears = f.gears
	}
	if f.class != "" || f.dragArea != 0 || f.tyreRoll != 0 {
		v.Class, v.DragArea, v.Rolling, v.RoadLoad = f.class, nil, nil, nil
		if f.dragArea != 0 {
			v.DragArea = &f.dragArea
		}
		if f.tyreRoll != 0 {
			v.Rolling = &f.tyreRoll
		}
	}
	if err := f.ask(system); err != nil {
		return err
	}
	return f.readRide()
}

// ask reads the questions that stand as flags; they take the place of the file's.
func (f *roadFlags) ask(system quantity.System) error {
	if len(f.rollOns)+len(f.to)+len(f.over) == 0 && !f.top {
		return nil
	}
	ask := lab.RoadAsk{Top: f.top}
	for _, text := range f.rollOns {
		from, to, gear, err := rollOn(text)
		if err != nil {
			return &usageError{err, "fairpull road my-campaign --roll-on 60-100@4"}
		}
		ask.AddRollOn(system, gear, from, to)
	}
	ask.AddStarts(system, f.to, f.over)
	f.q.Ask = ask
	return nil
}

// rollOn reads FROM-TO or FROM-TO@GEAR.
func rollOn(text string) (from, to float64, gear int, err error) {
	span, in, inGear := strings.Cut(text, "@")
	low, high, _ := strings.Cut(span, "-")
	from, err1 := strconv.ParseFloat(strings.TrimSpace(low), 64)
	to, err2 := strconv.ParseFloat(strings.TrimSpace(high), 64)
	var err3 error
	if inGear {
		if gear, err3 = strconv.Atoi(in); err3 == nil && gear < 1 {
			err3 = errors.New("no gear")
		}
	}
	if errors.Join(err1, err2, err3) != nil {
		return 0, 0, 0, fmt.Errorf("--roll-on is FROM-TO or FROM-TO@GEAR, and %.40q is not", text)
	}
	return from, to, gear, nil
}

// readRide reads --ride: a histogram, or a file that is there.
func (f *roadFlags) readRide() error {
	if f.ride == "" {
		return nil
	}
	var err error
	if _, missing := os.Stat(f.ride); missing == nil {
		f.q.Ride, err = lab.RideOfLog(f.ride)
		return err
	}
	if f.q.Ride, err = lab.ParseRide(f.ride); err != nil {
		return &usageError{fmt.Errorf("there is no file %.80q, and as a histogram: %w", f.ride, err), "fairpull road my-campaign --ride 2000-3000=20,3000-4000=35"}
	}
	return nil
}

// show writes the answer.
func (f *roadFlags) show(ctx context.Context, cmd *cobra.Command, w *lab.Workspace, system quantity.System) error {
	view, err := lab.Road(ctx, w, f.q)
	if err != nil {
		return err
	}
	for _, file := range f.reports {
		if err := lab.WriteDocument(view, file, f.overwrite, system); err != nil {
			return err
		}
		fmt.Fprintf(cmd.ErrOrStderr(), "wrote %s\n", file)
	}
	out := cmd.OutOrStdout()
	if !f.json {
		return view.Text(out, report.TextOptions{Width: terminalWidth(), Units: system})
	}
	data, err := view.JSON()
	if err != nil {
		return err
	}
	_, err = out.Write(data)
	return err
}
