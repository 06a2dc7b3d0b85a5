package cases_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"knowngood.example/cases"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// TestGrades fits one part in the last line that fits a fan motor.
func TestGrades(t *testing.T) {
	t.Parallel()
	const fit = "part-fitted component=\"fan motor\" state=new why=guess"
	for name, tc := range map[string]struct {
		text   string
		want   cases.Grade
		reason string
	}{
		"nothing before":                     {fit, cases.NoEvidence, ""},
		"a passing test":                     {"test what=t outcome=pass covers=\"fan motor\"\n" + fit, cases.AgainstEvidence, ""},
		"a failing test":                     {"test what=t outcome=fail covers=\"fan motor\"\n" + fit, cases.PointedTo, ""},
		"two failing tests":                  {"test what=t outcome=fail covers=\"fan motor\"\ntest what=t manner=drop outcome=fail covers=\"fan motor\"\n" + fit, cases.NarrowedTo, ""},
		"a failing reading":                  {"reading value=\"0.9 V\" red=A black=B outcome=fail covers=\"fan motor\"\n" + fit, cases.PointedTo, ""},
		"of many, and no more":               {"test what=t outcome=fail covers=\"fan motor, relay, fuse, switch, feed, ground, plug\"\n" + fit, cases.NoEvidence, ""},
		"one that failed on the part before": {"test what=t outcome=fail covers=\"fan motor\"\npart-fitted component=\"fan motor\" state=new why=test\n" + fit, cases.NoEvidence, ""},
		"a failing test of something else":   {"test what=t outcome=fail covers=harness\n" + fit + " because=#2", cases.NoEvidence, ""},
		"a failing test done afterwards":     {"test what=t outcome=fail covers=\"fan motor\"\n" + fit + " before-opening", cases.NoEvidence, ""},
		"a bypass that made it go away":      {"test what=t manner=bypass outcome=inconclusive concern-change=went-away covers=\"fan motor\"\n" + fit, cases.NarrowedTo, ""},
		"a bypass that changed nothing":      {"test what=t manner=bypass outcome=inconclusive concern-change=stayed covers=\"fan motor\"\n" + fit, cases.AgainstEvidence, ""},
		"a bypass done afterwards":           {"test what=t manner=bypass outcome=inconclusive concern-change=went-away covers=\"fan motor\"\n" + fit + " before-opening", cases.NoEvidence, ""},
		"another test with which it went":    {"test what=t manner=function outcome=inconclusive concern-change=went-away covers=\"fan motor\"\n" + fit, cases.NoEvidence, ""},
		"seen to be bad":                     {"seen what=burnt outcome=fail component=\"fan motor\"\n" + fit, cases.PointedTo, "damage seen"},
		"seen with a fault":                  {"seen what=burnt mode=open component=\"fan motor\"\n" + fit, cases.PointedTo, "damage seen"},
		"seen to be good":                    {"seen what=clean outcome=pass component=\"fan motor\"\n" + fit, cases.NoEvidence, ""},
		"something else seen to be bad":      {"seen what=burnt outcome=fail component=relay\n" + fit, cases.NoEvidence, ""},
		"the original again":                 {"part-fitted component=\"fan motor\" state=original", cases.NoEvidence, "the original again"},
		"damage":                             {"part-fitted component=\"fan motor\" why=damage-seen", cases.NoEvidence, "damage seen"},
		"maintenance":                        {"part-fitted component=\"fan motor\" why=maintenance", cases.NoEvidence, "maintenance"},
		"a bulletin":                         {"part-fitted component=\"fan motor\" why=bulletin", cases.NoEvidence, "bulletin"},
		"the customer's wish":                {"part-fitted component=\"fan motor\" why=customers-wish", cases.NoEvidence, "customer's wish"},
		"a test that is not in the record":   {"part-fitted component=\"fan motor\" why=test", cases.NoEvidence, ""},
		"a trial":                            {"part-fitted component=\"fan motor\" why=trial", cases.NoEvidence, ""},
	} {
		c := fold(t, opening+tc.text)
		f := c.Fittings[len(c.Fittings)-1]
		g := c.Judge(nil).Graded(f)
		require.Equal(t, tc.want, g.Grade, "%s: %.3f, before %.3f", name, g.Probability, g.Before)
		require.Equal(t, tc.reason, f.Reason(), name)
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
	s := c.Judge(nil).Spend()
	require.Equal(t, cases.Purse{"EUR": 18900, "USD": 950}, s.Parts[cases.NoEvidence])
	require.Equal(t, cases.Purse{"EUR": 18900}, s.Guessed)
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
