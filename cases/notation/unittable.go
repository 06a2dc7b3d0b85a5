package notation

import "strings"

// family is a unit and its prefixed forms. short names take prefix letters, long
// ones prefix words; alone holds what is typed for the unprefixed unit only.
// All names are lower case but for a first letter whose case counts.
type family struct {
	code, symbol         string
	dim                  Dimension
	shift, mul, div      float64
	prefixes             string
	short, long, alone   string // separated by commas
	whole, unprefixedOff bool
}

// Factors are exact by definition (NIST SP 811, appendix B) unless noted: inch
// 0.0254 m, foot 0.3048 m, mile 1609.344 m, pound 0.45359237 kg, standard
// gravity 9.80665 m/s2, US gallon 231 cubic inches, UK gallon 4.54609 l; column
// of mercury 13595.1 kg/m3 and of water 1000 kg/m3 (conventional); horsepower
// 550 foot pounds a second.
const (
	inch      = 0.0254
	foot      = 0.3048
	mile      = 1609.344
	pound     = 0.45359237
	gravity   = 9.80665
	poundF    = pound * gravity
	gallonUS  = 231 * inch * inch * inch
	gallonUK  = 4.54609e-3
	mercury   = 13595.1 * gravity
	water     = 1000 * gravity
	halfTurn  = 3.14159265358979323846
	millionth = 1e-6
)

var families = []family{
	{code: "V", symbol: "V", dim: Voltage, prefixes: "umk", short: "v", long: "volt,volts"},
	{code: "A", symbol: "A", dim: Current, prefixes: "num", short: "a", long: "amp,amps,ampere,amperes"},
	{code: "Ohm", symbol: "Ω", dim: Resistance, prefixes: "umkMG", short: "ohm,ohms", alone: "R"},
	{code: "S", symbol: "S", dim: Conductance, prefixes: "um", long: "siemens"},
	{code: "Hz", symbol: "Hz", dim: Frequency, prefixes: "kMG", short: "hz", long: "hertz"},
	{code: "/min", symbol: "rpm", dim: Frequency, div: 60, whole: true, alone: "rpm,rev/min,revs/min,r/min,1/min,u/min"},
	{code: "%", symbol: "%", dim: Ratio, div: 100, alone: "percent,per cent,pct,% duty"},
	{code: "1", symbol: "ratio", dim: Ratio, alone: "ratio,lambda"},
	{code: "[ppm]", symbol: "ppm", dim: Ratio, div: 1e6, alone: "ppm"},
	{code: "Cel", symbol: "°C", dim: Temperature, shift: 273.15, alone: "c,deg c,degc,celsius,deg celsius,degrees c,degree c,degrees celsius"},
	{code: "[degF]", symbol: "°F", dim: Temperature, shift: 459.67, mul: 5, div: 9, alone: "f,deg f,degf,fahrenheit,deg fahrenheit,degrees f,degree f,degrees fahrenheit"},
	{code: "Pa", symbol: "Pa", dim: Pressure, prefixes: "hkM", short: "pa", long: "pascal,pascals"},
	{code: "bar", symbol: "bar", dim: Pressure, mul: 1e5, prefixes: "m", short: "bar", alone: "bars"},
	{code: "[psi]", symbol: "psi", dim: Pressure, mul: poundF / (inch * inch), alone: "psi,psig,lb/in2,lbs/in2"},
	{code: "[in_i'Hg]", symbol: "inHg", dim: Pressure, mul: mercury * inch, alone: "in hg,inhg,inches hg,inches of mercury"},
	{code: "mm[Hg]", symbol: "mmHg", dim: Pressure, mul: mercury / 1000, alone: "mm hg,mmhg"},
	{code: "[in_i'H2O]", symbol: "inH2O", dim: Pressure, mul: water * inch, alone: "in h2o,inh2o,inches h2o,inches of water"},
	{code: "s", symbol: "s", dim: Time, prefixes: "num", short: "s", long: "second,seconds", alone: "sec,secs,msec:m,usec:u"},
	{code: "min", symbol: "min", dim: Time, mul: 60, alone: "min,mins,minute,minutes"},
	{code: "h", symbol: "h", dim: Time, mul: 3600, alone: "h,hr,hrs,hour,hours"},
	{code: "d", symbol: "d", dim: Time, mul: 86400, alone: "d,day,days"},
	{code: "m", symbol: "m", dim: Length, prefixes: "umc", short: "m", long: "metre,metres,meter,meters"},
	{code: "km", symbol: "km", dim: Length, mul: 1000, whole: true, alone: "km,kms,kilometre,kilometres,kilometer,kilometers"},
	{code: "[mi_i]", symbol: "mi", dim: Length, mul: mile, whole: true, alone: "mi,mile,miles"},
	{code: "[in_i]", symbol: "in", dim: Length, mul: inch, alone: "in,inch,inches"},
	{code: "[ft_i]", symbol: "ft", dim: Length, mul: foot, alone: "ft,foot,feet"},
	{code: "[mil_i]", symbol: "thou", dim: Length, mul: inch / 1000, alone: "thou,thousandths"},
	{code: "mm2", symbol: "mm²", dim: Area, mul: millionth, alone: "mm2,sq mm"},
	{code: "l", symbol: "l", dim: Volume, div: 1000, prefixes: "m", short: "l", long: "litre,litres,liter,liters"},
	{code: "cm3", symbol: "cm³", dim: Volume, mul: millionth, alone: "cm3,cc,ccm"},
	{code: "[gal_us]", symbol: "US gal", dim: Volume, mul: gallonUS, alone: "us gal,us gallon,us gallons,gal us"},
	{code: "[gal_br]", symbol: "imp gal", dim: Volume, mul: gallonUK, alone: "imp gal,imperial gallon,imperial gallons,uk gal"},
	{code: "g", symbol: "g", dim: Mass, div: 1000, prefixes: "mk", short: "g", long: "gram,grams"},
	{code: "[lb_av]", symbol: "lb", dim: Mass, mul: pound, alone: "lb,lbs,pound,pounds"},
	{code: "km/h", symbol: "km/h", dim: Speed, mul: 1000, div: 3600, alone: "km/h,kph,kmh,km/hr"},
	{code: "[mi_i]/h", symbol: "mph", dim: Speed, mul: mile, div: 3600, alone: "mph,mi/h,miles per hour"},
	{code: "m/s", symbol: "m/s", dim: Speed, alone: "m/s"},
	{code: "l/min", symbol: "l/min", dim: Flow, div: 60000, alone: "l/min,lpm"},
	{code: "l/h", symbol: "l/h", dim: Flow, div: 3600000, alone: "l/h,lph,l/hr"},
	{code: "g/s", symbol: "g/s", dim: MassFlow, div: 1000, alone: "g/s,g/sec"},
	{code: "kg/h", symbol: "kg/h", dim: MassFlow, div: 3600, alone: "kg/h,kg/hr"},
	{code: "N", symbol: "N", dim: Force, prefixes: "k", short: "n", long: "newton,newtons"},
	{code: "[lbf_av]", symbol: "lbf", dim: Force, mul: poundF, alone: "lbf"},
	{code: "N.m", symbol: "N·m", dim: Torque, alone: "n m,nm,newton metre,newton metres,newton meters"},
	{code: "[ft_i].[lbf_av]", symbol: "ft lb", dim: Torque, mul: foot * poundF, alone: "ft lb,ft lbs,lb ft,lbs ft,ft lbf,lbf ft,foot pound,foot pounds,ftlb,ftlbs,lbft"},
	{code: "[in_i].[lbf_av]", symbol: "in lb", dim: Torque, mul: inch * poundF, alone: "in lb,in lbs,lb in,in lbf,lbf in,inch pound,inch pounds,inlb,inlbs"},
	{code: "W", symbol: "W", dim: Power, prefixes: "mkM", short: "w", long: "watt,watts"},
	{code: "[HP]", symbol: "hp", dim: Power, mul: 550 * foot * poundF, alone: "hp,horsepower"},
	{code: "J", symbol: "J", dim: Energy, prefixes: "mk", short: "j", long: "joule,joules"},
	{code: "W.h", symbol: "Wh", dim: Energy, mul: 3600, prefixes: "k", short: "wh,w h", long: "watt hour,watt hours"},
	{code: "A.h", symbol: "Ah", dim: Charge, mul: 3600, prefixes: "m", short: "ah,a h", long: "amp hour,amp hours,ampere hour,ampere hours"},
	{code: "F", symbol: "F", dim: Capacitance, prefixes: "pnum", short: "f,fd", long: "farad,farads", unprefixedOff: true},
	{code: "H", symbol: "H", dim: Inductance, prefixes: "um", short: "H", long: "henry,henries,henrys"},
	{code: "deg", symbol: "°", dim: Angle, mul: halfTurn, div: 180, alone: "deg,degree,degrees"},
}

// shortHand is what is typed for a prefixed unit without naming it.
var shortHand = []struct{ typed, code string }{
	{"k", "kOhm"}, {"K", "kOhm"}, {"M", "MOhm"}, {"meg", "MOhm"}, {"megs", "MOhm"}, {"megohm", "MOhm"}, {"megohms", "MOhm"},
	{"k ohm", "kOhm"}, {"k ohms", "kOhm"}, {"K ohm", "kOhm"}, {"K ohms", "kOhm"}, {"kilo ohm", "kOhm"}, {"kilo ohms", "kOhm"},
	{"M ohm", "MOhm"}, {"M ohms", "MOhm"}, {"meg ohm", "MOhm"}, {"meg ohms", "MOhm"}, {"m ohm", "mOhm"}, {"m ohms", "mOhm"},
}

// askUnits are names that mean different things to different people.
var askUnits = map[string]string{
	"gal": "US or imperial? write us gal or imp gal", "gals": "US or imperial? write us gal or imp gal",
	"gallon": "US or imperial? write us gal or imp gal", "gallons": "US or imperial? write us gal or imp gal",
	"kelvin": "write deg C", "mil": "miles or thousandths of an inch? write mi or thou",
	"mils": "miles or thousandths of an inch? write mi or thou",
}

type prefix struct {
	letter, symbol, word string
	mul, div             float64
}

var prefixes = []prefix{
	{"p", "p", "pico", 1, 1e12}, {"n", "n", "nano", 1, 1e9}, {"u", "µ", "micro", 1, 1e6},
	{"m", "m", "milli", 1, 1e3}, {"c", "c", "centi", 1, 1e2}, {"h", "h", "hecto", 1e2, 1},
	{"k", "k", "kilo", 1e3, 1}, {"M", "M", "mega", 1e6, 1}, {"G", "G", "giga", 1e9, 1},
}

type unitEntry struct {
	name  string
	unit  Unit
	cased bool // the m of milli: not to be had by typing M
}

var (
	unitNames   = listUnits()
	unitsByName = indexNames(unitNames)
	unitsByCode = indexCodes(unitNames)
)

func listUnits() []unitEntry {
	var out []unitEntry
	for _, f := range families {
		base := Unit{Code: f.code, Symbol: f.symbol, Dim: f.dim, shift: f.shift, mul: orOne(f.mul), div: orOne(f.div), whole: f.whole}
		if !f.unprefixedOff {
			for _, name := range names(f.short, f.long, f.alone) {
				if plain, letter, ok := strings.Cut(name, ":"); ok {
					out = append(out, unitEntry{name: plain, unit: prefixed(base, letter)})
					continue
				}
				out = append(out, unitEntry{name: name, unit: base})
			}
		}
		for _, letter := range f.prefixes {
			u := prefixed(base, string(letter))
			for _, p := range prefixes {
				if p.letter != string(letter) {
					continue
				}
				for _, name := range names(f.short) {
					out = append(out, unitEntry{name: p.letter + strings.ToLower(name), unit: u, cased: p.letter == "m"})
				}
				for _, name := range names(f.long) {
					out = append(out, unitEntry{name: p.word + name, unit: u})
				}
			}
		}
	}
	byCode := indexCodes(out)
	for _, h := range shortHand {
		out = append(out, unitEntry{name: h.typed, unit: byCode[h.code]})
	}
	return out
}

func prefixed(u Unit, letter string) Unit {
	for _, p := range prefixes {
		if p.letter == letter {
			u.Code, u.Symbol, u.mul, u.div = p.letter+u.Code, p.symbol+u.Symbol, u.mul*p.mul, u.div*p.div
		}
	}
	return u
}

func names(lists ...string) []string {
	var out []string
	for _, l := range lists {
		if l != "" {
			out = append(out, strings.Split(l, ",")...)
		}
	}
	return out
}

func orOne(x float64) float64 {
	if x == 0 {
		return 1
	}
	return x
}

func indexNames(list []unitEntry) map[string]unitEntry {
	out := make(map[string]unitEntry, len(list))
	for _, e := range list {
		if _, taken := out[e.name]; !taken {
			out[e.name] = e
		}
	}
	return out
}

func indexCodes(list []unitEntry) map[string]Unit {
	out := make(map[string]Unit, len(list))
	for _, e := range list {
		out[e.unit.Code] = e.unit
	}
	return out
}
