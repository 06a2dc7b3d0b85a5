package brief_test

import (
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/stretchr/testify/require"

	"knowngood.example/cases"
	"knowngood.example/cases/brief"
	"knowngood.example/cases/scenario"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

var update = flag.Bool("update", false, "rewrite the pages in testdata")

func fold(t testing.TB, text string) (*cases.Case, cases.Names) {
	t.Helper()
	s, err := scenario.Read(text)
	require.NoError(t, err)
	c, err := s.Case()
	require.NoError(t, err)
	return c, s.Names
}

func fan(t testing.TB) (*cases.Case, cases.Names) {
	t.Helper()
	b, err := os.ReadFile(filepath.Join("testdata", "fan.scenario"))
	require.NoError(t, err)
	return fold(t, string(b))
}

func golden(t *testing.T, name, got string) {
	t.Helper()
	path := filepath.Join("testdata", name)
	if *update {
		require.NoError(t, os.WriteFile(path, []byte(got), 0o644))
		return
	}
	want, err := os.ReadFile(path)
	require.NoError(t, err)
	require.Equal(t, string(want), got)
}

// TestPages holds the pages of an invented cooling-fan case: the brief as it was
// when the case was handed off and at the end, the hand-back before it was given
// and after, and both of a case in which nothing happened.
func TestPages(t *testing.T) {
	t.Parallel()
	c, names := fan(t)
	golden(t, "handed_off.brief", brief.Brief(c.AsOf(14).Judge(nil), names).Text())
	golden(t, "end.brief", brief.Brief(c.Judge(nil), names).Text())
	golden(t, "not_given.handback", brief.HandBack(c.AsOf(20).Judge(nil), names).Text())
	golden(t, "end.handback", brief.HandBack(c.Judge(nil), names).Text())
	empty, names := fold(t, `case-opened concern.statement="fuel gauge reads empty"`)
	golden(t, "empty.brief", brief.Brief(empty.Judge(nil), names).Text())
	golden(t, "empty.handback", brief.HandBack(empty.Judge(nil), names).Text())
}

// TestAnyMoment writes both pages as of every entry: nothing is left empty
// without a word, every entry shown was there by then, it comes out the same
// twice, and nothing is called good.
func TestAnyMoment(t *testing.T) {
	t.Parallel()
	c, names := fan(t)
	ref := regexp.MustCompile(`#(\d+)`)
	for n := uint64(0); n <= c.Head(); n++ {
		at := c.AsOf(n)
		for _, write := range []func(*cases.Judged, cases.Names) *brief.Document{brief.Brief, brief.HandBack} {
			d := write(at.Judge(nil), names)
			require.Equal(t, d, write(c.AsOf(n).Judge(nil), names))
			require.NotEmpty(t, d.Title)
			for _, s := range d.Sections {
				require.NotEmpty(t, s.Title)
				if len(s.Lines) == 0 {
					require.NotEmpty(t, s.None, s.Title)
				}
				for _, l := range s.Lines {
					require.NotEmpty(t, l.Text)
					text := strings.ReplaceAll(strings.ToLower(l.Mark+" "+l.Text), "a known good", "") // something to try with, not said of a component here
					require.NotContains(t, text, "good")
					for _, e := range l.Entries {
						require.NotNil(t, at.Step(e), "%s: #%d as of #%d", s.Title, e, n)
					}
				}
			}
			for _, m := range ref.FindAllStringSubmatch(d.Text(), -1) {
				seq, err := strconv.ParseUint(m[1], 10, 64)
				require.NoError(t, err)
				require.LessOrEqual(t, seq, n, "%s as of #%d", m[0], n)
			}
		}
	}
}

func TestNames(t *testing.T) {
	t.Parallel()
	c, names := fan(t)
	require.Contains(t, brief.Brief(c.Judge(nil), names).Text(), "by mara of Northgate")
	bare := brief.Brief(c.Judge(nil), nil).Text()
	require.NotContains(t, bare, "mara")
	require.NotContains(t, bare, "Northgate")
	require.Contains(t, bare, "by …")
	require.Contains(t, bare, "by body shop, on their word to")
}

// TestCautions: each hazard is met by the words or the marks of the record, and
// every caution defers to the maker.
func TestCautions(t *testing.T) {
	t.Parallel()
	for line, begins := range map[string]string{
		`note text="smell of fuel at the tank"`:                                      "Fuel:",
		`note text="airbag light on"`:                                                "Airbags",
		`note text="car on the lift"`:                                                "Lifted",
		`note text="high-voltage cable chafed"`:                                      "High voltage:",
		`circuit-drawn points={point:"B+" net:NET_KIND_HIGH_VOLTAGE}`:                "High voltage:",
		`reading value="9.8 V" conditions.key=cranking`:                              "Cranking",
		`note text="hot exhaust near the wire"`:                                      "Hot exhaust",
		`note text="fan stopped"`:                                                    "Cooling fan",
		`temporary-on temporary=jumper what="a lead"`:                                "Jumpers",
		`test what="lead round it" manner=bypass`:                                    "Jumpers",
		`test what="went round it" manner=bypass`:                                    "Jumpers",
		`circuit-drawn points={point:"plug 3" net:NET_KIND_AIRBAG}`:                  "Airbags",
		`reading value="9.8 V" conditions.jumped="30-87"`:                            "Jumpers",
		`reading value="9.8 V" conditions.key=running`:                               "Cranking",
		`made-safe hazard=high-voltage qualified-how="level 2" proven-dead=yes`:      "High voltage:",
		`note text="fast refuelling is not a hazard of this case, nor is blackjack"`: "",
	} {
		c, names := fold(t, "case-opened concern.statement=dark\n"+line)
		for _, d := range []*brief.Document{brief.Brief(c.Judge(nil), names), brief.HandBack(c.Judge(nil), names)} {
			if begins == "" {
				require.Empty(t, d.Cautions, line)
				continue
			}
			require.Len(t, d.Cautions, 1, line)
			require.True(t, strings.HasPrefix(d.Cautions[0], begins), d.Cautions[0])
			require.Contains(t, d.Cautions[0], "maker's service information")
		}
	}
	c, names := fold(t, "case-opened vehicle.high-voltage=yes\nmade-safe hazard=high-voltage")
	require.Contains(t, brief.Brief(c.Judge(nil), names).Cautions[0], "Recorded as made safe in #2")
	c, names = fold(t, "case-opened vehicle.high-voltage=yes\nmade-safe hazard=lifted")
	cautions := brief.Brief(c.Judge(nil), names).Cautions
	require.Len(t, cautions, 2, "the vehicle itself says that it has high voltage")
	require.Contains(t, cautions[0], "It is not recorded as made safe.", "stands do not make high voltage safe")
	require.Contains(t, cautions[1], "Recorded as made safe in #2")
}

// TestMarks: the words beside a line that turn its meaning.
func TestMarks(t *testing.T) {
	t.Parallel()
	c, names := fold(t, `case-opened concern.statement=dark
belief statement=first basis=assumed
belief statement=second basis=assumed
belief statement=third basis=assumed
belief-settled belief=#2 holds=yes
belief-settled belief=#3 holds=no
belief-settled belief=#4 holds=not-known
approval who=customer up-to="900.00 EUR" refused
seen what="worn tyre" outside-concern told=customer
seen what="cracked hose" outside-concern
codes-cleared
codes-read answer=none
codes-cleared`)
	d := brief.Brief(c.Judge(nil), names)
	marks := func(title string) (out []string) {
		for _, l := range section(t, d, title).Lines {
			out = append(out, l.Mark)
		}
		return out
	}
	require.Equal(t, []string{"true", "not true", "still not known"}, marks("Beliefs settled"))
	require.Equal(t, "refused", marks("Approved and spent")[0])
	require.Equal(t, []string{"told", "nobody told"}, marks("Outside the concern"))
	lost := section(t, d, "Evidence destroyed").Lines
	require.Contains(t, lost[0].Text, "no codes are recorded before")
	require.Contains(t, lost[1].Text, "codes were read before in #12")
	c, names = fold(t, "case-opened concern.statement=dark\npart-fitted component=lamp why=trial\npart-put-back component=lamp")
	require.Contains(t, section(t, brief.Brief(c.Judge(nil), names), "Parts fitted").Lines[0].Text, "taken out again: #3")
	c, names = fold(t, "case-opened concern.statement=dark left-behind={kind:LEFT_KIND_TEMPORARY what:\"a lead\"}\npart-fitted component=lamp")
	require.Contains(t, section(t, brief.Brief(c.Judge(nil), names), "Temporary, still on").Lines[0].Text, "left by an earlier case")
	require.Equal(t, "No approval is recorded.", section(t, brief.Brief(c.Judge(nil), names), "Approved and spent").Lines[0].Text)
}

func TestBoard(t *testing.T) {
	t.Parallel()
	c, names := fan(t)
	at := brief.Board(c.AsOf(14).Judge(nil))
	require.Equal(t, "EUR 34350 EUR 22350", purses(at.Spent)+" "+purses(at.SpentWithoutTest))
	require.Equal(t, []any{1, 1, "Southbank", false}, []any{at.Tested, at.OnlyBelieved, names.Of(at.WaitsForShop), at.Closed})
	require.Len(t, at.Temporary, 1)
	end := brief.Board(c.Judge(nil))
	require.Equal(t, 0, end.OnlyBelieved, "the belief was settled")
	require.Equal(t, c.Head(), end.Entries)
	require.Equal(t, "to read the hand-back", end.WaitsFor)
}

func purses(all []*eventv1.Money) string {
	var out []string
	for _, m := range all {
		out = append(out, fmt.Sprintf("%s %d", m.GetCurrency(), m.GetMinor()))
	}
	return strings.Join(out, ", ")
}

// TestOvertaken: what passed on the old part is not said of the new one, and what
// was unplugged since says so.
func TestOvertaken(t *testing.T) {
	t.Parallel()
	c, names := fold(t, `case-opened concern.statement=dark
test what="lit on the bench" manner=bench covers=lamp outcome=pass
test what="drop over the plug" manner=drop covers=plug outcome=pass
part-fitted component=lamp state=new why=guess
temporary-on temporary=unplugged where=plug
seen what="socket green" component=lamp outcome=fail`)
	d := brief.Brief(c.Judge(nil), names)
	now, over := section(t, d, "What tests and readings showed"), section(t, d, "Overtaken by what was fitted or disturbed since")
	require.Len(t, over.Lines, 1)
	require.Contains(t, over.Lines[0].Text, "says nothing of lamp since it was fitted (#4)")
	require.Len(t, now.Lines, 2)
	require.Contains(t, now.Lines[0].Text, "the contacts of plug were disturbed since (#5)")
	require.Contains(t, section(t, d, "Parts fitted").Lines[0].Text, "nothing has tested it since")
}

// TestNotWhole: a page that leaves something out says so.
func TestNotWhole(t *testing.T) {
	t.Parallel()
	s, err := scenario.Read("case-opened concern.statement=dark\nnote text=a\nnote text=b\nerased entry=#2 why=personal")
	require.NoError(t, err)
	s.Records[2].Strange = true
	c, err := s.Case()
	require.NoError(t, err)
	missing := section(t, brief.Brief(c.Judge(nil), s.Names), "Not on this page")
	require.Len(t, missing.Lines, 2)
	require.Equal(t, "not understood here", missing.Lines[0].Mark)
	require.Equal(t, "erased", missing.Lines[1].Mark)
}

func TestText(t *testing.T) {
	t.Parallel()
	d := &brief.Document{Title: "A page", Sections: []brief.Section{
		{Title: "First", Lines: []brief.Line{{Text: strings.Repeat("word ", 60) + "#12", Entries: []uint64{12, 1}, Mark: "look"}}},
		{Title: "Second", None: "Nothing."},
	}, Cautions: []string{"Mind the step."}}
	text := d.Text()
	for line := range strings.Lines(text) {
		require.LessOrEqual(t, utf8.RuneCountInString(strings.TrimSpace(line)), 100)
	}
	require.Contains(t, text, "  - [look] word")
	require.Contains(t, text, "#12 (#1)\n")
	require.Contains(t, text, "\n\nSecond: Nothing.\n")
	require.Contains(t, text, "  ! Mind the step.\n")
}

func section(t *testing.T, d *brief.Document, title string) brief.Section {
	t.Helper()
	for _, s := range d.Sections {
		if s.Title == title {
			return s
		}
	}
	t.Fatalf("no section %q", title)
	return brief.Section{}
}

// BenchmarkBrief writes the brief of the fan case.
func BenchmarkBrief(b *testing.B) {
	c, names := fan(b)
	for b.Loop() {
		brief.Brief(c.Judge(nil), names)
	}
}

// TestUnseenSinceAPartWentIn: where nobody has looked since, the brief says that,
// and not that nothing is wrong; once it was tried in vain, or seen, it does not.
func TestUnseenSinceAPartWentIn(t *testing.T) {
	t.Parallel()
	const fitted = `case-opened shop=north concern.statement="lamps flicker"
test what=t manner=drop outcome=fail covers="dash splice" conditions.commanded=on
test what=u manner=bypass outcome=fail concern-change=went-and-came-back covers="dash splice"
part-fitted component="dash splice" state=new why=test because=#3
`
	const unseen = "The concern has not been seen since the dash splice was fitted (#4): try it."
	page := func(text string) string {
		s, err := scenario.Read(text)
		require.NoError(t, err)
		c, err := s.Case()
		require.NoError(t, err)
		return brief.Brief(c.Judge(nil), s.Names).Text()
	}
	got := page(fitted)
	require.Contains(t, strings.Join(strings.Fields(got), " "), unseen)
	require.NotContains(t, got, "Nothing recorded asks for a fault")
	for _, then := range []string{"concern-gone-away what=drove", "repair-checked repairs=#4 concern-tried=yes concern=absent outcome=pass", "concern-acting-up what=again"} {
		require.NotContains(t, page(fitted+then+"\n"), "has not been seen since", then)
	}
}
