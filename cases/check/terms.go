package check

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"knowngood.example/cases/notation"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

const (
	firstSecond = -62167219200 // 0000-01-01T00:00:00Z, the earliest of RFC 3339
	lastSecond  = 253402300799 // 9999-12-31T23:59:59Z, the latest
	absZero     = 0            // kelvin
)

func (c checker) quantity(q *eventv1.Quantity) {
	unit, known := notation.LookupUnit(q.GetUnit())
	switch {
	case q.GetUnit() == "":
		c.refuse("unit", "is empty", "a number means nothing without its unit; write V, A, Ohm and so on")
	case !known:
		right := "units are UCUM codes, as V, kOhm, Cel"
		if near, ok := notation.NearestUnit(q.GetUnit()); ok {
			right = "did you mean " + near.Code + "?"
		}
		c.refuse("unit", fmt.Sprintf("%q is not known", clip(q.GetUnit())), right)
	}
	if q.GetSense() == eventv1.Sense_SENSE_OVER_RANGE {
		if q.GetDigits() != "" {
			c.refuse("digits", fmt.Sprintf("%q stands beside over range", clip(q.GetDigits())), "a display that shows OL shows no number; leave digits empty")
		}
		return
	}
	if err := notation.CheckDigits(q.GetDigits()); err != nil {
		c.refuse("digits", err.Error(), "")
		return
	}
	if known {
		c.possible(q, unit)
	}
}

// possible refuses values that cannot be and asks about those that hardly can.
func (c checker) possible(q *eventv1.Quantity, unit notation.Unit) {
	v, dim, err := notation.Value(q)
	if err != nil {
		c.refuse("digits", err.Error(), "")
		return
	}
	shown := notation.Format(q)
	switch dim {
	case notation.Resistance:
		if v < 0 {
			c.refuse("", shown+" cannot be", "a meter that shows less than nothing on ohms has a voltage across it; take the source off and read again")
			return
		}
	case notation.Frequency, notation.Capacitance, notation.Inductance, notation.Conductance, notation.Mass, notation.Area, notation.Volume, notation.Speed:
		if v < 0 {
			c.refuse("", shown+" cannot be", string(dim)+" is not less than nothing")
			return
		}
	case notation.Temperature:
		if v < absZero {
			c.refuse("", shown+" cannot be", "nothing is colder than -273.15 °C")
			return
		}
	}
	if low, high, words := c.likely(dim, unit, q.GetShape()); v < low || v > high {
		c.ask("", shown+" "+words, "are digits and unit right?")
	}
}

// likely is the range of a dimension beyond which a value is asked about, in SI
// units, and the words for it. Assumed, from what is met on road vehicles, and
// wide on purpose.
func (c checker) likely(dim notation.Dimension, unit notation.Unit, shape eventv1.Shape) (low, high float64, words string) {
	none := math.Inf(1)
	switch dim {
	case notation.Voltage:
		switch volts := float64(c.ctx.SystemVolts); {
		case shape == eventv1.Shape_SHAPE_PEAK:
			return -60e3, 60e3, "is more than an ignition coil gives"
		case volts > 0 && !c.ctx.HighVoltage:
			return -5 * volts, 5 * volts, fmt.Sprintf("on a %.0f V system", volts)
		}
		return -1000, 1000, "is more than a vehicle's supply has"
	case notation.Current:
		return -3000, 3000, "is more than a starter draws"
	case notation.Temperature:
		return 213.15, 1573.15, "is not met on a vehicle"
	case notation.Pressure:
		return -101325, 400e6, "is not met on a vehicle"
	case notation.Ratio:
		return -10, 1e4, "is a very large ratio"
	case notation.Speed:
		return 0, 140, "is faster than vehicles go"
	case notation.Torque:
		return -20e3, 20e3, "is more than a vehicle's parts bear"
	case notation.Power:
		return -2e6, 2e6, "is more than a vehicle has"
	case notation.Frequency:
		if unit.Code == "/min" {
			return 0, 400e3 / 60, "is faster than a turbocharger turns"
		}
	}
	return -none, none, ""
}

// dim refuses a quantity of another dimension than those given. Unknown units
// have been refused already.
func (c checker) dim(field string, q *eventv1.Quantity, dims ...notation.Dimension) {
	unit, known := notation.LookupUnit(q.GetUnit())
	if q == nil || !known || slices.Contains(dims, unit.Dim) {
		return
	}
	words := make([]string, len(dims))
	for i, d := range dims {
		words[i] = string(d)
	}
	c.refuse(field, fmt.Sprintf("%s is %s", notation.Format(q), unit.Dim), "it should be "+strings.Join(words, " or "))
}

// positive refuses a quantity that is less than nothing, or nothing.
func (c checker) positive(field string, q *eventv1.Quantity) {
	if v, _, err := notation.Value(q); q != nil && err == nil && v <= 0 {
		c.refuse(field, notation.Format(q)+" cannot be", "it is more than nothing")
	}
}

func (c checker) money(m *eventv1.Money) {
	if _, err := notation.MinorDigits(m.GetCurrency()); err != nil {
		c.refuse("currency", err.Error(), "")
	} else if c.ctx.Currency != "" && c.ctx.Currency != m.GetCurrency() {
		c.remark("currency", notation.FormatMoney(m)+" is not in "+c.ctx.Currency+", in which the shop counts", "sums are kept apart")
	}
	if m.GetMinor() < 0 {
		c.refuse("minor", notation.FormatMoney(m)+" is less than nothing", "write what was charged; a credit goes into a note")
	}
}

func (c checker) moment(field string, m *eventv1.Moment) {
	if s := m.GetUnixSeconds(); s < firstSecond || s > lastSecond {
		c.sub(field).refuse("unix_seconds", fmt.Sprintf("%d is out of range", s), "years run from 0000 to 9999")
	}
	if n := m.GetNanos(); n < 0 || n > 999_999_999 {
		c.sub(field).refuse("nanos", fmt.Sprintf("%d is out of range", n), "it runs from 0 to 999999999")
	}
	if o := m.GetOffsetMinutes(); o < -1439 || o > 1439 {
		c.sub(field).refuse("offset_minutes", fmt.Sprintf("%d is out of range", o), "it runs from -1439 to 1439")
	}
	switch p := m.GetPrecision(); {
	case p == eventv1.Precision_PRECISION_UNSPECIFIED:
		c.sub(field).refuse("precision", "is not set", "say whether it is known to the second, minute or day, or not known")
	case p == eventv1.Precision_PRECISION_UNKNOWN && blank(m.GetSaid()):
		c.sub(field).refuse("said", "is empty", "of a moment that is not known, keep what was said, or leave it out")
	}
}

func (c checker) conditions(k *eventv1.Conditions) {
	c.names("unplugged", k.GetUnplugged())
	c.dim("supply", k.GetSupply(), notation.Voltage)
	c.dim("current", k.GetCurrent(), notation.Current)
	c.dim("temperature", k.GetTemperature(), notation.Temperature)
}

func (c checker) instrument(i *eventv1.Instrument) {
	c.name("name", i.GetName())
	if i.GetKind() == eventv1.InstrumentKind_INSTRUMENT_KIND_UNSPECIFIED && i.GetName() == "" {
		c.refuse("", "says neither what it is nor which", "name it, or leave it out")
	}
}

func (c checker) expectation(x *eventv1.Expectation) {
	low, high := x.GetLow(), x.GetHigh()
	if low == nil && high == nil && blank(x.GetSaid()) {
		c.refuse("", "says nothing", "give a lower limit, an upper limit or words, or leave it out")
		return
	}
	// 'over 12 V' and '12 V' are both lower limits, 'under' never is.
	if low.GetSense() == eventv1.Sense_SENSE_UNDER {
		c.refuse("low.sense", notation.Format(low)+" is no lower limit", "'under' is an upper limit, 'over' a lower one")
	}
	if high.GetSense() == eventv1.Sense_SENSE_OVER {
		c.refuse("high.sense", notation.Format(high)+" is no upper limit", "'under' is an upper limit, 'over' a lower one")
	}
	if low == nil || high == nil {
		return
	}
	a, dimA, errA := notation.Value(low)
	b, dimB, errB := notation.Value(high)
	switch {
	case dimA != "" && dimB != "" && dimA != dimB:
		c.refuse("high", fmt.Sprintf("%s is %s, the lower limit %s", notation.Format(high), dimB, dimA), "give both in units of one kind")
	case errA == nil && errB == nil && a > b:
		c.refuse("low", fmt.Sprintf("%s is more than the upper limit, %s", notation.Format(low), notation.Format(high)), "exchange them")
	case low.GetSense() == eventv1.Sense_SENSE_OVER_RANGE && errB == nil:
		c.refuse("low", "over range is more than the upper limit, "+notation.Format(high), "exchange them")
	}
}

func (c checker) covered(k *eventv1.Covered) {
	c.mustName("component", k.GetComponent(), "name what the test would find bad, as 'fan motor'")
	if k.GetExtent() == eventv1.Extent_EXTENT_UNSPECIFIED {
		c.refuse("extent", "is not set", "say whether the test cannot pass with it bad (whole) or mostly cannot (mostly)")
	}
	for i, m := range k.GetModes() {
		if m == eventv1.FaultMode_FAULT_MODE_UNSPECIFIED {
			c.refuse(item("modes", i), "is not set", "name the fault, or leave all out for every fault")
		}
	}
}

// tries checks the count of an intermittent.
func (c checker) tries(tries, failures uint32) {
	if failures > tries {
		c.refuse("failures", fmt.Sprintf("%d failures in %d tries", failures, tries), "there are at least as many tries as failures")
	}
}

// outside says how far a value lies outside an expectation: below low, above high;
// false when it lies inside or it cannot be told.
func outside(q *eventv1.Quantity, x *eventv1.Expectation) (words string, out bool) {
	low, high := x.GetLow(), x.GetHigh()
	if q.GetSense() == eventv1.Sense_SENSE_OVER_RANGE {
		if _, _, err := notation.Value(high); high != nil && err == nil {
			return "over range is more than " + notation.Format(high), true
		}
		return "", false
	}
	v, dim, err := notation.Value(q)
	if err != nil || q.GetSense() == eventv1.Sense_SENSE_ABOUT {
		return "", false
	}
	half, err := notation.Resolution(q)
	if err != nil {
		return "", false
	}
	if l, d, err := notation.Value(low); low != nil && err == nil && d == dim && v+half < l && q.GetSense() != eventv1.Sense_SENSE_OVER {
		return notation.Format(q) + " is less than " + notation.Format(low), true
	}
	if h, d, err := notation.Value(high); high != nil && err == nil && d == dim && v-half > h && q.GetSense() != eventv1.Sense_SENSE_UNDER {
		return notation.Format(q) + " is more than " + notation.Format(high), true
	}
	return "", false
}

// inside reports that a value surely lies within limits that are both numbers, or
// the one that is given.
func inside(q *eventv1.Quantity, x *eventv1.Expectation) bool {
	if s := q.GetSense(); s != eventv1.Sense_SENSE_EXACTLY && s != eventv1.Sense_SENSE_UNSPECIFIED {
		return false
	}
	v, dim, err := notation.Value(q)
	if err != nil || x.GetLow() == nil && x.GetHigh() == nil {
		return false
	}
	if x.GetLow() != nil {
		if l, d, err := notation.Value(x.GetLow()); err != nil || d != dim || v < l {
			return false
		}
	}
	if x.GetHigh() != nil {
		if h, d, err := notation.Value(x.GetHigh()); err != nil || d != dim || v > h {
			return false
		}
	}
	return true
}
