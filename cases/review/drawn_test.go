package review_test

import (
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"github.com/stretchr/testify/require"

	"knowngood.example/cases"
	"knowngood.example/cases/suspect"
)

// reads are the observations that the step made.
func (e *expecting) reads(s *cases.Step) []*cases.Read {
	e.Helper()
	var out []*cases.Read
	for _, r := range e.j.Reads() {
		if r.Step == s {
			out = append(out, r)
		}
	}
	return out
}

func mode(e *expecting, word string) suspect.Mode {
	e.Helper()
	for m := suspect.AnyWay; m <= suspect.Defective; m++ {
		if m.String() == word {
			return m
		}
	}
	e.Fatalf("%s: no mode %q", e.where, word)
	return 0
}

func (e *expecting) fault(text string) suspect.Hypothesis {
	e.Helper()
	m := inBrackets.FindStringSubmatch(text)
	require.NotNil(e, m, text)
	if other, ok := strings.CutPrefix(m[2], "short to "); ok && e.find(other) != nil {
		return e.touching(m[1], other)
	}
	return suspect.Hypothesis{{Part: e.part(m[1]), Mode: mode(e, m[2])}}
}

// touching is one component being shorted to another.
func (e *expecting) touching(name, other string) suspect.Hypothesis {
	e.Helper()
	for _, d := range e.j.Circuits() {
		if m, ok := d.Touching(e.find(name), e.find(other)); ok {
			return suspect.Hypothesis{{Part: e.part(name), Mode: m}}
		}
	}
	e.Errorf("%s: nothing gives reason for a short of %s to %s", e.where, name, other)
	return nil
}

// beyond is by how much the step contradicts the hypothesis.
func (e *expecting) beyond(s *cases.Step, h suspect.Hypothesis) float64 {
	worst := 0.0
	for _, r := range e.reads(s) {
		if r.Had(h[0].Part) { // else it speaks of what was there before
			worst = max(worst, r.Beyond(h))
		}
	}
	return worst
}

func (e *expecting) rulesOut(line string, values []string, want bool) {
	e.Helper()
	ref, first, _ := strings.Cut(values[0], " ")
	values[0] = first
	s := e.step(ref)
	if len(e.reads(s)) == 0 && want {
		e.wrong(line, "no evidence on a circuit")
		return
	}
	for _, v := range values {
		h := e.fault(v)
		if got := e.beyond(s, h) >= 3; got != want {
			var spans []string
			for _, r := range e.reads(s) {
				spans = append(spans, fmt.Sprintf("%.3g..%.3g shown %.4g", r.Expect(h).Lo, r.Expect(h).Hi, r.Shown))
			}
			e.wrong(line, "%s: %v", v, spans)
		}
	}
}

func (e *expecting) provesNothing(line, v string) {
	e.Helper()
	s := e.step(v)
	for _, d := range e.j.Circuits() {
		for k, el := range d.Elements {
			for _, m := range d.Modes(k) {
				if e.beyond(s, suspect.Hypothesis{{Part: e.j.Part(el.Component), Mode: m.Mode}}) >= 3 {
					e.wrong(line, "it rules out %s (%v)", el.Component.Name, m.Mode)
				}
			}
		}
	}
}

var expectation = regexp.MustCompile(`^#(\d+) (-?[0-9.]+)\.\.(-?[0-9.]+) (\S+) if (.*)$`)

func (e *expecting) expects(line, v string) {
	e.Helper()
	m := expectation.FindStringSubmatch(v)
	require.NotNil(e, m, line)
	lo, err := strconv.ParseFloat(m[2], 64)
	require.NoError(e, err)
	hi, err := strconv.ParseFloat(m[3], 64)
	require.NoError(e, err)
	scale := map[string]float64{"kohm": 1e3, "Mohm": 1e6, "mA": 1e-3, "mV": 1e-3}[m[4]]
	if scale == 0 {
		scale = 1
	}
	var h suspect.Hypothesis
	if m[5] != "nothing" {
		for md := suspect.Defective; md > suspect.AnyWay; md-- {
			if name, ok := strings.CutSuffix(m[5], " "+md.String()); ok {
				h = suspect.Hypothesis{{Part: e.part(name), Mode: md}}
				break
			}
		}
		if name, other, ok := strings.Cut(m[5], " short to "); ok && h == nil && e.find(other) != nil {
			h = e.touching(name, other)
		}
		require.NotNil(e, h, line)
	}
	all := e.reads(e.step("#" + m[1]))
	if len(all) == 0 {
		e.wrong(line, "no evidence on a circuit")
		return
	}
	s := all[0].Foretold(h)
	slack := 0.02*(hi-lo) + 0.005
	if s.Lo/scale < lo-slack || s.Hi/scale > hi+slack {
		e.wrong(line, "foretold %.4g..%.4g", s.Lo/scale, s.Hi/scale)
	}
}

func (e *expecting) stretch(line, v string) {
	e.Helper()
	sum, least := 0.0, 1.0
	var in []suspect.Part
	for _, name := range strings.Split(v, ",") {
		p := e.part(strings.TrimSpace(name))
		in = append(in, p)
		sum += e.j.Judgement().Probability(p)
		least = min(least, e.j.Judgement().Probability(p))
	}
	if sum < 0.9 {
		e.wrong(line, "together %.3f", sum)
	}
	for _, s := range e.j.Judgement().Suspects() {
		if s.Part != suspect.NotNamed && s.Part != suspect.NotAsDrawn && !slices.Contains(in, s.Part) && s.Probability > least && e.j.Part(e.j.Components[s.Part.Key]) == s.Part {
			e.wrong(line, "%s is likelier", s.Part.Key)
		}
	}
}

func (e *expecting) notAsDrawn(line, v string) {
	e.Helper()
	p := e.j.Judgement().Probability(suspect.NotAsDrawn)
	if v != "" {
		want, err := strconv.ParseFloat(v, 64)
		require.NoError(e, err)
		if p < want {
			e.wrong(line, "%.3f", p)
		}
		return
	}
	if e.j.Judgement().Suspects()[0].Part != suspect.NotAsDrawn {
		e.wrong(line, "%.3f", p)
	}
}

// names are the ways to write an advice down.
func (e *expecting) names(a cases.Advice) []string {
	out := []string{a.Manner.String() + " " + a.Component.Name}
	if a.Red != "" {
		out = append(out, "read "+a.Red+" to "+a.Black)
	}
	if slices.Contains(a.Tools, "test lamp") {
		out = append(out, "lamp")
	}
	return out
}

// same reports whether two ways to write an advice down mean one: points and wires
// by any of their names.
func (e *expecting) same(got, want string) bool {
	if got == want {
		return true
	}
	a, b, ok := strings.Cut(strings.TrimPrefix(got, "read "), " to ")
	c, d, ok2 := strings.Cut(strings.TrimPrefix(want, "read "), " to ")
	if strings.HasPrefix(got, "read ") && strings.HasPrefix(want, "read ") && ok && ok2 {
		return e.j.SamePoint(a, c) && e.j.SamePoint(b, d)
	}
	gm, gn, _ := strings.Cut(got, " ")
	wm, wn, _ := strings.Cut(want, " ")
	return gm == wm && gm != "read" && e.find(gn) != nil && e.find(gn) == e.find(wn)
}
