package web

import (
	"errors"
	"fmt"
	"net/http"
	"net/url"
	"strings"

	"knowngood.example/cases"
	"knowngood.example/cases/check"
	"knowngood.example/cases/notation"
	"knowngood.example/client"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// openView is the page to open a case on.
type openView struct {
	// Case and ID of the opening are minted before it is sent, so that what is sent twice
	// opens one case.
	Case, ID string
	Fields   url.Values
	Wrong    *notHeard
}

// Get is what a field holds.
func (o openView) Get(name string) string { return o.Fields.Get(name) }

func showOpen(v *visit) error { return v.opening(http.StatusOK, nil) }

func (v *visit) opening(code int, no *notHeard) error {
	b := openView{Case: v.NewID(), ID: v.NewID(), Fields: v.r.PostForm, Wrong: no}
	if no == nil {
		b.Fields = url.Values{"system": {"12"}}
	} else if b.Get("case") != "" {
		b.Case, b.ID = b.Get("case"), b.Get("id")
	}
	return v.page(code, "open", &view{Title: "Open a case", Here: "open", Body: b})
}

// openCase opens a case of the shop of whoever is at the page, by the checks that the
// command has.
func openCase(v *visit) error {
	if err := v.r.ParseForm(); err != nil {
		return err
	}
	s, err := v.opened()
	if err == nil {
		err = v.desk.Case(v.r.Context(), s.event.GetStream(), func(c *Case) error {
			if c.ByID(s.event.GetId()) == nil {
				return impossible{errors.New("case: there is a case of that id already; open this page anew")}
			}
			return nil // sent again
		})
		if code, _ := status(err); code == http.StatusNotFound {
			if err = v.holds(&Case{Case: cases.New(s.event.GetStream())}, s.event); err == nil {
				err = v.desk.Record(v.r.Context(), s.event)
			}
		}
	}
	if err != nil {
		return v.refused("", err)
	}
	return v.told(*s)
}

// opened is the opening that the fields say.
func (v *visit) opened() (*spoken, error) {
	f := v.r.PostForm
	field := func(name string) string { return strings.TrimSpace(f.Get(name)) }
	list := func(name string) []string { return linesOf(strings.ReplaceAll(f.Get(name), ",", "\n")) }
	if field("concern") == "" {
		return nil, &client.Wrong{Field: "concern", Says: " is missing: write what the customer says is wrong, in the customer's words"}
	}
	o := client.Opening{
		Concern: field("concern"), VIN: field("vin"), Make: field("make"), Model: field("model"), Engine: field("engine"), Odometer: field("odometer"), Plate: field("plate"),
		HighVoltage: field("high-voltage"), WorkOrder: field("work-order"), Conditions: field("conditions"), Onset: field("onset"), JustBefore: field("just-before"),
		Frequency: field("frequency"), Crash: field("crash"), Flood: field("flood"), Rodents: field("rodents"), CanBeMoved: field("can-be-moved"),
		Works: list("works"), DoesNotWork: list("does-not-work"), Added: list("added"), Invented: field("invented") != "",
	}
	var err error
	if o.Year, err = number("year", field("year")); err != nil {
		return nil, err
	}
	if o.System, err = number("system", field("system")); err != nil {
		return nil, err
	}
	says, err := o.Event(v.who.Shop, v.Now().In(v.Zone))
	if err != nil {
		return nil, err
	}
	s := &spoken{event: &eventv1.Event{Stream: field("case"), Id: field("id"), Kind: &eventv1.Event_CaseOpened{CaseOpened: says}}}
	for _, id := range []*string{&s.event.Stream, &s.event.Id} {
		if *id == "" {
			*id = v.NewID()
		} else if err := notation.CheckID(*id); err != nil {
			return nil, impossible{fmt.Errorf("the case cannot have the id that came with it: %w", err)}
		}
	}
	if err := v.laid(s); err != nil {
		return nil, err
	}
	if s.event.GetHappened() == nil {
		if s.event.Happened, err = v.typedAt(); err != nil {
			return nil, err
		}
	}
	if check.Event(s.event, client.Checks(cases.New(s.event.GetStream()), v.Now(), v.who.Currency)).Err() == nil {
		says.LeftBehind, err = v.leftBehind(says.GetVehicle())
	}
	return s, err
}

// leftBehind gathers what earlier cases of the vehicle left on it, as far as they can be
// read here.
func (v *visit) leftBehind(vehicle *eventv1.Vehicle) (out []*eventv1.LeftBehind, err error) {
	if vehicle.GetVin() == "" && vehicle.GetPlate() == "" {
		return nil, nil
	}
	lines, err := v.desk.Board(v.r.Context(), true)
	if err != nil {
		return nil, err
	}
	for _, l := range lines {
		err := v.desk.Case(v.r.Context(), l.Stream, func(c *Case) error {
			out = client.LeftBehind(out, vehicle, c.Case)
			return nil
		})
		if code, _ := status(err); err != nil && code != http.StatusNotFound {
			return nil, err
		}
	}
	return out, nil
}
