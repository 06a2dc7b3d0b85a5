package cases_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"knowngood.example/cases"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// TestGrounds fits one part in the last line that fits a fan motor.
func TestGrounds(t *testing.T) {
	t.Parallel()
	const fit = "part-fitted component=\"fan motor\" state=new why=guess"
	for name, tc := range map[string]struct {
		text string
		want cases.Ground
	}{
		"nothing before":                     {fit, cases.NoGround},
		"a passing test":                     {"test what=t outcome=pass covers=\"fan motor\"\n" + fit, cases.NoGround},
		"a failing test":                     {"test what=t outcome=fail covers=\"fan motor\"\n" + fit, cases.TestGround},
		"a failing reading":                  {"reading value=\"0.9 V\" red=A black=B outcome=fail covers=\"fan motor\"\n" + fit, cases.TestGround},
		"one that failed on the part before": {"test what=t outcome=fail covers=\"fan motor\"\npart-fitted component=\"fan motor\" state=new why=test\n" + fit, cases.NoGround},
		"a failing test that is named":       {"test what=t outcome=fail covers=harness\n" + fit + " because=#2", cases.TestGround},
		"a failing reading that is named":    {"reading value=\"0.9 V\" red=A black=B outcome=fail covers=harness\n" + fit + " because=#2", cases.TestGround},
		"a passing test that is named":       {"test what=t outcome=pass covers=harness\n" + fit + " because=#2", cases.NoGround},
		"a failing test named from before":   {"test what=t outcome=fail covers=harness\n" + fit + " because=#2 before-opening", cases.NoGround},
		"a bypass that made it go away":      {"test what=t manner=bypass outcome=inconclusive concern-change=went-away covers=\"fan motor\"\n" + fit, cases.TestGround},
		"a substitution, there and back":     {"test what=t manner=substitution outcome=inconclusive concern-change=went-and-came-back covers=\"fan motor\"\n" + fit, cases.TestGround},
		"a bypass that changed nothing":      {"test what=t manner=bypass outcome=inconclusive concern-change=stayed covers=\"fan motor\"\n" + fit, cases.NoGround},
		"a bypass done afterwards":           {"test what=t manner=bypass outcome=inconclusive concern-change=went-away covers=\"fan motor\"\n" + fit + " before-opening", cases.NoGround},
		"another test with which it went":    {"test what=t manner=function outcome=inconclusive concern-change=went-away covers=\"fan motor\"\n" + fit, cases.NoGround},
		"seen to be bad":                     {"seen what=burnt outcome=fail component=\"fan motor\"\n" + fit, cases.StatedGround},
		"seen with a fault":                  {"seen what=burnt mode=open component=\"fan motor\"\n" + fit, cases.StatedGround},
		"seen to be good":                    {"seen what=clean outcome=pass component=\"fan motor\"\n" + fit, cases.NoGround},
		"something else seen to be bad":      {"seen what=burnt outcome=fail component=relay\n" + fit, cases.NoGround},
		"the original again":                 {"part-fitted component=\"fan motor\" state=original", cases.StatedGround},
		"damage":                             {"part-fitted component=\"fan motor\" why=damage-seen", cases.StatedGround},
		"maintenance":                        {"part-fitted component=\"fan motor\" why=maintenance", cases.StatedGround},
		"a bulletin":                         {"part-fitted component=\"fan motor\" why=bulletin", cases.StatedGround},
		"the customer's wish":                {"part-fitted component=\"fan motor\" why=customers-wish", cases.StatedGround},
		"a test that is not in the record":   {"part-fitted component=\"fan motor\" why=test", cases.NoGround},
		"a trial":                            {"part-fitted component=\"fan motor\" why=trial", cases.NoGround},
	} {
		c := fold(t, opening+tc.text)
		require.Equal(t, tc.want, c.Fittings[len(c.Fittings)-1].Ground(), name)
	}
}

func TestSpend(t *testing.T) {
	t.Parallel()
	c := fold(t, opening+`
approval who=customer up-to="100.00 EUR"
part-fitted component="fan motor" state=new why=guess cost="189.00 EUR"
part-fitted component="fan relay" state=new why=maintenance cost="9.50 USD"
repair component="splice S4" what="crimped anew" cost="20.00 EUR"
time-spent minutes=45 charge="60.00 EUR"
time-spent minutes=30
approval who=customer up-to="400.00 EUR"
approval who=customer up-to="900.00 EUR" refused
`)
	s := c.Spend()
	require.Equal(t, [3]cases.Purse{{"EUR": 18900}, {"USD": 950}, {}}, s.Parts)
	require.Equal(t, cases.Purse{"EUR": 2000}, s.Repairs)
	require.Equal(t, cases.Purse{"EUR": 6000}, s.Time)
	require.Equal(t, uint64(75), s.Minutes)
	require.Equal(t, cases.Purse{"EUR": 40000}, s.Approved, "the last that was given, not their sum, and nothing for a refusal")
	require.Equal(t, cases.Purse{"EUR": 26900, "USD": 950}, s.Total())
	sums := s.Total().Moneys()
	require.Len(t, sums, 2)
	require.Equal(t, "EUR", sums[0].GetCurrency())
	require.Equal(t, "USD", sums[1].GetCurrency())
}

func TestPurseStaysWithinWhatFits(t *testing.T) {
	t.Parallel()
	p := cases.Purse{}
	p.Add(nil)
	require.Empty(t, p)
	for _, minor := range []int64{math.MaxInt64, 1} {
		p.Add(&eventv1.Money{Minor: minor, Currency: "EUR"})
	}
	require.Equal(t, int64(math.MaxInt64), p["EUR"])
	for _, minor := range []int64{math.MinInt64, -1} {
		p.Add(&eventv1.Money{Minor: minor, Currency: "USD"})
	}
	require.Equal(t, int64(math.MinInt64), p["USD"])
}
