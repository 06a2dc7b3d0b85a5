package check

import (
	"fmt"
	"slices"

	"knowngood.example/cases/notation"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

const maxCheckpoint = 4096 // bytes

func (c checker) caseOpened(k *eventv1.CaseOpened) {
	c.mustID("shop", k.GetShop(), "the shop that opens the case")
	c.sub("vehicle").vehicle(k.GetVehicle())
	if blank(k.GetConcern().GetStatement()) {
		c.refuse("concern.statement", "is empty", "write what the customer says is wrong")
	}
	c.past("concern.onset", k.GetConcern().GetOnset())
	for i, l := range k.GetLeftBehind() {
		s := c.sub(item("left_behind", i))
		s.mustID("stream", l.GetStream(), "the earlier case")
		s.mustID("entry", l.GetEntry(), "the entry in the earlier case")
		s.needs("what", l.GetWhat(), "say what was left on the vehicle")
		if l.GetKind() == eventv1.LeftKind_LEFT_KIND_UNSPECIFIED {
			s.refuse("kind", "is not set", "say whether it is temporary, a part fitted, a repair or an area worked on")
		}
	}
	if k.GetCustomer() != "" {
		c.mustID("customer", k.GetCustomer(), "the customer; names are kept elsewhere")
	}
}

func (c checker) vehicle(v *eventv1.Vehicle) {
	if v.GetVin() == "" && blank(v.GetMake()) && blank(v.GetModel()) && blank(v.GetPlate()) {
		c.refuse("", "says nothing by which to know it", "give a VIN, a plate, or make and model")
	}
	if v.GetVin() != "" {
		c.vin(v)
	}
	if y := v.GetYear(); y != 0 && (y < 1885 || y > 9999) {
		c.refuse("year", fmt.Sprintf("%d is no model year", y), "write four digits, or leave it out")
	} else if !c.ctx.Now.IsZero() && int(y) > c.ctx.Now.Year()+2 {
		c.ask("year", fmt.Sprintf("%d is yet to come", y), "is the model year right?")
	}
	switch n := v.GetSystemVolts(); n {
	case 0, 12, 24, 48:
	default:
		c.refuse("system_volts", fmt.Sprintf("%d is no supply system that is kept here", n), "it is 12, 24 or 48, or 0 when not known")
	}
	o := v.GetOdometer()
	if o == nil {
		return
	}
	if _, known := notation.LookupUnit(o.GetUnit()); known && o.GetUnit() != "km" && o.GetUnit() != "[mi_i]" {
		c.refuse("odometer", notation.Format(o)+" is not what an odometer shows", "write km or mi")
	}
	if d, _, err := notation.Value(o); err == nil && d < 0 {
		c.refuse("odometer", notation.Format(o)+" cannot be", "an odometer does not show less than nothing")
	} else if err == nil && d > 5e9 {
		c.ask("odometer", notation.Format(o)+" is farther than vehicles go", "are digits and unit right?")
	}
}

func (c checker) vin(v *eventv1.Vehicle) {
	vin, err := notation.ParseVIN(v.GetVin())
	if err != nil {
		c.refuse("vin", err.Error(), "")
		return
	}
	if vin.Text != v.GetVin() {
		c.refuse("vin", fmt.Sprintf("%q is not as it is kept", v.GetVin()), "write "+vin.Text)
		return
	}
	switch severity, words := vin.Doubt(); severity {
	case notation.Error:
		c.ask("vin", words, "")
	case notation.Warning:
		c.remark("vin", words, "")
	}
	years := vin.ModelYears(false)
	if y := int(v.GetYear()); y != 0 && vin.NorthAmerica() && vin.Fits() && len(years) > 0 && !slices.Contains(years, y) {
		c.remark("year", fmt.Sprintf("the VIN says %d or %d, not %d", years[0], years[1], y), "look at the plate again")
	}
}

func (c checker) concernStated(k *eventv1.ConcernStated) {
	n := k.GetConcern()
	if blank(n.GetStatement()) && blank(n.GetConditions()) && blank(n.GetFrequency()) && blank(n.GetJustBefore()) &&
		n.GetOnset() == nil && len(n.GetWorks())+len(n.GetDoesNotWork()) == 0 {
		c.refuse("concern", "says nothing", "write what is wrong, when it happens or what works")
	}
	c.past("concern.onset", n.GetOnset())
	c.who("said_by", k.GetSaidBy())
}

func (c checker) concernDuplicated(k *eventv1.ConcernDuplicated) {
	c.tries(k.GetTries(), k.GetFailures())
	if k.GetTries() > 0 && k.GetFailures() == 0 {
		c.ask("failures", fmt.Sprintf("0 failures in %d tries", k.GetTries()), "duplicated means that somebody saw it happen; is it 'gone away'?")
	}
}

func (c checker) handedOff(k *eventv1.HandedOff) {
	if k.GetToShop() == "" && k.GetToPerson() == "" {
		c.refuse("to_shop", "is empty, and so is to_person", "say to whom the case is handed")
	}
	c.optionalID("to_shop", k.GetToShop(), "a shop")
	c.optionalID("to_person", k.GetToPerson(), "a person")
	if k.GetAccess() == eventv1.Access_ACCESS_UNSPECIFIED {
		c.refuse("access", "is not set", "say whether they may read or write")
	}
	if blank(k.GetQuestion()) {
		c.ask("question", "is empty", "what are they to find out?")
	}
	c.checkpoint(k.GetCheckpoint())
}

func (c checker) handedBack(k *eventv1.HandedBack) {
	c.refers("handoff", k.GetHandoff(), Refuse, "a hand-off", kindHandedOff)
	if blank(k.GetFound()) && blank(k.GetCause()) && len(k.GetNotDone())+len(k.GetLeftOpen()) == 0 {
		c.refuse("found", "is empty", "say what was found, or what was not done")
	}
	c.name("cause", k.GetCause())
	if k.GetCause() == "" && k.GetCauseMode() != eventv1.FaultMode_FAULT_MODE_UNSPECIFIED {
		c.refuse("cause", "is empty, but what is wrong with it is said", "name the component or stretch that is the cause")
	}
	c.checkpoint(k.GetCheckpoint())
}

func (c checker) checkpoint(b []byte) {
	if len(b) > maxCheckpoint {
		c.refuse("checkpoint", fmt.Sprintf("has %d bytes", len(b)), fmt.Sprintf("a signed checkpoint has at most %d", maxCheckpoint))
	}
}

func (c checker) optionalID(field, id, what string) {
	if id != "" {
		c.mustID(field, id, what)
	}
}

func (c checker) checkDue(k *eventv1.CheckDue) {
	if k.GetDue() == nil && blank(k.GetWhat()) {
		c.refuse("due", "is not set, and what is empty", "say when or after what to look again")
	}
	if t, ok := notation.TimeOf(k.GetDue()); ok && !c.ctx.Now.IsZero() && t.Before(c.ctx.Now.AddDate(0, 0, -1)) {
		c.remark("due", notation.FormatMoment(k.GetDue(), nil)+" has been", "")
	}
}

func (c checker) accessGranted(k *eventv1.AccessGranted) {
	c.mustID("shop", k.GetShop(), "a shop")
	c.optionalID("person", k.GetPerson(), "a person")
	if k.GetAccess() == eventv1.Access_ACCESS_UNSPECIFIED {
		c.refuse("access", "is not set", "say read or write")
	}
	if k.GetHandoff() != "" {
		c.refers("handoff", k.GetHandoff(), Refuse, "a hand-off", kindHandedOff)
	}
}

func (c checker) accessWithdrawn(k *eventv1.AccessWithdrawn) {
	c.mustID("shop", k.GetShop(), "a shop")
	c.optionalID("person", k.GetPerson(), "a person")
	if k.GetLeft() == eventv1.Access_ACCESS_WRITE {
		c.refuse("left", "is write", "withdrawing leaves reading, or nothing")
	}
}
