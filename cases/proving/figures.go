package proving

import (
	"fmt"
	"math"
	"strings"
)

// Figure is a row of the table.
type Figure struct {
	Name string `json:"name"`
	// Value with the limits between which it lies at 0.95, and of how many it was
	// counted.
	Value  float64 `json:"value"`
	Lo, Hi float64 `json:"-"`
	Count  int     `json:"count"`
	// Text is the value as it is told, and Goal what it should be; Met is yes, no, or
	// empty where there is no goal or nothing to measure it by.
	Text string `json:"text"`
	Goal string `json:"goal"`
	Met  string `json:"met"`
}

// Table works the figures out. Of what was not played there is no row.
func Table(s Settings, all []Record) []Figure {
	by := map[Strategy][]Record{}
	for _, r := range all {
		by[r.Strategy] = append(by[r.Strategy], r)
	}
	t := &table{settings: s}
	for _, strategy := range Strategies {
		if rs := by[strategy]; len(rs) > 0 {
			t.of(strategy, rs)
		}
	}
	if len(by[Own]) > 0 {
		t.compare(by[Own], by[Half], Half)
		t.compare(by[Own], by[Random], Random)
	}
	return t.rows
}

type table struct {
	settings Settings
	rows     []Figure
}

func met(is bool) string {
	if is {
		return "yes"
	}
	return "no"
}

// share adds a share with its exact limits. least and most are goals; NaN: none.
func (t *table) share(name string, k, n int, goal string, reached func(share float64) bool) {
	f := Figure{Name: name, Count: n, Goal: goal, Value: math.NaN()}
	if n > 0 {
		l := Exact(k, n, 0.025)
		f.Value, f.Lo, f.Hi = float64(k)/float64(n), l.Lo, l.Hi
		f.Text = fmt.Sprintf("%d of %d: %s (%s to %s)", k, n, percent(f.Value), percent(l.Lo), percent(l.Hi))
		if reached != nil {
			f.Met = met(reached(f.Value))
		}
	} else {
		f.Text = "none"
	}
	t.rows = append(t.rows, f)
}

func percent(v float64) string {
	switch {
	case math.IsNaN(v):
		return "-"
	case v > 0 && v < 0.001:
		return fmt.Sprintf("%.4f %%", 100*v)
	}
	return fmt.Sprintf("%.1f %%", 100*v)
}

func atLeast(g float64) func(float64) bool { return func(v float64) bool { return v >= g } }
func atMost(g float64) func(float64) bool  { return func(v float64) bool { return v <= g } }

// ratio adds the ratio of two sums with limits drawn again and again.
func (t *table) ratio(name string, over, under []float64, goal string, reached func(float64) bool) {
	v, l := ratio(over, under)
	f := Figure{Name: name, Value: v, Lo: l.Lo, Hi: l.Hi, Count: len(over), Goal: goal, Text: "none"}
	if len(over) > 0 {
		f.Text = fmt.Sprintf("%.3f (%.3f to %.3f)", v, l.Lo, l.Hi)
		if reached != nil {
			f.Met = met(reached(v))
		}
	}
	t.rows = append(t.rows, f)
}

func named(s Strategy, what string) string {
	if s == Own {
		return what
	}
	return string(s) + ": " + what
}

// of adds the figures of one strategy.
func (t *table) of(s Strategy, all []Record) {
	var faults, wrong, broken, outside, suspended, readings int
	for _, r := range all {
		faults += len(r.Faults)
		if t.settings.Stray && len(r.Faults) > 0 {
			faults-- // the stray path is no component
		}
		wrong += r.wrongly()
		suspended += r.Suspended
		readings += r.Readings
		outside += len(r.Outside)
		if strings.HasPrefix(r.Stop, "broken") {
			broken++
		}
	}
	goal, reached := "0", func(v float64) bool { return v == 0 }
	switch {
	case t.settings.Stray: // proofs say that they take the drawing for what is there
		goal, reached = "", nil
	case t.settings.Gross > 0:
		goal, reached = "at most 0.05 %", atMost(0.0005)
	}
	f := Figure{Name: named(s, "faulty modes proven good, of all faults"), Count: faults, Goal: goal, Text: "none"}
	if faults > 0 {
		l := Exact(min(wrong, faults), faults, 0.05)
		f.Value, f.Lo, f.Hi = float64(wrong)/float64(faults), l.Lo, l.Hi
		f.Text = fmt.Sprintf("%d of %d: at most %.4f %%", wrong, faults, 100*l.Hi)
		if reached != nil {
			f.Met = met(reached(f.Value))
		}
	}
	t.rows = append(t.rows, f)
	t.share(named(s, "true readings outside what the judgement says can be"), outside, readings, "0", func(v float64) bool { return v == 0 })
	t.yield(s, all)
	for _, n := range []int{1, 2, 0} {
		t.right(s, all, n)
	}
	t.stops(s, all)
	t.search(s, all)
	t.calibration(named(s, "calibration of the likeliest"), all, func(r *Record) *Calibration { return &r.First })
	t.calibration(named(s, "calibration of all suspects"), all, func(r *Record) *Calibration { return &r.Each })
	if t.settings.Stray {
		t.stray(s, all)
	}
	if broken > 0 {
		t.share(named(s, "cases that could not be played"), broken, len(all), "0", func(v float64) bool { return v == 0 })
	}
}

// wrongly is how many of the faults that are there were ever proven not to be.
func (r *Record) wrongly() int {
	seen := map[string]bool{}
	for _, w := range r.Wrong {
		_, what, _ := strings.Cut(w, ": ")
		seen[what] = true
	}
	return len(seen)
}

// yield is the share of sound ways of being bad that are proven.
func (t *table) yield(s Strategy, all []Record) {
	var at, of, later, ofLater []float64
	for _, r := range all {
		if r.Stop == "found" && r.Sound > 0 {
			at, of = append(at, float64(r.Proven)), append(of, float64(r.Sound))
		}
		if r.ProvenOnTo >= 0 && r.Sound > 0 {
			later, ofLater = append(later, float64(r.ProvenOnTo)), append(ofLater, float64(r.Sound))
		}
	}
	t.ratio(named(s, "sound modes proven when found"), at, of, "at least 0.15", atLeast(0.15))
	if s == Own {
		t.ratio(fmt.Sprintf("sound modes proven after %d tests", OnTo), later, ofLater, "at least 0.50", atLeast(0.5))
	}
}

func (r *Record) many() int {
	n := 0
	for _, f := range r.Faults {
		if !strings.HasPrefix(f, "stray") {
			n++
		}
	}
	return n
}

// right is how often what was found is what is there.
func (t *table) right(s Strategy, all []Record, faults int) {
	right, found, n := 0, 0, 0
	for _, r := range all {
		if r.many() != faults || strings.HasPrefix(r.Stop, "broken") {
			continue
		}
		n++
		if r.Stop == "found" {
			found++
			if r.Right {
				right++
			}
		}
	}
	if n == 0 {
		return
	}
	goal, reached := []string{"", "at least 97 %", "at least 98 %"}[faults], []func(float64) bool{nil, atLeast(0.97), atLeast(0.98)}[faults]
	what := []string{"no fault", "one fault", "two faults"}[faults]
	t.share(named(s, "right when found, "+what), right, found, goal, reached)
	t.share(named(s, "found at all, "+what), found, n, "", nil)
}

// stops is how many cases stop before the cap.
func (t *table) stops(s Strategy, all []Record) {
	at := map[string]int{}
	n := 0
	for _, r := range all {
		if !strings.HasPrefix(r.Stop, "broken") {
			at[r.Stop]++
			n++
		}
	}
	t.share(named(s, "stopped before the cap"), n-at["cap"], n, "at least 90 %", atLeast(0.9))
	t.share(named(s, "found"), at["found"], n, "", nil)
	t.share(named(s, "nothing tells any more"), at["nothing tells"], n, "", nil)
}

// search is how many tests it takes over how many it must.
func (t *table) search(s Strategy, all []Record) {
	var made, minutes, ones, tests, bits []float64
	for _, r := range all {
		if r.Stop != "found" || r.many() != 1 {
			continue
		}
		made, minutes, ones = append(made, float64(r.Tests)), append(minutes, r.Minutes), append(ones, 1)
		if r.Groups > 1 {
			tests, bits = append(tests, float64(r.Tests)), append(bits, math.Log2(float64(r.Groups)))
		}
	}
	goal, reached := "", (func(float64) bool)(nil)
	if s == Own {
		goal, reached = "at most 1.15", atMost(1.15)
	}
	t.ratio(named(s, "tests to find one fault, over log2 of groups"), tests, bits, goal, reached)
	t.ratio(named(s, "tests to find one fault"), made, ones, "", nil)
	t.ratio(named(s, "minutes to find one fault"), minutes, ones, "", nil)
}

// calibration adds the curve, and by how much its worst tenth is off: once with each case as
// one in each tenth that it came by, since a case that is stuck says the same again and
// again; and once with all that was said.
func (t *table) calibration(name string, all []Record, of func(*Record) *Calibration) {
	var cases, said curve
	for k := range all {
		c := of(&all[k])
		for b, n := range c.Said {
			if n > 0 {
				cases[b].add(1, c.Sum[b]/float64(n), float64(c.True[b])/float64(n))
				said[b].add(n, c.Sum[b], float64(c.True[b]))
			}
		}
	}
	t.rows = append(t.rows, cases.figure(name, true), said.figure(name+", every time", false))
}

// curve is by tenths of what was said how often that was, its sum, and how often it was so.
type curve [bins]tenth

type tenth struct {
	n      int
	p, was float64
}

func (t *tenth) add(n int, p, was float64) { t.n, t.p, t.was = t.n+n, t.p+p, t.was+was }

// figure of a curve, with the goal or as it is.
func (c *curve) figure(name string, goal bool) Figure {
	const enough = 100
	f, worst, most := Figure{Name: name}, 0.0, 0
	var parts []string
	for _, b := range c {
		if b.n == 0 {
			continue
		}
		p, is := b.p/float64(b.n), b.was/float64(b.n)
		f.Count, most = f.Count+b.n, max(most, b.n)
		if b.n >= enough {
			worst = math.Max(worst, math.Abs(p-is))
		}
		parts = append(parts, fmt.Sprintf("%.0f:%.0f/%d", 100*p, 100*is, b.n))
	}
	f.Value, f.Text = worst, "too few"
	if most >= enough {
		f.Text = fmt.Sprintf("off by %.1f points", 100*worst)
	}
	if goal {
		f.Goal = "within 5 points"
		if most >= enough {
			f.Met = met(worst <= 0.05)
		}
	}
	f.Text += "; said:true/times " + strings.Join(parts, " ")
	return f
}

// stray is what a path that nobody drew leads to.
func (t *table) stray(s Strategy, all []Record) {
	accused, narrowed, n := 0, 0, 0
	for _, r := range all {
		if strings.HasPrefix(r.Stop, "broken") {
			continue
		}
		n++
		if r.Narrowed || r.Stop == "found" && r.Top == notAsDrawn {
			narrowed++
			if !r.Right {
				accused++
			}
		}
	}
	t.share(named(s, "stray path: false accusation"), accused, n, "at most 2 %", atMost(0.02))
	t.share(named(s, "stray path: narrowed at all"), narrowed, n, "at least 70 %", atLeast(0.7))
}

// compare holds two strategies against each other on the cases that both found.
func (t *table) compare(own, other []Record, s Strategy) {
	if len(other) == 0 {
		return
	}
	at := map[uint64]*Record{}
	for k := range other {
		at[other[k].Case] = &other[k]
	}
	for _, sort := range []string{"chains", "branches and loops"} {
		var a, b []float64
		for _, r := range own {
			o := at[r.Case]
			if o == nil || r.Stop != "found" || o.Stop != "found" || (r.Shape == "chain") != (sort == "chains") {
				continue
			}
			a, b = append(a, float64(r.Tests)), append(b, float64(o.Tests))
		}
		goal, reached := "", (func(float64) bool)(nil)
		if s == Half && sort == "chains" {
			goal, reached = "at most 1.00", atMost(1)
		} else if s == Half {
			goal, reached = "at most 0.80", atMost(0.8)
		}
		t.ratio(fmt.Sprintf("tests over those of %s, %s", s, sort), a, b, goal, reached)
	}
}
