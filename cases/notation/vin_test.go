package notation

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"
)

// 49 CFR 565.15; the tables name their sources.
func TestVINsAsPublished(t *testing.T) {
	t.Parallel()
	for _, row := range published(t, "vin_examples.csv") {
		v, err := ParseVIN(row["vin"])
		require.NoError(t, err)
		require.Equal(t, row["valid"] == "True", v.Fits(), "%v", row)
		require.Equal(t, row["check"], string(v.Check), "%v", row)
	}
	values := 0
	for r := rune(0); r < 128; r++ {
		for _, row := range published(t, "vin_translit.csv") {
			if row["char"] == string(r) {
				values++
				require.Equal(t, row["value"], string(rune('0'+vinValue(r))), string(r))
			}
		}
	}
	require.Equal(t, 33, values)
	for _, r := range "IOQ" {
		require.Negative(t, vinValue(r))
	}
}

func TestVINModelYears(t *testing.T) {
	t.Parallel()
	rows := published(t, "vin_model_year.csv")
	require.Len(t, rows, 30)
	for _, row := range rows {
		digit := VIN{Text: "1G4AH5914" + row["code"] + "G118341"}
		letter := VIN{Text: "1G4AH5H14" + row["code"] + "G118341"}
		first, second := digit.ModelYears(false)[0], digit.ModelYears(false)[1]
		require.Equal(t, []string{row["year_1980_cycle"], row["year_2010_cycle"]}, []string{itoa(first), itoa(second)})
		require.Equal(t, []int{first, second}, letter.ModelYears(false), "not light: both are possible")
		require.Equal(t, []int{first}, digit.ModelYears(true))
		require.Equal(t, []int{second}, letter.ModelYears(true))
	}
	for _, code := range "UZ0" {
		require.Empty(t, VIN{Text: "1G4AH5914" + string(code) + "G118341"}.ModelYears(false))
	}
}

func itoa(n int) string {
	return string([]byte{byte('0' + n/1000), byte('0' + n/100%10), byte('0' + n/10%10), byte('0' + n%10)})
}

func TestVINsRefusedAndDoubted(t *testing.T) {
	t.Parallel()
	for vin, words := range map[string]string{
		"1G4AH59H45G11834":   "has 16 characters",
		"1G4AH59H45G1183411": "has 18 characters",
		"1G4AH59H45G11834I":  "is it 1?",
		"1G4AH59H45G11834o":  "is it 0?",
		"1G4AH59H45G11834Q":  "which no VIN has",
		"1G4AH59H45G11834É":  "a VIN has the digits and the letters",
		"1G4AH59H45G1183_1":  "a VIN has the digits and the letters",
		"":                   "has 0 characters",
	} {
		_, err := ParseVIN(vin)
		require.ErrorContains(t, err, words, vin)
	}
	v, err := ParseVIN(" 1g4ah59h4-5g118341 ")
	require.NoError(t, err)
	require.Equal(t, "1G4AH59H45G118341", v.Text)
	severity, words := v.Doubt()
	require.Equal(t, Fine, severity)
	require.Empty(t, words)

	for vin, want := range map[string]Severity{
		"1G4AH59H55G118341": Error,   // United States
		"2G4AH59H55G118341": Error,   // Canada
		"3G4AH59H05G118341": Error,   // Mexico
		"WG4AH59H45G118341": Warning, // Europe, where none need be given
		"JG4AH59H95G118341": Warning,
		"5G4AH59H45G118341": Error,   // United States, too
		"6G4AH59H45G118341": Warning, // Oceania
	} {
		v, err := ParseVIN(vin)
		require.NoError(t, err)
		severity, words := v.Doubt()
		require.Equal(t, want, severity, vin)
		require.Contains(t, words, string(v.Check))
	}
}

// By 49 CFR 565.15 any one character changed to one of another value, but in
// place 9, gives another check digit: weights and 11 have no common divisor.
func TestOneWrongCharacterIsNoticed(t *testing.T) {
	t.Parallel()
	characters := rapid.SampledFrom([]rune("0123456789ABCDEFGHJKLMNPRSTUVWXYZ"))
	rapid.Check(t, func(t *rapid.T) {
		text := rapid.StringOfN(characters, 17, 17, -1).Draw(t, "vin")
		v, err := ParseVIN(text)
		require.NoError(t, err)
		right := text[:8] + string(v.Check) + text[9:]
		v, err = ParseVIN(right)
		require.NoError(t, err)
		require.True(t, v.Fits())
		at := rapid.IntRange(0, 16).Filter(func(i int) bool { return i != 8 }).Draw(t, "place")
		other := characters.Draw(t, "other")
		if (vinValue(rune(right[at]))-vinValue(other))%11 == 0 {
			return
		}
		v, err = ParseVIN(right[:at] + string(other) + right[at+1:])
		require.NoError(t, err)
		require.False(t, v.Fits())
	})
}

func FuzzParseVIN(f *testing.F) {
	f.Add("1G4AH59H45G118341")
	f.Add("1M8GDM9AXKP042788")
	f.Add("11111111111111111")
	f.Fuzz(func(t *testing.T, s string) {
		v, err := ParseVIN(s)
		if err != nil {
			return
		}
		require.Len(t, v.Text, 17)
		require.False(t, strings.ContainsAny(v.Text, "IOQ"))
		again, err := ParseVIN(v.Text)
		require.NoError(t, err)
		require.Equal(t, v, again)
		v.Doubt()
		v.ModelYears(true)
	})
}
