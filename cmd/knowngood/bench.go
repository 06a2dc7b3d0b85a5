package main

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"math"
	"os"
	"path/filepath"
	"runtime"
	"runtime/debug"
	"slices"
	"sync"
	"time"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"knowngood.example/cases/proving"
	"knowngood.example/client"
)

// benchRow is the stable shape of a figure.
type benchRow struct {
	Figure string   `json:"figure"`
	Value  *float64 `json:"value"`
	Low    *float64 `json:"low"`
	High   *float64 `json:"high"`
	Count  int      `json:"count"`
	Told   string   `json:"told"`
	Goal   string   `json:"goal"`
	Met    string   `json:"met"`
	Seed   uint64   `json:"seed"`
	Cases  uint64   `json:"cases"`
}

// benchFlags say what is played.
type benchFlags struct {
	settings          proving.Settings
	strategy, records string
	evidence          string
	cases, from       uint64
	jobs              int
	wider, steps      bool
}

func (o *benchFlags) add(f *pflag.FlagSet) {
	o.settings = proving.Clean()
	f.Uint64Var(&o.cases, "cases", 200, "how many cases of each strategy")
	f.Uint64Var(&o.from, "from-case", 0, "the number of the first case")
	f.Uint64Var(&o.settings.Seed, "seed", 1, "of all that is drawn; the same seed draws the same cases")
	f.StringVar(&o.strategy, "strategy", "own", "how the next test is chosen: own, half, random or all")
	f.StringVar(&o.settings.Faults, "faults", "any", "how many faults: any, none, one or two")
	f.StringVar(&o.settings.Kind, "kind", "any", "which circuits: any, chain, branches, shared or loops")
	f.IntVar(&o.settings.Smallest, "smallest", 5, "elements of the smallest circuit")
	f.IntVar(&o.settings.Largest, "largest", 40, "elements of the largest circuit")
	f.Float64Var(&o.settings.Gross, "gross", 0, "share of readings that are grossly wrong, such as 0.03")
	f.BoolVar(&o.settings.Stray, "stray", false, "a path that nobody drew in every case")
	f.BoolVar(&o.settings.Intermittent, "intermittent", false, "faults come and go")
	f.BoolVar(&o.wider, "wider", false, "parameters 1.5 times as wide as stated")
	f.BoolVar(&o.settings.Clamp, "clamp", false, "the current is read with each drop")
	f.BoolVar(&o.settings.OneCost, "one-cost", false, "every test costs the same, as the goals that count tests have it")
	f.StringVar(&o.evidence, "evidence", "readings", "readings, tests or mixed")
	f.StringVar(&o.settings.Truth, "truth", "plain", "who solves the vehicle: plain or ngspice")
	f.IntVar(&o.jobs, "jobs", 0, "how many are played at once (default: as many as there are cores)")
	f.StringVar(&o.records, "records", "", "file of records: what is in it is kept, what is missing is played")
	f.BoolVar(&o.steps, "steps", false, "keep the single readings in the records")
}

func newBench(a *app) *cobra.Command {
	o := new(benchFlags)
	cmd := &cobra.Command{
		Use: "bench judgement", Short: "Play invented cases and count how often the judgement is right",
		Long: `  knowngood bench judgement --cases 500
  knowngood bench judgement --cases 2000 --strategy all --faults one --records runs.jsonl.gz
  knowngood bench judgement --cases 2000 --gross 0.03 -o json
  knowngood bench judgement --cases 1 --from-case 17 --steps --records one.jsonl.gz

Circuits and faults are invented, a solver that shares nothing with the judgement
says what a meter would show, and the judgement plays: reading by reading, until
something is probable to 0.95 or 30 readings are taken. The figures stand beside
their goals, with the limits between which they lie at 95 %. It ends with exit code
1 when anything that is faulty was ever called good.

A run that was ended goes on where it was with the same --records.`,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) != 1 || args[0] != "judgement" {
				return usagef("what is to be measured? There is 'knowngood bench judgement'")
			}
			return nil
		},
		ValidArgs: []string{"judgement"},
		RunE:      func(cmd *cobra.Command, _ []string) error { return runBench(cmd.Context(), a, o) },
	}
	o.add(cmd.Flags())
	return cmd
}

func runBench(ctx context.Context, a *app, o *benchFlags) error {
	s := o.settings
	s.Evidence = proving.Evidence(o.evidence)
	if o.wider {
		s.Wider = 1.5
	}
	strategies := proving.Strategies
	if o.strategy != "all" {
		strategies = []proving.Strategy{proving.Strategy(o.strategy)}
		if !slices.Contains(proving.Strategies, strategies[0]) {
			return usagef("--strategy cannot be %q: there are own, half, random, all", o.strategy)
		}
	}
	if err := s.Check(); err != nil {
		return usage{err}
	}
	if o.cases == 0 {
		return usagef("--cases cannot be 0")
	}
	r := &benchRun{settings: s, records: o.records, steps: o.steps, done: map[benchKey]bool{}}
	if s.Truth == "ngspice" {
		path, err := findSpice()
		if err != nil {
			return err
		}
		r.spice = path
	}
	if err := r.load(); err != nil {
		return err
	}
	var missing []benchKey
	for _, strategy := range strategies {
		for n := o.from; n < o.from+o.cases; n++ {
			if k := (benchKey{strategy, n}); !r.done[k] {
				missing = append(missing, k)
			}
		}
	}
	jobs := o.jobs
	if jobs <= 0 {
		jobs = runtime.GOMAXPROCS(0)
	}
	err := r.play(ctx, a, missing, jobs)
	if saved := r.save(); err == nil {
		err = saved
	}
	if err != nil {
		return err
	}
	wanted := slices.DeleteFunc(slices.Clone(r.all), func(x proving.Record) bool {
		return x.Case < o.from || x.Case >= o.from+o.cases || !slices.Contains(strategies, x.Strategy)
	})
	return r.tell(a, o, wanted)
}

// benchKey names a case as it is played.
type benchKey struct {
	strategy proving.Strategy
	number   uint64
}

// benchRun is a run of many cases.
type benchRun struct {
	settings proving.Settings
	records  string
	spice    string
	steps    bool

	mu    sync.Mutex
	all   []proving.Record
	done  map[benchKey]bool
	saved time.Time
	// spent is what the steps of this run took, all cores together.
	spent time.Duration
	made  int
}

// load reads what was played before.
func (r *benchRun) load() error {
	if r.records == "" {
		return nil
	}
	f, err := os.Open(r.records)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	} else if err != nil {
		return fmt.Errorf("cannot read the records: %w", err)
	}
	defer f.Close()
	s, all, err := proving.Read(f)
	if err != nil {
		return fmt.Errorf("%s: %w", r.records, err)
	}
	if s != r.settings {
		return usagef("%s holds records of other settings (%+v): name another file", r.records, s)
	}
	r.all = all
	for _, x := range all {
		r.done[benchKey{x.Strategy, x.Case}] = true
	}
	return nil
}

// save writes all records beside the file and puts them in its place.
func (r *benchRun) save() error {
	if r.records == "" {
		return nil
	}
	f, err := os.CreateTemp(filepath.Dir(r.records), filepath.Base(r.records)+".*")
	if err != nil {
		return fmt.Errorf("cannot keep the records: %w", err)
	}
	defer os.Remove(f.Name())
	err = proving.Write(f, r.settings, r.all)
	if closed := f.Close(); err == nil {
		err = closed
	}
	if err == nil {
		err = os.Rename(f.Name(), r.records)
	}
	if err != nil {
		return fmt.Errorf("cannot keep the records: %w", err)
	}
	return nil
}

// keepEvery is how often what was played is kept.
const keepEvery = time.Minute

// play plays what is missing, so many at once.
func (r *benchRun) play(ctx context.Context, a *app, missing []benchKey, jobs int) error {
	// A step leaves much behind that is soon forgotten: swept seldom, it takes a tenth less.
	defer debug.SetGCPercent(debug.SetGCPercent(400))
	progress := a.progressOf("played", len(missing))
	r.saved = a.now()
	var failed error
	keep := func(x proving.Record, took time.Duration) {
		r.mu.Lock()
		defer r.mu.Unlock()
		r.spent, r.made = r.spent+took, r.made+len(x.Steps)
		if !r.steps {
			x.Steps = nil
		}
		r.all = append(r.all, x)
		if a.now().Sub(r.saved) > keepEvery {
			if err := r.save(); err != nil && failed == nil {
				failed = err
			}
			r.saved = a.now()
		}
		progress()
	}
	queue := make(chan []benchKey)
	var workers sync.WaitGroup
	for range jobs {
		workers.Go(func() {
			for some := range queue {
				r.block(ctx, a.now, some, keep)
			}
		})
	}
	size := 1
	if r.spice != "" {
		size = lockstep
	}
	for some := range slices.Chunk(missing, size) {
		select {
		case queue <- some:
			continue
		case <-ctx.Done():
		}
		break
	}
	close(queue)
	workers.Wait()
	return errors.Join(failed, context.Cause(ctx))
}

// block plays some cases: one by one, or with ngspice side by side.
func (r *benchRun) block(ctx context.Context, now func() time.Time, some []benchKey, keep func(proving.Record, time.Duration)) {
	if r.spice == "" {
		for _, k := range some {
			began := now()
			x := proving.Play(r.settings, k.strategy, k.number, proving.Plain)
			keep(x, now().Sub(began))
		}
		return
	}
	began := now()
	b := newSpiceBatch(ctx, r.spice, len(some))
	var side sync.WaitGroup
	for _, k := range some {
		side.Go(func() {
			defer b.leave()
			if x := proving.Play(r.settings, k.strategy, k.number, b.solve); ctx.Err() == nil {
				keep(x, now().Sub(began)/time.Duration(len(some)))
			}
		})
	}
	side.Wait()
}

// tell writes the table, and fails where something faulty was called good.
func (r *benchRun) tell(a *app, o *benchFlags, all []proving.Record) error {
	proving.Sort(all)
	var rows []benchRow
	t := client.Table{Head: []string{"Figure", "Measured (limits at 95 %)", "Goal", "Met"}}
	number := func(v float64) *float64 {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return nil
		}
		return &v
	}
	for _, f := range proving.Table(r.settings, all) {
		rows = append(rows, benchRow{f.Name, number(f.Value), number(f.Lo), number(f.Hi), f.Count, f.Text, f.Goal, f.Met, r.settings.Seed, o.cases})
		t.Rows = append(t.Rows, []string{f.Name, f.Text, f.Goal, f.Met})
	}
	if err := a.show.Write(rows, func() client.Table { return t }); err != nil {
		return err
	}
	if a.show.Format == "table" {
		fmt.Fprintf(a.out, "%d cases from %d on, seed %d, %s, cap %d", o.cases, o.from, r.settings.Seed, o.strategy, proving.Cap)
		if r.made > 0 {
			fmt.Fprintf(a.out, "; %.1f ms a step", float64(r.spent.Microseconds())/1e3/float64(r.made))
		}
		fmt.Fprintln(a.out)
	}
	wrong := 0
	for _, x := range all {
		for _, w := range x.Wrong {
			if wrong++; wrong <= 10 {
				a.warn(fmt.Sprintf("called good though it is not: seed %d, case %d, %s, %s; play it again with --from-case %d --cases 1", r.settings.Seed, x.Case, x.Strategy, w, x.Case))
			}
		}
	}
	if wrong > 0 {
		return fmt.Errorf("%d times something faulty was called good", wrong)
	}
	return nil
}
