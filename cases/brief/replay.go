package brief

import (
	"iter"

	"knowngood.example/cases"
	"knowngood.example/cases/notation"
	"knowngood.example/cases/suspect"
)

// Moment is how a case stood once one entry was in the log.
type Moment struct {
	Row cases.Row
	// Tested components, beliefs that nothing had settled, things temporary.
	Tested, OnlyBelieved, Temporary int
	// Suspects that held a hundredth or more, the likeliest first.
	Suspects []Share
	// Fitted is the part that the entry put in, Grade and Cost what it was fitted
	// on and what it cost; empty when it put none in.
	Fitted, Grade, Cost string
}

// Share is how likely a suspect was.
type Share struct {
	Component   string
	Probability float64
}

// Replay goes through the entries from one seq through another, 0: to the end. Only
// what was in the log by then counts. Of more than 60 components the suspects are
// those among the 60 last spoken of.
func Replay(c *cases.Case, names cases.Names, table *suspect.Table, from, through uint64) iter.Seq2[Moment, error] {
	return func(yield func(Moment, error) bool) {
		if through == 0 || through > c.Head() {
			through = c.Head()
		}
		then := cases.New(c.Stream)
		judged := then.Judge(table)
		for n := uint64(1); n <= through; n++ {
			if err := then.Apply(c.Step(n).Record); err != nil {
				yield(Moment{}, err)
				return
			}
			if n < from {
				continue
			}
			step := then.Step(n)
			judged = then.JudgeLately(judged)
			m := Moment{
				Row: then.Row(step, names), Tested: len(then.Tested()), OnlyBelieved: len(then.Unsettled()), Temporary: len(then.StillOn()),
				Suspects: Shares(judged),
			}
			if f := then.FittingOf(step); f != nil {
				m.Fitted, m.Grade = f.Component.Name, judged.Graded(f).Grade.String()
				if cost := f.Part.GetCost(); cost != nil {
					m.Cost = notation.FormatMoney(cost)
				}
			}
			if !yield(m, nil) {
				return
			}
		}
	}
}

// NotNamed is what a suspect that nobody has named is called.
const NotNamed = "something not named"

// Shares lists the suspects that hold a hundredth or more, the likeliest first.
func Shares(j *cases.Judged) []Share {
	var out []Share
	for _, s := range j.Judgement().Suspects() {
		name := NotNamed
		if s.Part != suspect.NotNamed {
			c := j.Components[s.Part.Key]
			if c == nil || j.Part(c) != s.Part {
				continue // what is no longer there
			}
			name = c.Name
		}
		if s.Probability >= 0.01 {
			out = append(out, Share{name, s.Probability})
		}
	}
	return out
}
