package review_test

import (
	"fmt"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
	"pgregory.net/rapid"

	"knowngood.example/cases"
	"knowngood.example/cases/review"
	"knowngood.example/cases/scenario"
)

// TestAnyMixture: lines of all scenarios in any order, with references to
// whatever stands there, never break a rule and never name an entry that is not
// there.
func TestAnyMixture(t *testing.T) {
	t.Parallel()
	var lines []string
	for _, r := range review.Rules() {
		for _, f := range read(t, r.Slug).Files {
			if !strings.HasPrefix(f.Name, "finds") {
				lines = append(lines, strings.Split(strings.TrimSpace(string(f.Data)), "\n")...)
			}
		}
	}
	rapid.Check(t, func(rt *rapid.T) {
		picked := rapid.SliceOfN(rapid.SampledFrom(lines), 1, 25).Draw(rt, "lines")
		s, err := scenario.Read(strings.Join(picked, "\n"))
		require.NoError(rt, err)
		c, err := s.Case()
		require.NoError(rt, err)
		for _, f := range review.Run(judged(c)) {
			require.NotEmpty(rt, f.Entries)
			for _, e := range f.Entries {
				require.NotNil(rt, c.Step(e))
			}
		}
	})
}

// long is an invented case of n entries: the same round of work over and over,
// each on parts of its own, so that every rule has something to look at.
func long(tb testing.TB, n int) *cases.Case {
	tb.Helper()
	var b strings.Builder
	b.WriteString("case-opened concern.statement=\"fan does not run when hot\" concern.just-before=\"bumper off\"\nhanded-off question=\"why?\"\n")
	for i := 3; i <= n; i++ {
		k, part := i-3, fmt.Sprintf("part %d", (i-3)/20)
		if k%20 == 0 && i+20 > n {
			fmt.Fprintf(&b, "note text=%q\n", part)
			continue
		}
		line := [...]string{
			"reading value=\"12.1 V\" red=\"P pin\" black=batt- covers=\"P feed\" outcome=pass conditions.commanded=on",
			"test what=\"worked it\" manner=function covers=\"P, P feed\" outcome=fail",
			"part-fitted component=\"P\" state=new why=guess cost=\"12.50 EUR\"",
			"part-fitted component=\"P relay\" state=new why=guess cost=\"2.50 EUR\"",
			"repair component=\"P ground\" what=cleaned because=#R",
			"repair-checked repairs=#R concern-tried=yes concern=absent outcome=pass",
			"belief statement=\"P is good\" basis=assumed component=\"P\" claim.component=\"P\" claim.outcome=pass",
			"belief statement=\"the P feed is good\" basis=told component=\"P feed\" because=#R",
			"belief-settled belief=#R holds=yes because=#R",
			"temporary-on temporary=jumper what=\"P jumped\" where=\"P\"",
			"codes-cleared module=\"P module\"",
			"seen what=\"P worn\" component=\"P\" outcome=fail outside-concern",
			"worked-on area=\"P\" components=\"P\" before-opening",
			"time-spent minutes=10 charge=\"15.00 EUR\"",
			"approval who=customer up-to=\"100.00 EUR\"",
			"part-fitted component=\"P module\" state=used why=test because=#R",
			"seen what=\"wrong fuse\" component=\"P fuse\" mode=wrong-part-or-setting outcome=fail",
			"concern-acting-up what=\"still\"",
			"part-put-back component=\"P relay\" reseated-only",
			"note text=\"P\" about=\"P\"",
		}[k%20]
		b.WriteString(strings.NewReplacer("P", part, "#R", fmt.Sprintf("#%d", i-2)).Replace(line) + "\n")
	}
	s, err := scenario.Read(b.String())
	require.NoError(tb, err)
	c, err := s.Case()
	require.NoError(tb, err)
	require.Equal(tb, uint64(n), c.Head())
	return c
}

// BenchmarkReview10000 reviews a case of 10,000 entries.
func BenchmarkReview10000(b *testing.B) {
	c := long(b, 10_000)
	found := 0
	b.ReportAllocs()
	for b.Loop() {
		found = len(review.Run(judged(c)))
	}
	b.ReportMetric(float64(found), "findings")
}

// BenchmarkReviewOneMore reviews a case of 10,000 entries again after one more.
func BenchmarkReviewOneMore(b *testing.B) {
	c := long(b, 10_000)
	before := judged(c.AsOf(9_999))
	grown := before.Case
	review.Run(before)
	require.NoError(b, grown.Apply(c.Step(10_000).Record))
	b.ReportAllocs()
	for b.Loop() {
		review.Run(grown.JudgeAfter(before))
	}
}

// BenchmarkRule reviews a case of 10,000 entries by one rule at a time.
func BenchmarkRule(b *testing.B) {
	c := long(b, 10_000)
	for _, r := range review.Rules() {
		b.Run(r.Slug, func(b *testing.B) {
			for b.Loop() {
				r.Check(judged(c))
			}
		})
	}
}

// BenchmarkSuspects10000 judges a case of 10,000 entries, with what stands of
// every component.
func BenchmarkSuspects10000(b *testing.B) {
	c := long(b, 10_000)
	b.ReportAllocs()
	for b.Loop() {
		j := judged(c)
		for _, s := range j.Judgement().Suspects() {
			if comp := j.Components[s.Part.Key]; comp != nil {
				j.Verdicts(comp)
				j.WereBad(comp)
			}
		}
	}
}

// BenchmarkReplay10000 goes through a case of 10,000 entries, with what was known at
// each.
func BenchmarkReplay10000(b *testing.B) {
	c := long(b, 10_000)
	b.ReportAllocs()
	for b.Loop() {
		then := cases.New(c.Stream)
		j := judged(then)
		for _, s := range c.Steps() {
			require.NoError(b, then.Apply(s.Record))
			j = then.JudgeLately(j)
			j.Judgement().Suspects()
			if f := then.FittingOf(then.Step(s.Seq)); f != nil {
				j.Graded(f)
			}
			then.Tested()
			then.Unsettled()
			then.StillOn()
		}
	}
}
