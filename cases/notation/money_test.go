package notation

import (
	"math"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/proto"
	"pgregory.net/rapid"

	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// ISO 4217 list one; the table names its source.
func TestMinorUnitsAsPublished(t *testing.T) {
	t.Parallel()
	listed := make(map[string]bool)
	for _, row := range published(t, "iso4217_minor_units.csv") {
		code := row["code"]
		listed[code] = true
		digits, err := MinorDigits(code)
		if row["minor_units"] == "N.A." {
			require.ErrorContains(t, err, "no minor unit", code)
			continue
		}
		require.NoError(t, err, code)
		require.Equal(t, row["minor_units"], strconv.Itoa(digits), code)
	}
	for code := range currencies {
		require.True(t, listed[code], "%s is not in the list", code)
	}
	for _, code := range []string{"", "eur", "EU", "EURO", "ZZZ", "U X", "XAU XAG"} {
		_, err := MinorDigits(code)
		require.Error(t, err, code)
	}
}

func TestMoneyAsTyped(t *testing.T) {
	t.Parallel()
	for typed, want := range map[string]string{
		"12.50 EUR":                "12.50 EUR",
		"EUR 12,50":                "12.50 EUR",
		"eur12.5":                  "12.50 EUR",
		"12 EUR":                   "12.00 EUR",
		".5 EUR":                   "0.50 EUR",
		"1250 JPY":                 "1250 JPY",
		"1,250 JPY":                "1250 JPY",
		"1,250 EUR":                "1250.00 EUR",
		"1 250 EUR":                "1250.00 EUR",
		"1'250.50 CHF":             "1250.50 CHF",
		"1.250,50 EUR":             "1250.50 EUR",
		"1,250.50 USD":             "1250.50 USD",
		"0.005 KWD":                "0.005 KWD",
		"1,2 KWD":                  "1.200 KWD",
		"0.0001 CLF":               "0.0001 CLF",
		"-3 EUR":                   "-3.00 EUR",
		"92233720368547758.07 EUR": "92233720368547758.07 EUR",
	} {
		m, err := ParseMoney(typed)
		require.NoError(t, err, typed)
		require.Equal(t, want, FormatMoney(m), typed)
	}
	m, err := ParseMoneyIn("120", "EUR")
	require.NoError(t, err)
	require.Equal(t, int64(12000), m.Minor)
	m, err = ParseMoneyIn("120 JPY", "EUR")
	require.NoError(t, err)
	require.Equal(t, "120 JPY", FormatMoney(m))

	for typed, words := range map[string]string{
		"":                         "no currency",
		"12.50":                    "no currency",
		"EUR":                      "not an amount",
		"12.505 EUR":               "two ways",
		"1.250 EUR":                "two ways",
		"12.5055 EUR":              "has 4 decimals; EUR has 2",
		"1250.00 JPY":              "has 2 decimals; JPY has 0",
		"1,250 KWD":                "write 1250, or 1.250",
		"12,34,56 EUR":             "three digits",
		"1 XAU":                    "no minor unit",
		"1 XXX":                    "no minor unit",
		"1 ZZZ":                    "not a currency",
		"EUR 12 USD":               "on both sides",
		"k0YD":                     "on both sides",
		"EUR 12 13":                "not an amount",
		"1e3 EUR":                  "not a",
		"92233720368547758.08 EUR": "more money",
		"99999999999999999999 EUR": "more money",
	} {
		_, err := ParseMoney(typed)
		require.ErrorContains(t, err, words, typed)
	}
}

func TestSumsOfMoney(t *testing.T) {
	t.Parallel()
	eur := func(minor int64) *eventv1.Money { return &eventv1.Money{Minor: minor, Currency: "EUR"} }
	sum, err := SumMoney(nil, eur(1250), nil, eur(-50))
	require.NoError(t, err)
	require.Equal(t, "12.00 EUR", FormatMoney(sum))
	sum, err = SumMoney()
	require.NoError(t, err)
	require.Nil(t, sum)
	_, err = SumMoney(eur(1), &eventv1.Money{Minor: 1, Currency: "USD"})
	require.ErrorContains(t, err, "different currencies")
	for _, pair := range [][2]int64{{math.MaxInt64, 1}, {math.MinInt64, -1}, {math.MinInt64, math.MinInt64}, {math.MaxInt64, math.MaxInt64}} {
		_, err = SumMoney(eur(pair[0]), eur(pair[1]))
		require.ErrorIs(t, err, ErrTooMuch)
	}
	sum, err = SumMoney(eur(math.MaxInt64), eur(math.MinInt64))
	require.NoError(t, err)
	require.Equal(t, "-0.01 EUR", FormatMoney(sum))
	require.Equal(t, "-92233720368547758.08 EUR", FormatMoney(eur(math.MinInt64)))
	require.Empty(t, FormatMoney(nil))
}

func TestMoneyPrintedIsUnderstood(t *testing.T) {
	t.Parallel()
	var all []string
	for code := range currencies {
		all = append(all, code)
	}
	slices.Sort(all)
	rapid.Check(t, func(t *rapid.T) {
		m := &eventv1.Money{Minor: rapid.Int64Range(-math.MaxInt64, math.MaxInt64).Draw(t, "minor"), Currency: rapid.SampledFrom(all).Draw(t, "currency")}
		got, err := ParseMoney(FormatMoney(m))
		require.NoError(t, err)
		require.True(t, proto.Equal(m, got))
	})
}

func FuzzParseMoney(f *testing.F) {
	for _, s := range []string{"12.50 EUR", "EUR 12,50", "1,250 KWD", "-0.05 usd", "1'250 CHF"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		m, err := ParseMoney(s)
		if err != nil {
			return
		}
		again, err := ParseMoney(FormatMoney(m))
		require.NoError(t, err)
		require.True(t, proto.Equal(m, again))
		require.True(t, strings.Contains(strings.ToUpper(s), m.Currency))
	})
}

func TestMoneyAsWritten(t *testing.T) {
	t.Parallel()
	for text, want := range map[string]int64{"240 €": 24000, "€ 12,50": 1250, "240 euros": 24000, "1 Euro": 100} {
		m, err := ParseMoney(text)
		require.NoError(t, err, text)
		require.Equal(t, want, m.GetMinor(), text)
		require.Equal(t, "EUR", m.GetCurrency(), text)
	}
	for _, text := range []string{"240 $", "12 pounds", "240 €€", "€ 1 EUR"} {
		_, err := ParseMoney(text)
		require.Error(t, err, text)
	}
}
