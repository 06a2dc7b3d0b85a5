package client

import (
	"fmt"
	"strings"
	"time"

	"knowngood.example/cases"
	"knowngood.example/cases/notation"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// Opening is what is asked when a case is opened, as it was said: by flags of a command,
// or in the fields of the page.
type Opening struct {
	// Concern is what the customer says is wrong.
	Concern                                                           string
	VIN, Make, Model, Engine, Odometer, Plate, HighVoltage, WorkOrder string
	Conditions, Onset, JustBefore, Frequency                          string
	Crash, Flood, Rodents, CanBeMoved                                 string
	Works, DoesNotWork, Added                                         []string
	Year, System                                                      uint32
	Invented                                                          bool
}

// Event is the case opened at a shop, without what earlier cases left on the vehicle. Now
// is in the writer's zone. The error is a *Wrong.
func (o *Opening) Event(shop string, now time.Time) (*eventv1.CaseOpened, error) {
	var c chooser
	out := &eventv1.CaseOpened{
		Shop: shop, WorkOrder: o.WorkOrder, AddedEquipment: o.Added, Invented: o.Invented,
		Vehicle: &eventv1.Vehicle{
			Vin: strings.ToUpper(o.VIN), Make: o.Make, Model: o.Model, Year: o.Year, Engine: o.Engine, Plate: o.Plate, SystemVolts: o.System,
		},
		Concern: &eventv1.Concern{
			Statement: o.Concern, Conditions: o.Conditions, JustBefore: o.JustBefore, Frequency: o.Frequency, Works: o.Works, DoesNotWork: o.DoesNotWork,
		},
	}
	out.Vehicle.HighVoltage = c.answer("high-voltage", o.HighVoltage)
	out.Crash, out.Flood = c.answer("crash", o.Crash), c.answer("flood", o.Flood)
	out.Rodents, out.CanBeMoved = c.answer("rodents", o.Rodents), c.answer("can-be-moved", o.CanBeMoved)
	var err error
	if o.Odometer != "" {
		if out.Vehicle.Odometer, err = notation.ParseQuantity(o.Odometer); err != nil {
			c.keep(&Wrong{"odometer", fmt.Sprintf(" cannot be %q: write digits and unit, as in 182000 km or 113000 mi", o.Odometer)})
		}
	}
	if o.Onset != "" {
		out.Concern.Onset, err = notation.KeepMoment(o.Onset, now)
		c.keep(wrong("onset", err))
	}
	return out, c.err
}

// SameVehicle reports whether two descriptions mean one vehicle.
func SameVehicle(a, b *eventv1.Vehicle) bool {
	if a.GetVin() != "" && b.GetVin() != "" {
		return a.GetVin() == b.GetVin()
	}
	return a.GetPlate() != "" && strings.EqualFold(a.GetPlate(), b.GetPlate())
}

// LeftBehind adds to a list what a case of the vehicle left on it, each thing once; cases
// of other vehicles add nothing.
func LeftBehind(list []*eventv1.LeftBehind, v *eventv1.Vehicle, c *cases.Case) []*eventv1.LeftBehind {
	if !SameVehicle(v, c.Vehicle) {
		return list
	}
	seen := make(map[string]bool)
	for _, l := range list {
		seen[l.GetEntry()] = true
	}
	for _, l := range c.Left() {
		if !seen[l.GetEntry()] {
			seen[l.GetEntry()] = true
			list = append(list, l)
		}
	}
	return list
}
