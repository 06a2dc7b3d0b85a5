package brief

import (
	"fmt"
	"strings"
	"unicode"

	"knowngood.example/cases"
	"knowngood.example/cases/notation"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// Deferring closes every caution.
const Deferring = " Follow the vehicle maker's service information and local rules; they stand above this page."

// cautions are the usual ones for the work that the case speaks of.
func (w *writer) cautions() []string {
	met := w.hazards()
	var out []string
	for _, c := range []struct {
		met  bool
		text string
	}{
		{met.highVoltage, "High voltage: only for people qualified for it; switched off, locked off and proven dead with a proven tester before anything is touched." + w.madeSafe(eventv1.Hazard_HAZARD_HIGH_VOLTAGE)},
		{met.airbag, "Airbags and belt tensioners: no meter, lamp or jumper on their wiring; power down and wait as the maker says before unplugging." + w.madeSafe(eventv1.Hazard_HAZARD_AIRBAG)},
		{met.fuel, "Fuel: vapour burns and explodes; no sparks, lamps or heat near it, air the place, relieve pressure before opening a line." + w.madeSafe(eventv1.Hazard_HAZARD_FUEL)},
		{met.lifted, "Lifted vehicle: stands at the maker's points, never on a jack alone." + w.madeSafe(eventv1.Hazard_HAZARD_LIFTED)},
		{met.cranking, "Cranking and running: out of gear, brake on, hands, leads and clothes clear of belts and fans, nobody in front; exhaust gas led outside."},
		{met.fan, "Cooling fan: it can start by itself, with the key off too; unplug it before reaching in."},
		{met.exhaust, "Hot exhaust: burns, and lights what touches it; let it cool."},
		{met.jumper, "Jumpers: fused no larger than the circuit's own fuse; never on airbag, bus, 5 V reference or module pins."},
	} {
		if c.met {
			out = append(out, c.text+Deferring)
		}
	}
	return out
}

// madeSafe says what is recorded of making it safe.
func (w *writer) madeSafe(h eventv1.Hazard) string {
	var by []*cases.Step
	for _, s := range w.MadeSafe {
		if s.Says.GetMadeSafe().GetHazard() == h {
			by = append(by, s)
		}
	}
	if len(by) > 0 {
		return fmt.Sprintf(" Recorded as made safe in %s; make sure that it still is.", refs(by...))
	}
	return " It is not recorded as made safe."
}

type hazards struct{ highVoltage, airbag, fuel, lifted, cranking, fan, exhaust, jumper bool }

func (w *writer) hazards() hazards {
	var h hazards
	h.highVoltage = w.Vehicle.GetHighVoltage() == eventv1.Answer_ANSWER_YES
	for _, s := range w.Jobs() {
		if s.Says == nil {
			continue
		}
		h.words(w.DescribeNow(s, nil))
		h.of(s.Says)
	}
	return h
}

// of takes what the event says outright.
func (h *hazards) of(e *eventv1.Event) {
	switch e.GetMadeSafe().GetHazard() {
	case eventv1.Hazard_HAZARD_HIGH_VOLTAGE:
		h.highVoltage = true
	case eventv1.Hazard_HAZARD_AIRBAG:
		h.airbag = true
	case eventv1.Hazard_HAZARD_FUEL:
		h.fuel = true
	case eventv1.Hazard_HAZARD_LIFTED:
		h.lifted = true
	}
	for _, p := range e.GetCircuitDrawn().GetPoints() {
		h.airbag = h.airbag || p.GetNet() == eventv1.NetKind_NET_KIND_AIRBAG
		h.highVoltage = h.highVoltage || p.GetNet() == eventv1.NetKind_NET_KIND_HIGH_VOLTAGE
	}
	con := e.GetReading().GetConditions()
	if t := e.GetTest(); t != nil {
		con = t.GetConditions()
		h.jumper = h.jumper || t.GetManner() == eventv1.TestManner_TEST_MANNER_BYPASS
	}
	switch con.GetKey() {
	case eventv1.KeyPosition_KEY_POSITION_CRANKING, eventv1.KeyPosition_KEY_POSITION_RUNNING:
		h.cranking = true
	}
	h.jumper = h.jumper || len(con.GetJumped()) > 0 || e.GetTemporaryOn().GetTemporary() == eventv1.TemporaryKind_TEMPORARY_KIND_JUMPER
}

// words goes by the words of the record.
func (h *hazards) words(text string) {
	text = notation.Key(text)
	for _, word := range strings.FieldsFunc(text, func(r rune) bool { return !unicode.IsLetter(r) }) {
		switch word {
		case "fuel":
			h.fuel = true
		case "airbag", "airbags", "srs", "tensioner", "pretensioner":
			h.airbag = true
		case "lift", "lifted", "hoist", "jack", "jacked":
			h.lifted = true
		case "crank", "cranks", "cranked", "cranking":
			h.cranking = true
		case "fan", "fans":
			h.fan = true
		case "exhaust", "catalyst":
			h.exhaust = true
		case "jumper", "jumped", "bypass":
			h.jumper = true
		}
	}
	h.highVoltage = h.highVoltage || strings.Contains(text, "high voltage") || strings.Contains(text, "high-voltage")
}
