package notation

import (
	"fmt"
	"math"
	"strconv"
	"strings"

	"golang.org/x/text/unicode/norm"

	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// Dimension is what a unit measures.
type Dimension string

// Dimensions of the units in the table.
const (
	Voltage     Dimension = "voltage"
	Current     Dimension = "current"
	Resistance  Dimension = "resistance"
	Conductance Dimension = "conductance"
	Frequency   Dimension = "frequency"
	Ratio       Dimension = "ratio"
	Temperature Dimension = "temperature"
	Pressure    Dimension = "pressure"
	Time        Dimension = "time"
	Length      Dimension = "length"
	Area        Dimension = "area"
	Volume      Dimension = "volume"
	Mass        Dimension = "mass"
	Speed       Dimension = "speed"
	Flow        Dimension = "volume flow"
	MassFlow    Dimension = "mass flow"
	Force       Dimension = "force"
	Torque      Dimension = "torque"
	Power       Dimension = "power"
	Energy      Dimension = "energy"
	Charge      Dimension = "charge"
	Capacitance Dimension = "capacitance"
	Inductance  Dimension = "inductance"
	Angle       Dimension = "angle"
)

// SI is the unit of Value for the dimension, as printed.
func (d Dimension) SI() string {
	return map[Dimension]string{
		Voltage: "V", Current: "A", Resistance: "Ω", Conductance: "S", Frequency: "Hz", Ratio: "1",
		Temperature: "K", Pressure: "Pa", Time: "s", Length: "m", Area: "m²", Volume: "m³", Mass: "kg",
		Speed: "m/s", Flow: "m³/s", MassFlow: "kg/s", Force: "N", Torque: "N·m", Power: "W", Energy: "J",
		Charge: "C", Capacitance: "F", Inductance: "H", Angle: "rad",
	}[d]
}

// Unit is one row of the table: a value x in it is (x + shift) * mul / div in
// the SI unit of its dimension.
type Unit struct {
	// Code is the UCUM code, case-sensitive.
	Code string
	// Symbol as printed for people.
	Symbol string
	Dim    Dimension

	shift, mul, div float64
	whole           bool // nobody reads it to a thousandth
}

// LookupUnit finds a unit by its UCUM code.
func LookupUnit(code string) (Unit, bool) {
	u, ok := unitsByCode[code]
	return u, ok
}

// ParseUnit finds a unit by what people type for it: 'ohms', 'k', 'µA', 'deg C',
// 'ft-lb', or by its UCUM code.
func ParseUnit(text string) (Unit, error) {
	text = strings.TrimSpace(text)
	if u, ok := findUnit(text); ok {
		return u, nil
	}
	return Unit{}, unknownUnit(text)
}

// NearestUnit is the unit whose name or code comes nearest to what was typed;
// false when none comes near.
func NearestUnit(text string) (Unit, bool) {
	if u, ok := findUnit(text); ok {
		return u, true
	}
	name := strings.ToLower(unitName(text))
	best, found := 3, Unit{}
	for _, n := range unitNames {
		d := distance(name, strings.ToLower(n.name))
		if d < best && d < len(name) && d < len(n.name) && (d < 2 || len(name) > 4) {
			best, found = d, n.unit
		}
	}
	return found, best < 3
}

func unknownUnit(text string) error {
	if words, ok := askUnits[strings.ToLower(unitName(text))]; ok {
		return fmt.Errorf("unit %q: %s", clip(text), words)
	}
	near, ok := NearestUnit(text)
	switch {
	case text == "":
		return fmt.Errorf("the unit is missing; write it after the number, as in 12.31 V")
	case ok && strings.EqualFold(text, near.Code) && text != near.Code:
		return fmt.Errorf("unit %q is not known: M is mega, m is milli; did you mean %s?", clip(text), near.Code)
	case ok:
		return fmt.Errorf("unit %q is not known; did you mean %s?", clip(text), near.Code)
	}
	return fmt.Errorf("unit %q is not known; known are V, A, ohm, Hz, %%, deg C, kPa, psi, s, km, rpm and others", clip(text))
}

// findUnit looks a name up: as a code, then with the case of its first letter
// kept, then without regard to case unless that would make milli of mega.
func findUnit(text string) (Unit, bool) {
	if u, ok := unitsByCode[text]; ok {
		return u, true
	}
	name := unitName(text)
	if name == "" {
		return Unit{}, false
	}
	if u, ok := unitsByCode[name]; ok { // µs, now us
		return u, true
	}
	if n, ok := unitsByName[name[:1]+strings.ToLower(name[1:])]; ok {
		return n.unit, true
	}
	if n, ok := unitsByName[strings.ToLower(name)]; ok && !n.cased {
		return n.unit, true
	}
	return Unit{}, false
}

// unitName writes alike what keyboards and habits write differently: µ as u, Ω
// as ohm, ° as deg, hyphens and dots as spaces.
func unitName(text string) string {
	text = norm.NFKC.String(strings.ReplaceAll(text, "º", "°"))
	text = strings.NewReplacer("Ω", "ohm", "ω", "ohm", "°", "deg ", "μ", "u", "⁄", "/",
		"-", " ", "·", " ", "⋅", " ", "*", " ", ".", " ").Replace(text)
	text = strings.Join(strings.Fields(text), " ")
	return strings.NewReplacer(" /", "/", "/ ", "/").Replace(text)
}

// cutUnit reads the unit at the start of text: the longest run of up to three
// words that names one. 'Vdc' and 'VAC' bring their shape.
func cutUnit(text string) (Unit, eventv1.Shape, string, error) {
	text = strings.TrimLeft(text, " ")
	var ends []int
	for i := 1; i <= len(text) && len(ends) < 3; i++ {
		if (i == len(text) || text[i] == ' ') && text[i-1] != ' ' {
			ends = append(ends, i)
		}
	}
	for i := len(ends) - 1; i >= 0; i-- {
		word := strings.TrimRight(text[:ends[i]], ",;")
		if u, ok := findUnit(word); ok && word != "1" { // '12 1' is two numbers
			return u, eventv1.Shape_SHAPE_UNSPECIFIED, text[ends[i]:], nil
		}
		if n := len(word) - 2; i == 0 && n > 0 {
			u, ok := findUnit(word[:n])
			shape := shapeWords[strings.ToLower(word[n:])]
			if ok && shape != eventv1.Shape_SHAPE_UNSPECIFIED && (u.Dim == Voltage || u.Dim == Current) {
				return u, shape, text[ends[i]:], nil
			}
		}
	}
	if len(ends) == 0 {
		return Unit{}, 0, "", unknownUnit("")
	}
	word := strings.TrimRight(text[:ends[0]], ",;")
	if e := strings.ToLower(word); e != "" && e[0] == 'e' && len(e) > 1 && strings.Trim(e[1:], "+-0123456789") == "" {
		return Unit{}, 0, "", fmt.Errorf("exponents are not taken; write the digits out or use a prefix, as in 1.2 k")
	}
	return Unit{}, 0, "", unknownUnit(word)
}

// Value is the quantity in the SI unit of its dimension: 12.3 mV is 0.0123,
// 20 Cel is 293.15. A quantity that is over range has no value (ErrNoNumber);
// the sense (under, over, about) is the caller's to heed.
func Value(q *eventv1.Quantity) (float64, Dimension, error) {
	u, ok := LookupUnit(q.GetUnit())
	if !ok {
		return 0, "", unknownUnit(q.GetUnit())
	}
	x, err := number(q)
	if err != nil {
		return 0, u.Dim, err
	}
	return u.toSI(x), u.Dim, nil
}

// Convert is the quantity's value in another unit of its dimension, given by its
// UCUM code.
func Convert(q *eventv1.Quantity, code string) (float64, error) {
	v, dim, err := Value(q)
	if err != nil {
		return 0, err
	}
	u, ok := LookupUnit(code)
	if !ok {
		return 0, unknownUnit(code)
	}
	if u.Dim != dim {
		return 0, fmt.Errorf("%s is %s and cannot be turned into %s, which is %s", Format(q), dim, u.Symbol, u.Dim)
	}
	if q.GetUnit() == code {
		return number(q)
	}
	return v*u.div/u.mul - u.shift, nil
}

// Resolution is half the last digit shown, in the SI unit: 0.005 for 12.30 V.
func Resolution(q *eventv1.Quantity) (float64, error) {
	u, ok := LookupUnit(q.GetUnit())
	if !ok {
		return 0, unknownUnit(q.GetUnit())
	}
	if _, err := number(q); err != nil {
		return 0, err
	}
	_, frac, _ := strings.Cut(q.GetDigits(), ".")
	return 0.5 / math.Pow10(len(frac)) * u.mul / u.div, nil
}

func number(q *eventv1.Quantity) (float64, error) {
	if q.GetSense() == eventv1.Sense_SENSE_OVER_RANGE {
		return 0, fmt.Errorf("%w: %s is over the instrument's range", ErrNoNumber, Format(q))
	}
	if err := CheckDigits(q.GetDigits()); err != nil {
		return 0, err
	}
	return strconv.ParseFloat(q.GetDigits(), 64)
}

func (u Unit) toSI(x float64) float64 { return (x + u.shift) * u.mul / u.div }

// Format prints a quantity for people: 'under 12.3 V drop', 'OL kΩ'. What it
// prints parses to the same quantity, but for exactly three decimals of km, mi
// or rpm, which are asked about.
func Format(q *eventv1.Quantity) string {
	if q == nil {
		return ""
	}
	symbol := q.GetUnit()
	if u, ok := LookupUnit(symbol); ok {
		symbol = u.Symbol
	}
	text := strings.TrimSpace(q.GetDigits() + " " + symbol)
	switch q.GetSense() {
	case eventv1.Sense_SENSE_UNDER:
		text = "under " + text
	case eventv1.Sense_SENSE_OVER:
		text = "over " + text
	case eventv1.Sense_SENSE_ABOUT:
		text = "about " + text
	case eventv1.Sense_SENSE_OVER_RANGE:
		text = strings.TrimSpace("OL " + symbol)
	}
	switch q.GetShape() {
	case eventv1.Shape_SHAPE_DC:
		text += " dc"
	case eventv1.Shape_SHAPE_AC:
		text += " ac"
	case eventv1.Shape_SHAPE_PEAK:
		text += " peak"
	case eventv1.Shape_SHAPE_DROP:
		text += " drop"
	}
	return text
}

// Nearest is the one of the words that comes nearest to what was typed, both in
// lower case; empty when none comes near.
func Nearest(word string, among []string) string {
	best, found := max(2, len(word)/3+1), ""
	for _, w := range among {
		if d := distance(word, w); d < best && d < len(w) && d < len(word) {
			best, found = d, w
		}
	}
	return found
}

// distance counts the letters to add, drop, change or exchange with their
// neighbour to make b of a.
func distance(a, b string) int {
	var before []int
	row := make([]int, len(b)+1)
	for j := range row {
		row[j] = j
	}
	for i := 1; i <= len(a); i++ {
		next := make([]int, len(b)+1)
		next[0] = i
		for j := 1; j <= len(b); j++ {
			change := row[j-1]
			if a[i-1] != b[j-1] {
				change++
			}
			next[j] = min(change, row[j]+1, next[j-1]+1)
			if i > 1 && j > 1 && a[i-1] == b[j-2] && a[i-2] == b[j-1] {
				next[j] = min(next[j], before[j-2]+1)
			}
		}
		before, row = row, next
	}
	return row[len(b)]
}
