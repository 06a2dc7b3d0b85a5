package notation

import (
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"

	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// Alphabetic codes of ISO 4217 by their number of minor-unit digits. Codes that
// the list gives no minor unit (metals, funds, testing) are refused.
const (
	noDigits    = "BIF CLP DJF GNF ISK JPY KMF KRW PYG RWF UGX UYI VND VUV XAF XOF XPF"
	threeDigits = "BHD IQD JOD KWD LYD OMR TND"
	fourDigits  = "CLF UYW"
	twoDigits   = "AED AFN ALL AMD ANG AOA ARS AUD AWG AZN BAM BBD BDT BGN BMD BND BOB BOV BRL BSD BTN BWP BYN BZD " +
		"CAD CDF CHE CHF CHW CNY COP COU CRC CUC CUP CVE CZK DKK DOP DZD EGP ERN ETB EUR FJD FKP GBP GEL GHS GIP GMD " +
		"GTQ GYD HKD HNL HTG HUF IDR ILS INR IRR JMD KES KGS KHR KPW KYD KZT LAK LBP LKR LRD LSL MAD MDL MGA MKD MMK " +
		"MNT MOP MRU MUR MVR MWK MXN MXV MYR MZN NAD NGN NIO NOK NPR NZD PAB PEN PGK PHP PKR PLN QAR RON RSD RUB SAR " +
		"SBD SCR SDG SEK SGD SHP SLE SOS SRD SSP STN SVC SYP SZL THB TJS TMT TOP TRY TTD TWD TZS UAH USD USN UYU UZS " +
		"VED VES WST XCD YER ZAR ZMW ZWG"
	notMoney = "XAG XAU XBA XBB XBC XBD XDR XPD XPT XSU XTS XUA XXX"
)

var currencies = indexCurrencies()

func indexCurrencies() map[string]int {
	out := make(map[string]int)
	for digits, codes := range []string{noDigits, "", twoDigits, threeDigits, fourDigits} {
		for _, c := range strings.Fields(codes) {
			out[c] = digits
		}
	}
	return out
}

// ErrTooMuch: a sum of money does not fit.
var ErrTooMuch = errors.New("more money than can be counted")

// MinorDigits is how many digits the minor unit of an ISO 4217 currency has: 2
// for EUR, 0 for JPY, 3 for KWD.
func MinorDigits(currency string) (int, error) {
	if d, ok := currencies[currency]; ok {
		return d, nil
	}
	if len(currency) == 3 && strings.Contains(notMoney, currency) {
		return 0, fmt.Errorf("%q has no minor unit in ISO 4217 and cannot be charged in; use a currency such as EUR or USD", currency)
	}
	return 0, fmt.Errorf("%q is not a currency of ISO 4217; use its three capital letters, as EUR or USD", clip(currency))
}

// moneyWords are what people write for a currency that means one only. '$' and
// 'pounds' mean several and are not among them.
var moneyWords = strings.NewReplacer("€", " EUR ", "euros", "EUR", "Euros", "EUR", "euro", "EUR", "Euro", "EUR")

// ParseMoney reads an amount with its ISO 4217 code before or after it: '12.50
// EUR', 'EUR 12,50', '1250 JPY'. It refuses more digits than the currency has.
func ParseMoney(text string) (*eventv1.Money, error) { return ParseMoneyIn(text, "") }

// ParseMoneyIn is ParseMoney with the currency to take when none is typed; empty:
// one must be.
func ParseMoneyIn(text, currency string) (*eventv1.Money, error) {
	typed := strings.TrimSpace(moneyWords.Replace(spellSpaces.Replace(text)))
	amount := strings.Trim(typed, "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz ")
	before, after, _ := strings.Cut(typed, amount)
	before, after = strings.TrimSpace(before), strings.TrimSpace(after)
	if before != "" && after != "" {
		return nil, fmt.Errorf("%q names a currency on both sides; write it once, as in 12.50 EUR", clip(text))
	}
	code := strings.ToUpper(before + after)
	if code == "" {
		code = currency
	}
	if code == "" {
		return nil, fmt.Errorf("%q has no currency; write its ISO 4217 code, as in 12.50 EUR", clip(text))
	}
	digits, err := MinorDigits(code)
	if err != nil {
		return nil, fmt.Errorf("%q: %w", clip(text), err)
	}
	if number, rest := cutNumber(amount); number == "" || rest != "" {
		return nil, fmt.Errorf("%q is not an amount; write digits and currency, as in 12.50 EUR", clip(text))
	}
	g := thousands
	if digits > 2 {
		g = either
	}
	number, err := plainDigits(amount, g)
	if err != nil {
		return nil, err
	}
	whole, frac, _ := strings.Cut(number, ".")
	if len(frac) > digits {
		return nil, fmt.Errorf("%q has %d decimals; %s has %d", clip(text), len(frac), code, digits)
	}
	minor, err := strconv.ParseInt(whole+frac+strings.Repeat("0", digits-len(frac)), 10, 64)
	if err != nil {
		return nil, fmt.Errorf("%q: %w", clip(text), ErrTooMuch)
	}
	return &eventv1.Money{Minor: minor, Currency: code}, nil
}

// FormatMoney prints an amount with as many decimals as its currency has: '12.50
// EUR', '1250 JPY'.
func FormatMoney(m *eventv1.Money) string {
	if m == nil {
		return ""
	}
	digits, err := MinorDigits(m.GetCurrency())
	if err != nil {
		return fmt.Sprintf("%d minor units of %q", m.GetMinor(), m.GetCurrency())
	}
	sign, size := "", uint64(m.GetMinor())
	if m.GetMinor() < 0 {
		sign, size = "-", -size
	}
	text := fmt.Sprintf("%0*d", digits+1, size)
	if digits > 0 {
		text = text[:len(text)-digits] + "." + text[len(text)-digits:]
	}
	return sign + text + " " + m.GetCurrency()
}

// SumMoney adds amounts of one currency; nil amounts are passed over. Without
// any the sum is nil. It refuses to mix currencies and to overflow (ErrTooMuch).
func SumMoney(amounts ...*eventv1.Money) (*eventv1.Money, error) {
	var sum *eventv1.Money
	for _, m := range amounts {
		switch {
		case m == nil:
		case sum == nil:
			sum = &eventv1.Money{Minor: m.GetMinor(), Currency: m.GetCurrency()}
		case m.GetCurrency() != sum.GetCurrency():
			return nil, fmt.Errorf("%s and %s are different currencies and are not added; keep a sum for each", FormatMoney(sum), FormatMoney(m))
		case m.GetMinor() > 0 && sum.GetMinor() > math.MaxInt64-m.GetMinor(), m.GetMinor() < 0 && sum.GetMinor() < math.MinInt64-m.GetMinor():
			return nil, fmt.Errorf("%w: %s and %s", ErrTooMuch, FormatMoney(sum), FormatMoney(m))
		default:
			sum.Minor += m.GetMinor()
		}
	}
	return sum, nil
}
