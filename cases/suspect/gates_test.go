package suspect_test

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strconv"
	"testing"

	"github.com/stretchr/testify/require"

	"knowngood.example/cases/suspect"
)

// gate makes one number of two. What a bad one makes can be anything.
type gate struct {
	name string
	from [2]string
	to   string
	of   func(a, b int) int
}

// gates is a circuit, written out plainly: a model for these tests alone, which
// knows nothing of how the engine reasons.
type gates struct {
	all    []gate // each after those it reads
	values int    // a wire carries 0 up to below this
}

func (g gates) parts() []suspect.Part {
	var out []suspect.Part
	for _, x := range g.all {
		out = append(out, part(x.name))
	}
	return out
}

// behaviours calls f with every assignment of numbers to wires that agrees with
// what was seen, inputs among it, when the gates in bad are free and the others do
// as they should; until f returns false.
func (g gates) behaviours(bad uint, seen map[string]int, f func(wires map[string]int) bool) {
	wires := maps.Clone(seen)
	var settle func(k int) bool
	settle = func(k int) bool {
		if k == len(g.all) {
			return f(wires)
		}
		x := g.all[k]
		from, to := 0, g.values
		if bad>>k&1 == 0 {
			from = x.of(wires[x.from[0]], wires[x.from[1]])
			to = from + 1
		}
		if v, ok := seen[x.to]; ok {
			return v < from || v >= to || settle(k+1)
		}
		for v := from; v < to; v++ {
			wires[x.to] = v
			if !settle(k + 1) {
				return false
			}
		}
		delete(wires, x.to)
		return true
	}
	settle(0)
}

// fits reports whether what was seen can be when just these gates may be bad.
func (g gates) fits(bad uint, seen map[string]int) bool {
	any := false
	g.behaviours(bad, seen, func(map[string]int) bool { any = true; return false })
	return any
}

// conflicts are the least sets of gates that cannot all be good.
func (g gates) conflicts(seen map[string]int) [][]suspect.Part {
	all := uint(1)<<len(g.all) - 1
	return named(minimal(len(g.all), func(good uint) bool { return !g.fits(all&^good, seen) }), g.parts())
}

// diagnoses are the least sets of gates that, being bad, explain what was seen:
// straight from the model, with no conflicts in between.
func (g gates) diagnoses(seen map[string]int) [][]suspect.Part {
	return named(minimal(len(g.all), func(bad uint) bool { return g.fits(bad, seen) }), g.parts())
}

func add(a, b int) int { return a + b }
func mul(a, b int) int { return a * b }
func and(a, b int) int { return a & b }
func or(a, b int) int  { return a | b }
func xor(a, b int) int { return a ^ b }

func nand(a, b int) int { return 1 - a&b }

// Three multipliers and two adders; numbers to 24 as in the clingo model.
func polybox() (gates, map[string]int) {
	return gates{values: 25, all: []gate{
		{"m1", [2]string{"A", "C"}, "X", mul}, {"m2", [2]string{"B", "D"}, "Y", mul}, {"m3", [2]string{"C", "E"}, "Z", mul},
		{"a1", [2]string{"X", "Y"}, "F", add}, {"a2", [2]string{"Y", "Z"}, "G", add},
	}}, map[string]int{"A": 3, "B": 2, "C": 2, "D": 3, "E": 3, "F": 10, "G": 12}
}

func fullAdder() (gates, map[string]int) {
	return gates{values: 2, all: []gate{
		{"x1", [2]string{"a", "b"}, "1", xor}, {"x2", [2]string{"1", "in"}, "sum", xor},
		{"a1", [2]string{"a", "b"}, "3", and}, {"a2", [2]string{"in", "1"}, "2", and}, {"o1", [2]string{"2", "3"}, "carry", or},
	}}, map[string]int{"a": 1, "b": 0, "in": 1, "sum": 1, "carry": 0}
}

func c17() gates {
	g := gates{values: 2}
	for _, x := range [][3]string{{"10", "1", "3"}, {"11", "3", "6"}, {"16", "2", "11"}, {"19", "11", "7"}, {"22", "10", "16"}, {"23", "16", "19"}} {
		g.all = append(g.all, gate{x[0], [2]string{x[1], x[2]}, x[0], nand})
	}
	return g
}

// c17Inputs reads five digits.
func c17Inputs(digits string) map[string]int {
	seen := map[string]int{}
	for i, wire := range []string{"1", "2", "3", "6", "7"} {
		seen[wire] = int(digits[i] - '0')
	}
	return seen
}

// c17Seen adds what was seen at the outputs.
func c17Seen(digits string, o22, o23 int) map[string]int {
	seen := c17Inputs(digits)
	seen["22"], seen["23"] = o22, o23
	return seen
}

// ISCAS-85, all 32 rows: the model is the published circuit.
func TestC17Truth(t *testing.T) {
	t.Parallel()
	rows := published(t, "c17_truth.csv")
	require.Len(t, rows, 32)
	for _, row := range rows {
		found := 0
		c17().behaviours(0, c17Inputs(row["inputs_1_2_3_6_7"]), func(wires map[string]int) bool {
			found++
			require.Equal(t, row["o22"]+row["o23"], fmt.Sprintf("%d%d", wires["22"], wires["23"]), "%v", row)
			return true
		})
		require.Equal(t, 1, found)
	}
}

// observed is a published observation of a circuit of gates.
type observed struct {
	example string
	gates   gates
	seen    map[string]int
}

func observations() []observed {
	p, pSeen := polybox()
	a, aSeen := fullAdder()
	return []observed{
		{"polybox", p, pSeen}, {"full adder", a, aSeen},
		{"c17 00", c17(), c17Seen("11111", 0, 0)}, {"c17 11", c17(), c17Seen("11111", 1, 1)},
		{"c17 01", c17(), c17Seen("11111", 0, 1)}, {"c17 10", c17(), c17Seen("11111", 1, 0)},
	}
}

// Diagnoses from the model to the published answer. polybox: J. de Kleer and B. C.
// Williams, Diagnosing multiple faults, Artificial Intelligence 32, 1987; full
// adder: R. Reiter, A theory of diagnosis from first principles, the same volume;
// c17: ISCAS-85, diagnoses agreed by clingo.
func TestDiagnosesOfGates(t *testing.T) {
	t.Parallel()
	for _, o := range observations() {
		row := example(t, o.example)
		want := sets(row["minimal_diagnoses"])
		conflicts := o.gates.conflicts(o.seen)
		if row["conflicts"] != "model" {
			require.Equal(t, sets(row["conflicts"]), conflicts, o.example)
		}
		require.Equal(t, want, o.gates.diagnoses(o.seen), "%s: the model by itself", o.example)
		require.Equal(t, want, suspect.MinimalHittingSets(conflicts, 0), o.example)
	}
}

// All inputs of c17 with all wrong outputs: hitting sets of the conflicts are what
// the model gives without conflicts.
func TestDiagnosesOfC17(t *testing.T) {
	t.Parallel()
	g := c17()
	for _, row := range published(t, "c17_truth.csv") {
		for seen := range 4 {
			s := c17Seen(row["inputs_1_2_3_6_7"], seen>>1, seen&1)
			conflicts := g.conflicts(s)
			good := fmt.Sprintf("%02b", seen) == row["o22"]+row["o23"]
			require.Equal(t, good, len(conflicts) == 0)
			require.Equal(t, g.diagnoses(s), suspect.MinimalHittingSets(conflicts, 0), "%v, seen %02b", row, seen)
		}
	}
}

// conflicting are tests that fail, each on the parts of one conflict.
func conflicting(conflicts [][]suspect.Part) []suspect.Evidence {
	var out []suspect.Evidence
	for i, c := range conflicts {
		e := &suspect.Coverage{ID: fmt.Sprint("conflict ", i), Setup: fmt.Sprint(i), Fails: true, Shares: shares}
		for _, p := range c {
			e.Covers = append(e.Covers, suspect.Cover{Part: p})
		}
		out = append(out, e)
	}
	return out
}

// explained lists the explanations, and how probable each is.
func explained(j *suspect.Judgement) (all [][]suspect.Part, probability map[string]float64) {
	all, probability = [][]suspect.Part{}, map[string]float64{}
	for _, e := range j.Explanations() {
		all = append(all, e.Parts)
		probability[fmt.Sprint(e.Parts)] = e.Probability
	}
	return sorted(all), probability
}

// blamed names the parts of a hypothesis as explained does.
func blamed(h suspect.Hypothesis) string {
	list := []suspect.Part{}
	for _, f := range h {
		list = append(list, f.Part)
	}
	slices.SortFunc(list, compare)
	return fmt.Sprint(list)
}

// The same sources, through the engine: each conflict as a test that failed.
func TestExplanationsAsPublished(t *testing.T) {
	t.Parallel()
	check := func(name string, conflicts [][]suspect.Part) (of func(names ...string) float64) {
		var names []string
		for _, p := range slices.Concat(conflicts...) {
			if !slices.Contains(names, p.Key) {
				names = append(names, p.Key)
			}
		}
		fs, evidence := faults(0.01, names...), conflicting(conflicts)
		want := slices.DeleteFunc(sets(example(t, name)["minimal_diagnoses"]), func(s []suspect.Part) bool { return len(s) == 0 || len(s) > 3 })
		if len(conflicts) > 0 {
			want = append([][]suspect.Part{{suspect.NotNamed}}, want...) // it explains whatever failed
		}
		got, probability := explained(suspect.Judge(suspect.Problem{Faults: fs, Evidence: evidence}))
		require.ElementsMatch(t, want, got, name)
		hs, p := weighed(fs, evidence)
		for i, h := range hs {
			if said, ok := probability[blamed(h)]; ok {
				require.InEpsilon(t, p[i], said, 1e-9, "%s: that exactly %v are bad", name, blamed(h))
			}
		}
		// Piece by piece, from the last to the first, it comes to the same.
		j := suspect.Judge(suspect.Problem{Faults: fs})
		for _, e := range slices.Backward(evidence) {
			j = j.With(e)
		}
		again, _ := explained(j)
		require.ElementsMatch(t, want, again, name)
		return func(names ...string) float64 { return probability[fmt.Sprint(parts(names...))] }
	}
	for _, o := range observations() {
		check(o.example, o.gates.conflicts(o.seen))
	}
	check("seven sets", sets(example(t, "seven sets")["conflicts"]))
	check("pruning trap", sets(example(t, "pruning trap")["conflicts"]))

	// Equal priors: the single faults of the polybox are alike, so are the pairs, and
	// one fault is likelier than two by about its prior.
	p, seen := polybox()
	of := check("polybox", p.conflicts(seen))
	require.InEpsilon(t, of("a1"), of("m1"), 1e-9)
	require.InEpsilon(t, of("a2", "m2"), of("m2", "m3"), 1e-9)
	require.InEpsilon(t, 0.01, of("m2", "m3")/of("a1"), 0.02)
}

// probe measures one wire of a circuit of gates.
type probe struct {
	gates gates
	seen  map[string]int
	wire  string
}

func (p *probe) Setup() string       { return "" }
func (p *probe) Cost(string) float64 { return 1 }

// Outcomes are the numbers that may be found: each that the model allows alike, as
// de Kleer and Williams take it. When not even the bad gates explain what was seen,
// something was read wrong, and the inputs alone speak; what something not named
// does to a wire, nobody knows.
func (p *probe) Outcomes(h suspect.Hypothesis) []suspect.Chance {
	bad, unknown := uint(0), false
	for _, f := range h {
		unknown = unknown || f.Part == suspect.NotNamed
		if i := slices.Index(p.gates.parts(), f.Part); i >= 0 {
			bad |= 1 << i
		}
	}
	can := map[int]bool{}
	seen := p.seen
	if !p.gates.fits(bad, seen) {
		seen = maps.Clone(seen)
		delete(seen, "F")
		delete(seen, "G")
	}
	p.gates.behaviours(bad, seen, func(wires map[string]int) bool {
		can[wires[p.wire]] = true
		return true
	})
	out := make([]suspect.Chance, p.gates.values)
	for v := range out {
		out[v].Outcome = strconv.Itoa(v)
		switch {
		case unknown:
			out[v].P = 1 / float64(len(out))
		case can[v]:
			out[v].P = 1 / float64(len(can))
		}
	}
	return out
}

// The best next measurement of the polybox is X: J. de Kleer and B. C. Williams,
// 1987, as above. They know nothing of what is not named, so it is asked with
// that next to impossible, and with it as likely as any gate.
func TestBestProbeOfThePolybox(t *testing.T) {
	t.Parallel()
	p, seen := polybox()
	for _, notNamed := range []float64{1e-9, 0.01} {
		fs := faults(0.01, "m1", "m2", "m3", "a1", "a2")
		fs[0].Prior = notNamed
		evidence := conflicting(p.conflicts(seen))
		j := suspect.Judge(suspect.Problem{Faults: fs, Evidence: evidence})
		var all []suspect.Candidate
		for _, wire := range []string{"Z", "Y", "X"} { // the best comes last
			all = append(all, &probe{p, seen, wire})
		}
		ranked := j.Next(all, "")
		require.Len(t, ranked, 3)
		var most, rest float64
		for _, r := range ranked {
			first, all := information(fs, evidence, r.Candidate)
			require.InDelta(t, (1-suspect.Besides)*first+suspect.Besides*all, r.Gain, 1e-4)
			if wire := r.Candidate.(*probe).wire; wire == "X" {
				most = r.Gain
			} else {
				rest = max(rest, r.Gain)
			}
		}
		require.Greater(t, most, 3*rest, "they take what leaves the least entropy after one step: X, by far")
		require.Equal(t, "X", ranked[0].Candidate.(*probe).wire, "with all of equal cost, the search nearly always ends with X")
	}
}

// weighed lists every hypothesis of at most two faults with its probability, worked
// out plainly. Each part has one fault here.
func weighed(fs []suspect.Fault, evidence []suspect.Evidence) (hs []suspect.Hypothesis, p []float64) {
	hs = []suspect.Hypothesis{nil}
	for i := range fs {
		hs = append(hs, fs[i:i+1])
		for k := i + 1; k < len(fs); k++ {
			hs = append(hs, suspect.Hypothesis{fs[i], fs[k]})
		}
	}
	total := 0.0
	for _, h := range hs {
		w := 1.0
		for _, f := range h {
			w *= f.Prior
		}
		for _, e := range evidence {
			w *= math.Exp(e.(suspect.Plain).LogLik(h))
		}
		p = append(p, w)
		total += w
	}
	for i := range p {
		p[i] /= total
	}
	return hs, p
}

// information is what a candidate tells of which part to go to first, which is of those
// that are bad and not found already the likeliest, and of which parts are bad, in bits, worked out plainly: the
// entropy of what is asked less what is expected to be left of it.
func information(fs []suspect.Fault, evidence []suspect.Evidence, c suspect.Candidate) (first, all float64) {
	hs, p := weighed(fs, evidence)
	bad := map[suspect.Part]float64{}
	for i, h := range hs {
		for _, f := range h {
			bad[f.Part] += p[i]
		}
	}
	each, likeliest := make([]string, len(hs)), make([]string, len(hs))
	for i, h := range hs {
		most := 0.0
		likeliest[i] = "nobody"
		for _, f := range h {
			each[i] += f.Part.Key + " "
			if bad[f.Part] < 0.95 && bad[f.Part] > most {
				most, likeliest[i] = bad[f.Part], f.Part.Key
			}
		}
	}
	told := func(of []string) float64 {
		entropy := func(p []float64) float64 {
			sums, total := map[string]float64{}, 0.0
			for i, name := range of {
				sums[name] += p[i]
				total += p[i]
			}
			var shares []float64
			for _, sum := range sums {
				shares = append(shares, sum/total)
			}
			return suspect.Entropy(shares...)
		}
		left := 0.0
		for o := range c.Outcomes(nil) {
			after, sum := make([]float64, len(hs)), 0.0
			for i, h := range hs {
				after[i] = p[i] * c.Outcomes(h)[o].P
				sum += after[i]
			}
			if sum > 0 {
				left += sum * entropy(after)
			}
		}
		return entropy(p) - left
	}
	return told(likeliest), told(each)
}
