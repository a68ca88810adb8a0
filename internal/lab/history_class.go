package lab

import (
	"context"
	"maps"
	"slices"
	"strings"
)

// classOf returns the class of a vehicle and, sorted, the vehicles of it: the class
// that was stated of the vehicle last, where the workspace knows none the one that is
// stated beside. Classes are the same where they differ in case or blanks only. Without
// a class, or where nobody else is in it, there are no vehicles.
func (w *Workspace) classOf(ctx context.Context, vehicle, stated string) (class string, vehicles []string, err error) {
	classes, err := w.store.VehicleClasses(ctx)
	if err != nil {
		return "", nil, err
	}
	class = stated
	if kept := classes[vehicle]; kept != "" {
		class = kept
	}
	if class == "" {
		return "", nil, nil
	}
	vehicles = vehiclesOf(classes, class)
	if len(vehicles) == 1 && vehicles[0] == vehicle {
		vehicles = nil
	}
	return class, vehicles, nil
}

// vehiclesOf returns the vehicles of a class, sorted.
func vehiclesOf(classes map[string]string, class string) []string {
	wanted := folded(class)
	var vehicles []string
	for id, c := range classes {
		if folded(c) == wanted {
			vehicles = append(vehicles, id)
		}
	}
	slices.Sort(vehicles)
	return vehicles
}

// VehicleClasses returns the classes of the workspace's vehicles, in order, each as it
// is written by the vehicle whose id comes first.
func (w *Workspace) VehicleClasses(ctx context.Context) ([]string, error) {
	classes, err := w.store.VehicleClasses(ctx)
	if err != nil {
		return nil, err
	}
	var names []string
	seen := map[string]bool{}
	for _, id := range slices.Sorted(maps.Keys(classes)) {
		if key := folded(classes[id]); !seen[key] {
			seen[key] = true
			names = append(names, classes[id])
		}
	}
	slices.Sort(names)
	return names, nil
}

// ClassesByVehicle returns the class of each vehicle that has one, by its id.
func (w *Workspace) ClassesByVehicle(ctx context.Context) (map[string]string, error) {
	return w.store.VehicleClasses(ctx)
}

// findClass returns the vehicles that a question about scatter is of, and the class as
// it is written; none where it names no class.
func (w *Workspace) findClass(ctx context.Context, q *ScatterQuery) ([]string, error) {
	if q.Class == "" {
		return nil, nil
	}
	if q.Vehicle != "" {
		return nil, refused("the scatter is shown of one vehicle or of a class of vehicles, and both are named")
	}
	classes, err := w.store.VehicleClasses(ctx)
	if err != nil {
		return nil, err
	}
	vehicles := vehiclesOf(classes, q.Class)
	if len(vehicles) > 0 {
		q.Class = classes[vehicles[0]]
		return vehicles, nil
	}
	names, err := w.VehicleClasses(ctx)
	if err != nil {
		return nil, err
	}
	if len(names) == 0 {
		return nil, refused("no vehicle of the workspace has a class.\n  State one: class = \"twin-650\" in [vehicle] of campaign.toml, or on the page of the vehicles")
	}
	return nil, refused("no vehicle is of class %q; the workspace has %s", q.Class, strings.Join(names, ", "))
}
