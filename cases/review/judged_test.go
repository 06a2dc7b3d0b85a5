package review_test

import (
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/rogpeppe/go-internal/txtar"
	"github.com/stretchr/testify/require"

	"knowngood.example/cases"
	"knowngood.example/cases/path"
	"knowngood.example/cases/review"
	"knowngood.example/cases/scenario"
	"knowngood.example/cases/suspect"
)

// TestJudged holds the judgement to what a master technician made of each case
// before anything computed it. The README beside them says what a line means.
func TestJudged(t *testing.T) {
	t.Parallel()
	judge(t, "judged", 15)
}

// TestDrawn is TestJudged for cases whose circuit is drawn and read.
func TestDrawn(t *testing.T) {
	t.Parallel()
	judge(t, "drawn", 20)
}

func judge(t *testing.T, folder string, atLeast int) {
	files, err := filepath.Glob("../../testdata/" + folder + "/*.txtar")
	require.NoError(t, err)
	require.GreaterOrEqual(t, len(files), atLeast)
	if testing.Short() {
		files = files[:4]
	}
	for _, file := range files {
		b, err := os.ReadFile(file)
		require.NoError(t, err)
		a := txtar.Parse(b)
		t.Run(strings.TrimSuffix(filepath.Base(file), ".txtar"), func(t *testing.T) {
			t.Parallel()
			var whole *cases.Case
			for _, f := range a.Files {
				if f.Name == "case" {
					s, err := scenario.Read(string(f.Data))
					require.NoError(t, err)
					for _, r := range s.Records {
						if d := r.Event.GetCircuitDrawn(); d != nil && len(d.GetElements()) == 0 {
							x, err := path.Read(d.GetSaid())
							require.NoError(t, err)
							d.Elements, d.Points = x.Event.GetElements(), append(d.GetPoints(), x.Event.GetPoints()...)
						}
					}
					whole, err = s.Case()
					require.NoError(t, err)
				}
			}
			for _, f := range a.Files {
				if !strings.HasPrefix(f.Name, "expect") {
					continue
				}
				c := whole
				var at uint64
				if n, _ := fmt.Sscanf(f.Name, "expect at #%d", &at); n == 1 {
					c = whole.AsOf(at)
				} else {
					require.Equal(t, "expect", f.Name)
				}
				e := &expecting{T: t, where: f.Name, j: judged(c)}
				for line := range strings.Lines(string(f.Data)) {
					line = strings.TrimSpace(line)
					if line != "" && !strings.HasPrefix(line, "#") {
						e.line(line)
					}
				}
			}
		})
	}
}

type expecting struct {
	*testing.T
	where string
	j     *cases.Judged
	found []review.Finding
	ran   bool
}

func (e *expecting) wrong(line, format string, a ...any) {
	e.Helper()
	e.Errorf("%s: %s\n\t%s\n\tsuspects: %s", e.where, line, fmt.Sprintf(format, a...), e.suspects())
}

func (e *expecting) suspects() string {
	var out []string
	for _, s := range e.j.Judgement().Suspects() {
		if s.Probability > 0.01 && len(out) < 12 {
			out = append(out, fmt.Sprintf("%s/%d %.3f", s.Part.Key, s.Part.Life, s.Probability))
		}
	}
	return strings.Join(out, ", ")
}

// part by name; the zero part for something not named.
func (e *expecting) part(name string) suspect.Part {
	e.Helper()
	if name == "something not named" {
		return suspect.NotNamed
	}
	c := e.find(name)
	if c == nil {
		e.Errorf("%s: the case has no component %q", e.where, name)
		return suspect.Part{Key: name, Life: -1}
	}
	return e.j.Part(c)
}

func (e *expecting) word(name string) string {
	if c := e.find(name); c != nil {
		return cases.Word(e.j.Verdicts(c))
	}
	return "not there"
}

func (e *expecting) find(name string) *cases.Component { return e.j.Find(name) }

func (e *expecting) verdicts(name string, s cases.Standing) []cases.Verdict {
	e.Helper()
	c := e.find(name)
	if c == nil {
		e.Errorf("%s: the case has no component %q", e.where, name)
		return nil
	}
	return slices.DeleteFunc(e.j.Verdicts(c), func(v cases.Verdict) bool { return v.Standing != s })
}

var (
	inBrackets = regexp.MustCompile(`^(.*?) *\(([^()]*)\)$`)
	seqRef     = regexp.MustCompile(`#(\d+)`)
	numberEnd  = regexp.MustCompile(`^(.*) ([0-9.]+)$`)
)

func (e *expecting) line(line string) {
	e.Helper()
	head, rest, ok := strings.Cut(line, ":")
	if !ok && line != "none proven good" && line != "not as drawn" {
		e.Fatalf("%s: %q is no expectation", e.where, line)
	}
	values := strings.Split(rest, ";")
	for i := range values {
		values[i] = strings.TrimSpace(values[i])
	}
	for _, v := range values {
		switch head {
		case "none proven good":
			if len(e.j.Proven()) > 0 {
				e.wrong(line, "%v", e.j.Proven())
			}
		case "proven bad":
			name := v
			if m := inBrackets.FindStringSubmatch(v); m != nil {
				name = m[1]
			}
			if len(e.verdicts(name, cases.ProvenBad)) == 0 {
				e.wrong(line, "%s is %s", name, e.word(name))
			}
		case "proven good":
			m := inBrackets.FindStringSubmatch(v)
			require.NotNil(e, m, line)
			good := e.verdicts(m[1], cases.ProvenGood)
			var modes []string
			for _, g := range good {
				modes = append(modes, g.Mode.String())
				require.NotEmpty(e, g.Conditions)
				require.NotEmpty(e, g.Assumes)
			}
			switch {
			case len(good) == 0:
				e.wrong(line, "%s is %s", m[1], e.word(m[1]))
			case m[2] == "all":
				if !slices.Contains(modes, suspect.AnyWay.String()) {
					e.wrong(line, "only %v", modes)
				}
			case !slices.Contains(modes, m[2]) && !slices.Equal(modes, []string{suspect.AnyWay.String()}):
				e.wrong(line, "%v", modes)
			}
		case "not proven good":
			name, of := v, ""
			if m := inBrackets.FindStringSubmatch(v); m != nil {
				name, of = m[1], m[2]
			}
			g := e.verdicts(name, cases.ProvenGood)
			if slices.ContainsFunc(g, func(g cases.Verdict) bool {
				return of == "" || g.Way == of || "short to "+strings.TrimPrefix(g.Way, "shorted to ") == of
			}) {
				e.wrong(line, "%s is proven: %s", v, cases.Word(g))
			}
		case "contradicted":
			if len(e.verdicts(v, cases.ContradictedStanding)) == 0 {
				e.wrong(line, "%s is %s", v, e.word(v))
			}
		case "narrowed to":
			e.narrowed(line, v)
		case "first":
			if s := e.j.Judgement().Suspects()[0]; s.Part.Key != e.part(v).Key {
				e.wrong(line, "the first is %v", s.Part)
			}
		case "over", "under":
			m := numberEnd.FindStringSubmatch(v)
			require.NotNil(e, m, line)
			bound, err := strconv.ParseFloat(m[2], 64)
			require.NoError(e, err)
			if p := e.j.Judgement().Probability(e.part(m[1])); head == "over" && p < bound || head == "under" && p > bound {
				e.wrong(line, "%s has %.3f", m[1], p)
			}
		case "explained by", "not explained by":
			e.explained(line, v, head == "explained by")
		case "grade":
			e.grade(line, v)
		case "read again":
			want := e.step(v)
			if !slices.ContainsFunc(e.j.Again(), func(a suspect.Again) bool { return a.Entry == want.ID }) {
				e.wrong(line, "to be read again: %v", e.j.Again())
			}
		case "findings", "quiet":
			e.finding(line, v, head == "findings")
		case "rules out", "does not rule out":
			e.rulesOut(line, values, head == "rules out")
			return
		case "proves nothing":
			e.provesNothing(line, v)
		case "expect":
			e.expects(line, v)
		case "stretch":
			e.stretch(line, v)
		case "not as drawn":
			e.notAsDrawn(line, v)
		case "next", "not next":
			e.next(line, v, head == "next")
		default:
			e.Fatalf("%s: %q is no expectation", e.where, head)
		}
	}
}

func (e *expecting) step(ref string) *cases.Step {
	e.Helper()
	n, err := strconv.ParseUint(strings.TrimPrefix(ref, "#"), 10, 64)
	require.NoError(e, err, ref)
	s := e.j.Step(n)
	require.NotNil(e, s, ref)
	return s
}

func (e *expecting) narrowed(line, want string) {
	e.Helper()
	var to []string
	for _, c := range e.j.Components {
		if e.j.Judgement().NarrowedTo(e.j.Part(c)) {
			to = append(to, c.Name)
		}
	}
	switch {
	case want == "nothing" && len(to) > 0:
		e.wrong(line, "narrowed to %v", to)
	case want != "nothing" && !e.j.Judgement().NarrowedTo(e.part(want)):
		failed, _ := e.j.Judgement().Direct(e.part(want))
		e.wrong(line, "probability %.3f, %d tests on it alone failed", e.j.Judgement().Probability(e.part(want)), len(failed))
	}
}

func (e *expecting) explained(line, v string, want bool) {
	e.Helper()
	var parts []suspect.Part
	for _, name := range strings.Split(strings.Trim(v, "{}"), ",") {
		parts = append(parts, e.part(strings.TrimSpace(name)))
	}
	has := slices.ContainsFunc(e.j.Judgement().Explanations(), func(x suspect.Explanation) bool {
		return len(x.Parts) == len(parts) && !slices.ContainsFunc(parts, func(p suspect.Part) bool { return !slices.Contains(x.Parts, p) })
	})
	if has != want {
		e.wrong(line, "%s; explanations %v", v, e.j.Judgement().Explanations())
	}
}

func (e *expecting) grade(line, v string) {
	e.Helper()
	ref, want, _ := strings.Cut(v, " ")
	want, _, _ = strings.Cut(want, " #") // a remark
	f := e.j.FittingOf(e.step(ref))
	require.NotNil(e, f, line)
	g := e.j.Graded(f)
	if g.Grade.String() != strings.TrimSpace(want) {
		e.wrong(line, "%s is %v (%.3f, with the concern alone %.3f)", ref, g.Grade, g.Probability, g.Before)
	}
}

func (e *expecting) finding(line, v string, want bool) {
	e.Helper()
	if !e.ran {
		e.found, e.ran = review.Run(e.j), true
	}
	slug, _, _ := strings.Cut(v, " ")
	known := slices.ContainsFunc(review.Rules(), func(r review.Rule) bool { return r.Slug == slug })
	if !known {
		e.wrong(line, "there is no rule %s", slug)
		return
	}
	var entries []uint64
	for _, m := range seqRef.FindAllStringSubmatch(v, -1) {
		n, err := strconv.ParseUint(m[1], 10, 64)
		require.NoError(e, err)
		entries = append(entries, n)
	}
	var got []string
	has := false
	for _, f := range e.found {
		if f.Rule != slug {
			continue
		}
		got = append(got, fmt.Sprint(f.Entries))
		all := !slices.ContainsFunc(entries, func(n uint64) bool { return !slices.Contains(f.Entries, n) })
		has = has || all
	}
	if has != want {
		e.wrong(line, "%s found %v", slug, got)
	}
}

func (e *expecting) next(line, v string, want bool) {
	e.Helper()
	advice := e.j.Next().Advice
	got := []string{"nothing"}
	if len(advice) > 0 {
		got = e.names(advice[0])
	}
	var all []string
	for _, a := range advice[:min(6, len(advice))] {
		all = append(all, fmt.Sprintf("%v: %v %s (%.2f bits, %.0f min)", a.Aim, a.Manner, a.Component.Name, a.Bits, a.Minutes))
	}
	has := false
	for _, one := range strings.Split(v, "|") {
		has = has || slices.ContainsFunc(got, func(g string) bool { return e.same(g, strings.TrimSpace(one)) })
	}
	if has != want {
		e.wrong(line, "%s", strings.Join(all, "; "))
	}
}
