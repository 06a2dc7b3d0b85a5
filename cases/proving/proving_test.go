package proving

import (
	"bytes"
	"errors"
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"knowngood.example/cases/circuit"
	"knowngood.example/cases/circuit/plain"
	"knowngood.example/cases/suspect"
)

var (
	seed  = flag.Uint64("seed", 0, "of the cases that are played afresh, and of which recorded ones are played again; 0: another each time")
	cases = flag.Uint64("cases", 4, "how many are played afresh of each sort")
	shard = flag.Int("shard", 6, "how many of each file of recorded cases are played again")
)

// small are settings whose cases play in a moment.
func small() Settings {
	s := Clean()
	s.Seed, s.Largest = 20261125, 9
	return s
}

// fresh is a seed that nobody has played yet, unless one was asked for.
func fresh(t *testing.T) uint64 {
	t.Helper()
	s := *seed
	for s == 0 {
		s = rand.Uint64N(1e9)
	}
	t.Logf("play it again with -seed %d", s)
	return s
}

// TestShortForm plays a few new cases of every sort: nothing that is faulty is called
// good, no true reading lies outside what the judgement says can be. The long form
// is the command.
func TestShortForm(t *testing.T) {
	t.Parallel()
	from := fresh(t)
	for _, s := range []func(*Settings){
		func(*Settings) {}, func(s *Settings) { s.Faults = "two" }, func(s *Settings) { s.Kind = "loops" },
		func(s *Settings) { s.Intermittent = true }, func(s *Settings) { s.Evidence = Mixed },
	} {
		settings := small()
		settings.Seed = from
		s(&settings)
		require.NoError(t, settings.Check())
		var all []Record
		for n := range *cases {
			r := Play(settings, Own, n, Plain)
			require.Empty(t, r.Wrong, "seed %d, case %d", settings.Seed, n)
			require.Empty(t, r.Outside, "seed %d, case %d", settings.Seed, n)
			require.NotContains(t, r.Stop, "broken", "seed %d, case %d", settings.Seed, n)
			all = append(all, r)
		}
		rows := Table(settings, all)
		require.NotEqual(t, "no", rows[0].Met)
		require.NotZero(t, rows[1].Count, "readings were held against the bounds")
	}
}

// TestEverythingRead takes every reading there is, each drop with its current, which
// proves more than any player gets to see: still nothing that is faulty is called good,
// and no true reading or current lies outside what can be.
func TestEverythingRead(t *testing.T) {
	t.Parallel()
	s := Clean()
	s.Seed, s.Largest, s.Clamp = fresh(t), 12, true
	proven := 0
	for n := range 2 * *cases {
		table, rec := suspect.Default(), Record{Case: n}
		c, err := stage(&s, n, &table, Plain)
		require.NoError(t, err)
		p := &player{scenario: c, settings: &s, table: table, rec: &rec}
		problem := p.problem()
		p.readings()
		p.times, p.tells = make([]int, len(p.options)), make([]bool, len(p.options))
		take := func(from int) {
			for k, o := range p.options[from:] {
				all, err := o.do(p, from+k+1, 0)
				require.NoError(t, err)
				problem.Evidence = append(problem.Evidence, all...)
			}
			p.judge = judged(problem)
		}
		take(0)
		p.check(0)
		first := len(p.options)
		p.clearings()
		take(first)
		proven += p.check(len(p.options))
		require.Empty(t, rec.Wrong, "seed %d, case %d", s.Seed, n)
		require.Empty(t, rec.Outside, "seed %d, case %d", s.Seed, n)
	}
	require.NotZero(t, proven, "something is proven at all")
}

// TestNeighbours puts a short between two neighbours, alone and beside another fault, into
// vehicles whose priors seldom bring one, and takes every reading there is.
func TestNeighbours(t *testing.T) {
	t.Parallel()
	s := Clean()
	s.Seed, s.Largest, s.Clamp = fresh(t), 10, true
	played, pairs := 0, 0
	for n := uint64(0); (played < 2*int(*cases) || pairs == 0) && n < 60**cases; n++ {
		table, rec := suspect.Default(), Record{Case: n}
		c, err := stage(&s, n, &table, Plain)
		require.NoError(t, err)
		d := dice{rand.New(rand.NewPCG(s.Seed, n))}
		var can []int
		for k := range c.Elements {
			if len(c.Elements[k].Neighbours) > 0 {
				can = append(can, k)
			}
		}
		if len(can) == 0 {
			continue
		}
		k := one(d, can...)
		touching := c.spoil(d, k, suspect.ShortTo(c.Elements[k].Neighbours[0]))
		if pair := len(c.damages) > 0 && c.damages[0].element != k && n%2 == 0; pair {
			c.damages = append(c.damages[:1], touching)
			pairs++
		} else {
			c.damages = []damage{touching}
		}
		c.blown = nil
		e, err := c.rest(&state{damages: c.damages, asked: c.asked, posts: c.truth.posts}, 0, 0, 0)
		if err != nil {
			continue // a relay chatters
		}
		for k, is := range e.blown {
			if is {
				c.blown = append(c.blown, k)
			}
		}
		played++
		p := &player{scenario: c, settings: &s, table: table, rec: &rec}
		problem := p.problem()
		p.readings()
		p.tells = make([]bool, len(p.options))
		for k, o := range p.options {
			all, err := o.do(p, k+1, 0)
			require.NoError(t, err)
			problem.Evidence = append(problem.Evidence, all...)
		}
		p.judge = judged(problem)
		p.check(len(p.options))
		require.Empty(t, rec.Wrong, "seed %d, case %d", s.Seed, n)
		require.Empty(t, rec.Outside, "seed %d, case %d", s.Seed, n)
	}
	require.GreaterOrEqual(t, played, 2*int(*cases))
	require.NotZero(t, pairs)
}

// TestRecorded plays a shard of the recorded cases again, another one each time: each
// comes out as it was recorded. Where a change is meant to move them, they are played
// anew by the command, see the package's description.
func TestRecorded(t *testing.T) {
	t.Parallel()
	files, err := filepath.Glob("../../testdata/played/*.jsonl.gz")
	require.NoError(t, err)
	require.NotEmpty(t, files)
	of := rand.New(rand.NewPCG(fresh(t), 0))
	for _, file := range files {
		f, err := os.Open(file)
		require.NoError(t, err)
		s, all, err := Read(f)
		require.NoError(t, f.Close())
		require.NoError(t, err)
		require.Equal(t, "plain", s.Truth, "%s: what another solver said cannot be played again", file)
		require.NotEmpty(t, all)
		for _, k := range of.Perm(len(all))[:min(*shard, len(all))] {
			r := Play(s, all[k].Strategy, all[k].Case, Plain)
			r.Steps = nil
			require.Equal(t, all[k], r, "%s, %s, case %d", file, r.Strategy, r.Case)
		}
	}
}

// A case gives the same record whenever it is played, whoever was played before.
func TestReplays(t *testing.T) {
	t.Parallel()
	s := small()
	s.Gross, s.Intermittent, s.Clamp, s.Largest = 0.1, true, true, 7
	first := map[string]Record{}
	for n := range uint64(3) {
		for _, strategy := range Strategies {
			first[fmt.Sprint(n, strategy)] = Play(s, strategy, n, Plain)
		}
	}
	for n := uint64(3); n > 0; n-- {
		for _, strategy := range Strategies {
			require.Equal(t, first[fmt.Sprint(n-1, strategy)], Play(s, strategy, n-1, Plain))
		}
		own, half := first[fmt.Sprint(n-1, Own)], first[fmt.Sprint(n-1, Half)]
		require.Equal(t, own.Faults, half.Faults, "all strategies meet the same vehicle")
		require.Equal(t, own.Size, half.Size)
	}
}

func TestRecordsAreKept(t *testing.T) {
	t.Parallel()
	s := small()
	s.Evidence = Tests
	var all []Record
	for n := range uint64(4) {
		all = append(all, Play(s, Own, 3-n, Plain))
	}
	var b bytes.Buffer
	require.NoError(t, Write(&b, s, all))
	got, back, err := Read(bytes.NewReader(b.Bytes()))
	require.NoError(t, err)
	require.Equal(t, s, got)
	require.Equal(t, all, back)
	require.Equal(t, uint64(0), back[0].Case, "they are sorted")
	_, _, err = Read(strings.NewReader("nothing"))
	require.Error(t, err)
}

// What is drawn is what the package's description says.
func TestWhatIsDrawn(t *testing.T) {
	t.Parallel()
	s := Clean()
	table := suspect.Default()
	modes, shapes, kinds := map[string]bool{}, map[string]bool{}, map[circuit.Kind]bool{}
	blown, unknown, idle := 0, 0, 0
	for n := range uint64(1200) {
		c, err := stage(&s, n, &table, Plain)
		require.NoError(t, err)
		shapes[c.shape] = true
		require.GreaterOrEqual(t, len(c.Elements), 5, "case %d", n)
		require.LessOrEqual(t, len(c.Elements), 42, "case %d", n)
		keys := map[string]bool{}
		for k, e := range c.Elements {
			require.NotEqual(t, e.From, e.To, "case %d: %s", n, e.Key)
			require.False(t, keys[e.Key], "case %d: two are called %s", n, e.Key)
			keys[e.Key] = true
			kinds[e.Kind] = true
			if e.Kind != circuit.Diode {
				require.True(t, e.Ohms.Holds(c.ohms[k]), "case %d: %s has %g, stated is %v", n, e.Key, c.ohms[k], e.Ohms)
			}
			if e.Kind >= circuit.Load && e.Ohms.Hi > 30*e.Ohms.Lo {
				unknown++
			}
		}
		for _, d := range c.damages {
			modes[fmt.Sprint(c.Elements[d.element].Kind, d.mode)] = true
		}
		if len(c.blown) > 0 {
			blown++
		}
		if !c.asked {
			idle++
		}
	}
	require.Len(t, shapes, 4)
	require.GreaterOrEqual(t, len(kinds), 13)
	require.Greater(t, len(modes), 20)
	require.NotZero(t, blown)
	require.NotZero(t, unknown)
	require.NotZero(t, idle, "what works though nobody asks it to")
}

// Wider draws outside what is stated.
func TestWider(t *testing.T) {
	t.Parallel()
	s := Clean()
	s.Wider = 1.5
	table := suspect.Default()
	beyond, n := 0, 0
	for number := range uint64(20) {
		c, err := stage(&s, number, &table, Plain)
		require.NoError(t, err)
		for k, e := range c.Elements {
			if e.Kind == circuit.Contact {
				n++
				if !e.Ohms.Holds(c.ohms[k]) {
					beyond++
				}
				mid := math.Sqrt(e.Ohms.Lo * e.Ohms.Hi)
				require.LessOrEqual(t, math.Abs(math.Log(c.ohms[k]/mid)), 1.5*math.Log(e.Ohms.Hi/mid)*1.0001)
			}
		}
	}
	require.Greater(t, beyond, n/10)
}

// boaster proves everything good, whatever was read.
type boaster struct {
	judge
	faults []suspect.Fault
}

func (b boaster) With(e suspect.Evidence) judge { return boaster{b.judge.With(e), b.faults} }

func (b boaster) Proofs() ([]suspect.Proof, []suspect.Again) {
	var out []suspect.Proof
	for _, f := range b.faults {
		out = append(out, suspect.Proof{Part: f.Part, Mode: f.Mode})
	}
	return out, nil
}

// The simulation can fail: a judgement that proves everything is caught in every
// case that has a fault.
func TestBoasterIsCaught(t *testing.T) {
	t.Parallel()
	s := small()
	s.Faults = "one"
	var all []Record
	for n := range uint64(5) {
		r := play(s, Random, n, Plain, func(p suspect.Problem) judge { return boaster{judged(p), p.Faults} })
		require.NotEmpty(t, r.Wrong)
		require.Contains(t, r.Wrong[0], r.Faults[0])
		all = append(all, r)
	}
	rows := Table(s, all)
	require.Equal(t, "no", rows[0].Met)
	require.InDelta(t, float64(rows[0].Count), 5, 0)
	require.GreaterOrEqual(t, rows[0].Value, 1.0)
}

// accuser is sure of the first part from the start.
type accuser struct {
	judge
	part suspect.Part
}

func (a accuser) With(e suspect.Evidence) judge { return accuser{a.judge.With(e), a.part} }

func (a accuser) Suspects() []suspect.Suspect {
	return []suspect.Suspect{{Part: a.part, Probability: 0.99}}
}

// A judgement that is sure of the wrong part is counted as wrong, and as badly
// calibrated.
func TestAccuserIsCaught(t *testing.T) {
	t.Parallel()
	s := small()
	s.Faults = "one"
	var all []Record
	for n := range uint64(120) {
		all = append(all, play(s, Half, n, Plain, func(p suspect.Problem) judge { return accuser{judged(p), suspect.Part{Key: "no such part"}} }))
	}
	for _, f := range Table(s, all) {
		switch f.Name {
		case "half: right when found, one fault":
			require.Equal(t, "no", f.Met)
			require.Equal(t, 120, f.Count)
			require.Zero(t, f.Value)
		case "half: calibration of the likeliest":
			require.Equal(t, "no", f.Met)
			require.InDelta(t, 0.99, f.Value, 1e-9)
		}
	}
}

// A solver that lies puts true readings outside the bounds.
func TestLyingSolverIsCaught(t *testing.T) {
	t.Parallel()
	s := small()
	s.Faults = "none"
	outside := 0
	for n := range uint64(5) {
		lying := false
		r := play(s, Random, n, func(c *plain.Circuit) ([]float64, error) {
			v, err := Plain(c)
			for k := 2; lying && k < len(v); k++ {
				v[k] *= 0.7
			}
			return v, err
		}, func(p suspect.Problem) judge { lying = true; return judged(p) })
		outside += len(r.Outside)
	}
	require.NotZero(t, outside)
	r := Play(s, Own, 1, func(*plain.Circuit) ([]float64, error) { return nil, errors.New("none") })
	require.Contains(t, r.Stop, "broken")
}

// A figure of records made by hand.
func TestFiguresByHand(t *testing.T) {
	t.Parallel()
	all := []Record{
		{Case: 0, Strategy: Own, Shape: "chain", Faults: []string{"a: open"}, Tests: 4, Groups: 16, Stop: "found", Right: true, Sound: 10, Proven: 2, ProvenOnTo: 6},
		{Case: 1, Strategy: Own, Shape: "loops", Faults: []string{"b: open"}, Tests: 2, Groups: 4, Stop: "found", Sound: 10, Proven: 1, ProvenOnTo: 4},
		{Case: 2, Strategy: Own, Shape: "loops", Faults: []string{"b: open"}, Tests: 30, Groups: 4, Stop: "cap", Sound: 10, ProvenOnTo: -1, Wrong: []string{"step 3: b: open", "step 4: b: open"}},
		{Case: 0, Strategy: Half, Shape: "chain", Faults: []string{"a: open"}, Tests: 5, Stop: "found"},
		{Case: 1, Strategy: Half, Shape: "loops", Faults: []string{"b: open"}, Tests: 4, Stop: "found"},
		{Case: 2, Strategy: Half, Shape: "loops", Faults: []string{"b: open"}, Tests: 1, Stop: "found"},
	}
	value := map[string]float64{}
	for _, f := range Table(Clean(), all) {
		value[f.Name] = f.Value
	}
	require.InDelta(t, 1./3, value["faulty modes proven good, of all faults"], 1e-12, "a fault counts once")
	require.InDelta(t, 0.15, value["sound modes proven when found"], 1e-12)
	require.InDelta(t, 0.5, value["sound modes proven after 10 tests"], 1e-12)
	require.InDelta(t, 0.5, value["right when found, one fault"], 1e-12)
	require.InDelta(t, 1, value["tests to find one fault, over log2 of groups"], 1e-12)
	require.InDelta(t, 2./3, value["stopped before the cap"], 1e-12)
	require.InDelta(t, 0.8, value["tests over those of half, chains"], 1e-12)
	require.InDelta(t, 0.5, value["tests over those of half, branches and loops"], 1e-12)
}

// The baseline halves: of a chain of contacts it reads in the middle.
func TestHalfSplitHalves(t *testing.T) {
	t.Parallel()
	c := &circuit.Circuit{System: 12, Points: []string{"batt-", "batt+"}}
	w := &drawing{Circuit: c, shape: "chain", d: throw(1, 1, "chain"), counts: map[string]int{}}
	at := w.guard(plus, 3)
	for range 8 {
		to := w.point()
		w.low(circuit.Contact, at, to, 2)
		at = to
	}
	w.load(circuit.Lamp, 2, at, minus)
	w.Elements[len(w.Elements)-1].Ohms = circuit.About(6.5, 0.15)
	w.Compile()
	s := small()
	truth := build(throw(1, 1, "vehicle"), w, 1, Plain)
	p := &player{scenario: &scenario{truth: truth, asked: true, seen: true, present: 1, posts: circuit.Span{Lo: 12.3, Hi: 12.5}}, settings: &s, strategy: Half, table: suspect.Default(), rec: &Record{}}
	p.judge = judged(p.problem())
	p.readings()
	p.times, p.tells = make([]int, len(p.options)), make([]bool, len(p.options))
	r, ok := p.options[p.choose("")].(*reading)
	require.True(t, ok)
	require.Equal(t, minus, r.black)
	require.GreaterOrEqual(t, r.red, 5)
	require.LessOrEqual(t, r.red, 7)
}
