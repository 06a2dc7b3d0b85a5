package notation

import (
	"bytes"
	"math"
	"os"
	"os/exec"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/proto"
	"pgregory.net/rapid"

	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

func TestQuantitiesAsTyped(t *testing.T) {
	t.Parallel()
	const (
		exactly = eventv1.Sense_SENSE_EXACTLY
		under   = eventv1.Sense_SENSE_UNDER
		over    = eventv1.Sense_SENSE_OVER
		about   = eventv1.Sense_SENSE_ABOUT
		beyond  = eventv1.Sense_SENSE_OVER_RANGE
	)
	for _, x := range []struct {
		typed, digits, unit string
		sense               eventv1.Sense
		shape               eventv1.Shape
	}{
		{"12.31V", "12.31", "V", exactly, 0},
		{"12.30 V", "12.30", "V", exactly, 0},
		{"12,31 V", "12.31", "V", exactly, 0},
		{"-0.02 V", "-0.02", "V", exactly, 0},
		{"\u22120,02 volts", "-0.02", "V", exactly, 0},
		{"+5 V", "5", "V", exactly, 0},
		{".5 A", ".5", "A", exactly, 0},
		{"007 V", "007", "V", exactly, 0},
		{"12.31 V, ", "12.31", "V", exactly, 0},
		{"under 0.2 V drop", "0.2", "V", under, eventv1.Shape_SHAPE_DROP},
		{"Below 5 ohms", "5", "Ohm", under, 0},
		{"<5Ω", "5", "Ohm", under, 0},
		{"over 9.6 V", "9.6", "V", over, 0},
		{"more than 9.6 V", "9.6", "V", over, 0},
		{"about 12 V", "12", "V", about, 0},
		{"~12V", "12", "V", about, 0},
		{"14.2 Vdc", "14.2", "V", exactly, eventv1.Shape_SHAPE_DC},
		{"0.1 VAC", "0.1", "V", exactly, eventv1.Shape_SHAPE_AC},
		{"0.1 V ac", "0.1", "V", exactly, eventv1.Shape_SHAPE_AC},
		{"35 A peak", "35", "A", exactly, eventv1.Shape_SHAPE_PEAK},
		{"OL ohm", "", "Ohm", beyond, 0},
		{"ol kohm", "", "kOhm", beyond, 0},
		{"0L MΩ", "", "MOhm", beyond, 0},
		{"O.L V", "", "V", beyond, 0},
		{"0 l", "0", "l", exactly, 0},
		{"4.7k", "4.7", "kOhm", exactly, 0},
		{"4.7 K", "4.7", "kOhm", exactly, 0},
		{"4.7 kohm", "4.7", "kOhm", exactly, 0},
		{"4.7 k\u2126", "4.7", "kOhm", exactly, 0},
		{"47R", "47", "Ohm", exactly, 0},
		{"1 M", "1", "MOhm", exactly, 0},
		{"1 meg", "1", "MOhm", exactly, 0},
		{"5 mohm", "5", "mOhm", exactly, 0},
		{"5 Mohm", "5", "MOhm", exactly, 0},
		{"5 MOHM", "5", "MOhm", exactly, 0},
		{"20 mv", "20", "mV", exactly, 0},
		{"35 ma", "35", "mA", exactly, 0},
		{"35 \u00B5A", "35", "uA", exactly, 0},
		{"35 \u03BCA", "35", "uA", exactly, 0},
		{"35 uA", "35", "uA", exactly, 0},
		{"2.2 kHz", "2.2", "kHz", exactly, 0},
		{"2.2 KHZ", "2.2", "kHz", exactly, 0},
		{"1 MHz", "1", "MHz", exactly, 0},
		{"90 deg C", "90", "Cel", exactly, 0},
		{"90 °C", "90", "Cel", exactly, 0},
		{"90\u2103", "90", "Cel", exactly, 0},
		{"90C", "90", "Cel", exactly, 0},
		{"-40 degF", "-40", "[degF]", exactly, 0},
		{"200F", "200", "[degF]", exactly, 0},
		{"200 °F", "200", "[degF]", exactly, 0},
		{"45 psi", "45", "[psi]", exactly, 0},
		{"250 kPa", "250", "kPa", exactly, 0},
		{"250 kpa", "250", "kPa", exactly, 0},
		{"200 Mpa", "200", "MPa", exactly, 0},
		{"800 rpm", "800", "/min", exactly, 0},
		{"25 ft lb", "25", "[ft_i].[lbf_av]", exactly, 0},
		{"25 ft-lbs", "25", "[ft_i].[lbf_av]", exactly, 0},
		{"40 Nm", "40", "N.m", exactly, 0},
		{"40 N·m", "40", "N.m", exactly, 0},
		{"70 Ah", "70", "A.h", exactly, 0},
		{"70 amp hours", "70", "A.h", exactly, 0},
		{"50%", "50", "%", exactly, 0},
		{"100 us", "100", "us", exactly, 0},
		{"100 \u00B5s", "100", "us", exactly, 0},
		{"10 ms", "10", "ms", exactly, 0},
		{"2 h", "2", "h", exactly, 0},
		{"2 mH", "2", "mH", exactly, 0},
		{"5 m", "5", "m", exactly, 0},
		{"12500 km", "12500", "km", exactly, 0},
		{"12,500 km", "12500", "km", exactly, 0},
		{"12,500 miles", "12500", "[mi_i]", exactly, 0},
		{"12 500 km", "12500", "km", exactly, 0},
		{"12\u202F500 km", "12500", "km", exactly, 0},
		{"12'500 km", "12500", "km", exactly, 0},
		{"123,456 mi", "123456", "[mi_i]", exactly, 0},
		{"12,5 km", "12.5", "km", exactly, 0},
		{"3,000 rpm", "3000", "/min", exactly, 0},
		{"1,234,567 km", "1234567", "km", exactly, 0},
		{"1.234.567 km", "1234567", "km", exactly, 0},
		{"1,234.5 ohm", "1234.5", "Ohm", exactly, 0},
		{"1.234,5 ohm", "1234.5", "Ohm", exactly, 0},
		{"1,234.567 ohm", "1234.567", "Ohm", exactly, 0},
		{"12 500,250 ohm", "12500.250", "Ohm", exactly, 0},
		{"0,500 V", "0.500", "V", exactly, 0},
		{"-0,012 V", "-0.012", "V", exactly, 0},
		{"12345,678 V", "12345.678", "V", exactly, 0},
		{"12.310 V", "12.310", "V", exactly, 0},
		{"5 %", "5", "%", exactly, 0},
		{"1.02 lambda", "1.02", "1", exactly, 0},
	} {
		q, err := ParseQuantity(x.typed)
		require.NoError(t, err, x.typed)
		require.Equal(t, []any{x.digits, x.unit, x.sense, x.shape}, []any{q.Digits, q.Unit, q.Sense, q.Shape}, x.typed)
		if typed := strings.TrimRight(strings.TrimSpace(x.typed), ", "); typed != q.Digits+q.Unit && typed != q.Digits+" "+q.Unit && typed != Format(q) {
			require.Equal(t, typed, q.Said, "what was typed is kept")
		} else {
			require.Empty(t, q.Said)
		}
	}
}

func TestQuantitiesRefused(t *testing.T) {
	t.Parallel()
	for typed, words := range map[string]string{
		"":                        "does not begin with a number",
		"volts":                   "does not begin with a number",
		"12.31":                   "unit is missing",
		"OL":                      "unit is missing",
		"under OL ohm":            "over range",
		"12,310 V":                "write 12310, or 12.310",
		"-12,310 V":               "write -12310, or -12.310",
		"12,500 V":                "two ways",
		"12.500 km":               "write 12500, or 12.5",
		"12.345 km":               "write 12345, or 12.3450",
		"1,23,456 km":             "three digits",
		"1,234,56 km":             "three digits",
		"1.234,567,890 V":         "one kind of mark",
		"1e3 V":                   "exponents",
		"1E-3 V":                  "exponents",
		"0x1F V":                  "unit",
		"NaN V":                   "does not begin",
		"Inf V":                   "does not begin",
		"∞ ohm":                   "does not begin",
		"١٢ V":                    "does not begin",
		"- 5 V":                   "does not begin",
		"--5 V":                   "does not begin",
		"5 - 6 V":                 "unit",
		"12 1 V":                  "unit",
		"12 MV":                   "M is mega, m is milli; did you mean mV?",
		"5 mhz":                   "did you mean MHz?",
		"5 MA":                    "did you mean mA?",
		"5 MM":                    "did you mean mm?",
		"5 vlots":                 "did you mean V?",
		"5 omhs":                  "did you mean Ohm?",
		"5 gal":                   "US or imperial",
		"5 Mil":                   "thousandths",
		"5 wibble":                "not known",
		"12.31 V key on":          `"key on" is left over`,
		"123456789012345678901 V": "at most 20",
		"12.31 V\xff":             "UTF-8",
	} {
		_, err := ParseQuantity(typed)
		require.ErrorContains(t, err, words, typed)
	}
}

func TestCutQuantityLeavesTheRestAsTyped(t *testing.T) {
	t.Parallel()
	for line, rest := range map[string]string{
		"12.31V at bcm.C3-14 to batt\u2212 # he said \u2018brown\u2019": "at bcm.C3-14 to batt\u2212 # he said \u2018brown\u2019",
		"5 m in front":             "in front",
		"5 ft lb at the bolt":      "at the bolt",
		"0.2 V drop at splice S4":  "at splice S4",
		"12 V, key on":             "key on",
		"OL ohm between 30 and 87": "between 30 and 87",
		"12 in":                    "",
	} {
		_, got, err := CutQuantity(line)
		require.NoError(t, err, line)
		require.Equal(t, rest, got)
	}
}

func TestValuesAndResolution(t *testing.T) {
	t.Parallel()
	for typed, want := range map[string]struct {
		value, half float64
		dim         Dimension
	}{
		"12.30 V":     {12.3, 0.005, Voltage},
		"12.3 V":      {12.3, 0.05, Voltage},
		"12300 mV":    {12.3, 0.0005, Voltage},
		"-7 mV":       {-0.007, 0.0005, Voltage},
		"4.7 k":       {4700, 50, Resistance},
		"20 Cel":      {293.15, 0.5, Temperature},
		"-40 [degF]":  {233.15, 5.0 / 18, Temperature},
		"3000 rpm":    {50, 0.5 / 60, Frequency},
		"50 %":        {0.5, 0.005, Ratio},
		"1.5 h":       {5400, 180, Time},
		"470 uF":      {470e-6, 0.5e-6, Capacitance},
		"100 mi":      {160934.4, 804.672, Length},
		"180 deg":     {math.Pi, math.Pi / 360, Angle},
		"under 5 ohm": {5, 0.5, Resistance},
	} {
		q, err := ParseQuantity(typed)
		require.NoError(t, err)
		v, dim, err := Value(q)
		require.NoError(t, err)
		require.InEpsilon(t, want.value, v, 1e-15, typed)
		require.Equal(t, want.dim, dim)
		half, err := Resolution(q)
		require.NoError(t, err)
		require.InEpsilon(t, want.half, half, 1e-12, typed)
	}
	over, err := ParseQuantity("OL ohm")
	require.NoError(t, err)
	_, dim, err := Value(over)
	require.ErrorIs(t, err, ErrNoNumber)
	require.Equal(t, Resistance, dim)
	_, err = Resolution(over)
	require.ErrorIs(t, err, ErrNoNumber)

	volts, err := ParseQuantity("12.3 V")
	require.NoError(t, err)
	_, err = Convert(volts, "Ohm")
	require.ErrorContains(t, err, "cannot be turned into")
	for _, digits := range []string{"", "1e3", "NaN", "Inf", "0x1", "1_0", "1,5", "12.", "--1", "+1", " 1", "１"} {
		_, _, err := Value(&eventv1.Quantity{Digits: digits, Unit: "V"})
		require.Error(t, err, digits)
	}
	_, _, err = Value(nil)
	require.Error(t, err)
	require.Empty(t, Format(nil))
}

// Nobody may find one name meaning two units.
func TestEachNameMeansOneUnit(t *testing.T) {
	t.Parallel()
	seen := make(map[string]string)
	for _, n := range unitNames {
		if code, ok := seen[n.name]; ok {
			require.Equal(t, code, n.unit.Code, "%q", n.name)
		}
		seen[n.name] = n.unit.Code
		u, err := ParseUnit(n.name)
		require.NoError(t, err, n.name)
		require.Equal(t, n.unit.Code, u.Code, "%q", n.name)
		if n.unit.Code != "1" {
			u, err = ParseUnit(n.unit.Code)
			require.NoError(t, err)
			require.Equal(t, n.unit.Code, u.Code)
		}
		u, err = ParseUnit(n.unit.Symbol)
		require.NoError(t, err, "what is printed is understood")
		require.Equal(t, n.unit.Code, u.Code, n.unit.Symbol)
		require.NotEmpty(t, u.Dim.SI(), u.Dim)
	}
}

func codes() []string {
	var out []string
	for code := range unitsByCode {
		out = append(out, code)
	}
	slices.Sort(out)
	return out
}

func TestWhatIsPrintedIsUnderstood(t *testing.T) {
	t.Parallel()
	digits := rapid.StringMatching(`-?(0|[1-9][0-9]{0,5})(\.([0-9]{1,2}|[0-9]{4,6}))?`)
	rapid.Check(t, func(t *rapid.T) {
		q := &eventv1.Quantity{
			Digits: digits.Draw(t, "digits"),
			Unit:   rapid.SampledFrom(codes()).Draw(t, "unit"),
			Sense:  eventv1.Sense(rapid.IntRange(1, 5).Draw(t, "sense")),
			Shape:  eventv1.Shape(rapid.IntRange(0, 4).Draw(t, "shape")),
		}
		if q.Sense == eventv1.Sense_SENSE_OVER_RANGE {
			q.Digits = ""
		}
		got, err := ParseQuantity(Format(q))
		require.NoError(t, err)
		require.True(t, proto.Equal(q, got), "%v, %v", q, got)
	})
}

// Figures printed by GNU units; the table names its source.
func TestConversionsAsRecorded(t *testing.T) {
	t.Parallel()
	inputs := map[string]struct{ typed, code string }{
		"psi kPa": {"1 psi", "kPa"}, "100 kPa psi": {"100 kPa", "[psi]"}, "bar psi": {"1 bar", "[psi]"}, "inHg kPa": {"1 inHg", "kPa"},
		"lbf ft N m": {"1 ft lb", "N.m"}, "N m lbf ft": {"1 Nm", "[ft_i].[lbf_av]"}, "lbf in N m": {"1 in lb", "N.m"},
		"mile km": {"1 mile", "km"}, "km mile": {"1 km", "[mi_i]"}, "inch mm": {"1 inch", "mm"}, "mil mm": {"1 thou", "mm"}, "ft m": {"1 ft", "m"},
		"usgallon L": {"1 us gal", "l"}, "lb kg": {"1 lb", "kg"}, "hp W": {"1 hp", "W"},
		"tempF(32) tempC": {"32 °F", "Cel"}, "tempF(212) tempC": {"212 °F", "Cel"}, "tempC(90) tempF": {"90 °C", "[degF]"}, "tempF(-40) tempC": {"-40 °F", "Cel"},
		// Here rpm are revolutions; the row with 'rpm' below shows the trap.
		"3000 revolution/min revolution/s": {"3000 rpm", "Hz"},
	}
	done := 0
	for _, row := range published(t, "units_conversions.csv") {
		in, ok := inputs[row["from"]+" "+row["to"]]
		if !ok {
			continue
		}
		done++
		q, err := ParseQuantity(in.typed)
		require.NoError(t, err)
		got, err := Convert(q, in.code)
		require.NoError(t, err)
		want, err := strconv.ParseFloat(row["value"], 64)
		require.NoError(t, err)
		require.InDelta(t, want, got, 1e-11*max(1, math.Abs(want)), "%v", row)
	}
	require.Equal(t, len(inputs), done)
}

// gnuNames is each unit of the table for GNU units.
var gnuNames = map[string]string{
	"Ohm": "ohm", "/min": "revolution/min", "%": "percent", "1": "1", "[ppm]": "ppm", "[psi]": "psi", "[in_i'Hg]": "inHg", "mm[Hg]": "mmHg",
	"[in_i'H2O]": "inH2O", "h": "hour", "d": "day", "[mi_i]": "mile", "[in_i]": "inch", "[ft_i]": "foot", "[mil_i]": "mil",
	"mm2": "mm^2", "cm3": "cm^3", "[gal_us]": "usgallon", "[gal_br]": "brgallon", "[lb_av]": "lb", "km/h": "km/hour", "[mi_i]/h": "mile/hour", "l/h": "l/hour",
	"kg/h": "kg/hour", "[lbf_av]": "lbf", "N.m": "N m", "[ft_i].[lbf_av]": "foot lbf", "[in_i].[lbf_av]": "inch lbf", "[HP]": "hp", "W.h": "W hour", "A.h": "A hour",
	"deg": "degree",
}

var gnuSI = map[Dimension]string{
	Resistance: "ohm", Conductance: "siemens", Area: "m^2", Volume: "m^3", Flow: "m^3/s", Torque: "N m", Angle: "radian",
}

// The whole table against GNU units, run live. Two traps there: rpm is an angular
// speed (3000 rpm are 314 'Hz'), and h is Planck's constant.
func TestUnitsAgainstGNUUnits(t *testing.T) {
	t.Parallel()
	path, err := exec.LookPath("units")
	if err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatal("the program units is missing: apt-get install units")
		}
		t.Skip("install the package 'units' to hold the table of units against GNU units; the recorded figures were checked instead")
	}
	var in bytes.Buffer
	var want []func(gnu float64)
	ask := func(from, to string, compare func(gnu float64)) {
		in.WriteString(from + "\n" + to + "\n")
		want = append(want, compare)
	}
	ask("3000 rpm", "Hz", func(x float64) { require.InEpsilon(t, 314.159265358979, x, 1e-12, "the trap is still there") })
	ask("h", "J s", func(x float64) { require.InEpsilon(t, 6.62607015e-34, x, 1e-9, "the trap is still there") })
	for _, code := range codes() {
		u := unitsByCode[code]
		if u.Dim == Temperature {
			name := map[string]string{"Cel": "tempC", "[degF]": "tempF"}[code]
			for _, x := range []string{"-40", "0", "36.6", "90", "212"} {
				v, _, err := Value(&eventv1.Quantity{Digits: x, Unit: code})
				require.NoError(t, err)
				ask(name+"("+x+")", "K", func(gnu float64) { require.InEpsilon(t, gnu, v, 1e-14, "%s %s", x, code) })
			}
			continue
		}
		to := gnuSI[u.Dim]
		if to == "" {
			to = u.Dim.SI()
		}
		if code == "/min" {
			to = "revolution/s"
		}
		ask(gnuName(code), to, func(gnu float64) { require.InEpsilon(t, gnu, u.toSI(1), 1e-13, code) })
	}
	program := exec.Command(path, "-q", "-t", "-o", "%.17g")
	program.Stdin = &in
	out, err := program.Output()
	require.NoError(t, err)
	lines := strings.Fields(string(out))
	require.Len(t, lines, len(want), "%s", out)
	for i, compare := range want {
		compare(parse(t, lines[i]))
	}
}

// gnuName is what GNU units calls a unit given by its UCUM code.
func gnuName(code string) string {
	if name := gnuNames[code]; name != "" {
		return name
	}
	for _, p := range prefixes {
		if base, ok := strings.CutPrefix(code, p.letter); ok && gnuNames[base] != "" {
			return p.word + gnuNames[base]
		}
	}
	return code
}

func parse(t *testing.T, s string) float64 {
	t.Helper()
	x, err := strconv.ParseFloat(s, 64)
	require.NoError(t, err)
	return x
}

func FuzzParseQuantity(f *testing.F) {
	for _, s := range []string{"12.31V", "under 0,2 V drop", "12,500 km", "OL kohm", "25 ft-lb", "-40 °F", "1.234.567 mi", "1e5 V", "4.7k # note"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		q, rest, err := CutQuantity(s)
		if err != nil {
			return
		}
		require.True(t, strings.HasSuffix(strings.TrimSpace(s), rest))
		if q.Sense == eventv1.Sense_SENSE_OVER_RANGE {
			require.Empty(t, q.Digits)
		} else {
			require.NoError(t, CheckDigits(q.Digits))
			v, _, err := Value(q)
			require.NoError(t, err)
			require.False(t, math.IsNaN(v) || math.IsInf(v, 0))
		}
		again, err := ParseQuantity(Format(q))
		if _, frac, _ := strings.Cut(q.Digits, "."); len(frac) == 3 && unitsByCode[q.Unit].whole {
			return
		}
		require.NoError(t, err)
		q.Said, again.Said = "", ""
		require.True(t, proto.Equal(q, again), "%q: %v, %v", s, q, again)
	})
}

func TestOhmsAsWritten(t *testing.T) {
	t.Parallel()
	for text, unit := range map[string]string{"10M ohm": "MOhm", "4.7k ohm": "kOhm", "4.7 K ohms": "kOhm", "5 m ohm": "mOhm", "2 meg ohms": "MOhm"} {
		q, err := ParseQuantity(text)
		require.NoError(t, err, text)
		require.Equal(t, unit, q.GetUnit(), text)
	}
}
