package web

import (
	"fmt"
	"net/http"
	"slices"
	"sync"

	"knowngood.example/cases/brief"
)

// shownAtMost is how many entries a replay draws; older ones are gone through with
// the slider.
const shownAtMost = 200

// bands are how many suspects a chart tells apart; the others are one.
const bands = 5

// replayView is the case as it stood at one entry.
type replayView struct {
	ID, Title      string
	At, Head, Prev uint64
	Following      uint64
	Row, Then      *row
	Tested         int
	OnlyBelieved   int
	Temporary      int
	Suspects       []brief.Share
	Sections       []section
	Chart          *chart
}

func showReplay(v *visit) error {
	return v.desk.Case(v.r.Context(), v.stream(), func(c *Case) error {
		at, err := v.seq("at", c.Head())
		if err != nil {
			return err
		}
		k := c.AsOf(at)
		judged := k.Judge(c.Table)
		doc := brief.Brief(judged, v.who.Names)
		b := replayView{
			ID: c.Stream, Title: c.VehicleWords() + ", " + c.ConcernWords(), At: at, Head: c.Head(), Tested: len(k.Tested()), OnlyBelieved: len(k.Unsettled()), Temporary: len(k.StillOn()),
			Suspects: brief.Shares(judged),
		}
		if at > 1 {
			b.Prev = at - 1
		}
		one := v.row(c, k.Row(k.Step(at), v.who.Names))
		b.Row = &one
		if at < c.Head() {
			b.Following = at + 1
			then := v.row(c, c.Row(c.Step(at+1), v.who.Names))
			b.Then = &then
		}
		for _, title := range []string{"Proven", "What would explain it", "Only believed", "Temporary, still on"} {
			for _, s := range doc.Sections {
				if s.Title == title {
					b.Sections = append(b.Sections, cut(c.Stream, s))
				}
			}
		}
		if b.Chart, err = v.charts.of(v.who, c); err != nil {
			return err
		}
		if v.r.URL.Query().Get("part") != "" {
			return v.part("replay", "moment", b)
		}
		return v.page(http.StatusOK, "replay", &view{Title: "Replay: " + c.VehicleWords(), Case: c.Stream, Here: "replay", Body: b})
	})
}

// The picture of a chart is so wide and high; the page scales it.
const chartWide, chartHigh = 600, 240

// chartEdge is how far from the edges a number has to stand to be whole.
const chartEdge = 12

// chart is how the suspects stood over the entries, stacked.
type chart struct {
	head        uint64
	From, Width uint64
	Bands       []band
	Fitted      []fitted
}

// band is one suspect: its outline, as the points of a polygon. N counts from 1, and
// stands in the band at X and Y where it is high enough for that.
type band struct {
	N      int
	Name   string
	Points string
	X, Y   float64
	Label  bool
}

// fitted marks a part that was put in, X along the entries.
type fitted struct {
	X                 float64
	Seq               uint64
	Part, Grade, Cost string
}

// charts are kept as long as their case stands as it did.
type charts struct {
	mu sync.Mutex
	by map[string]*chart
}

func (k *charts) of(who *Who, c *Case) (*chart, error) {
	k.mu.Lock()
	made := k.by[c.Stream]
	k.mu.Unlock()
	if made != nil && made.head == c.Head() {
		return made, nil
	}
	made, err := draw(who, c)
	if err != nil {
		return nil, err
	}
	k.mu.Lock()
	defer k.mu.Unlock()
	if k.by == nil || len(k.by) > 64 {
		k.by = map[string]*chart{}
	}
	k.by[c.Stream] = made
	return made, nil
}

func draw(who *Who, c *Case) (*chart, error) {
	out := &chart{head: c.Head(), From: 1}
	if c.Head() > shownAtMost {
		out.From = c.Head() - shownAtMost + 1
	}
	out.Width = c.Head() - out.From + 1
	var moments []brief.Moment
	most := map[string]float64{}
	for m, err := range brief.Replay(c.Case, who.Names, c.Table, out.From, 0) {
		if err != nil {
			return nil, err
		}
		for _, s := range m.Suspects {
			most[s.Component] = max(most[s.Component], s.Probability)
		}
		if m.Fitted != "" {
			out.Fitted = append(out.Fitted, fitted{out.x(int(m.Row.Step.Seq - out.From)), m.Row.Step.Seq, m.Fitted, m.Grade, m.Cost})
		}
		moments = append(moments, m)
	}
	var names []string
	for name := range most {
		names = append(names, name)
	}
	slices.SortFunc(names, func(a, b string) int {
		switch {
		case most[a] > most[b]:
			return -1
		case most[a] < most[b]:
			return 1
		case a < b:
			return -1
		}
		return 1
	})
	names = names[:min(bands, len(names))]
	below := make([]float64, len(moments))
	for i, name := range names {
		b := band{N: i + 1, Name: name}
		var up, down string
		highest := 0.12 // below that there is no room for a number
		for x, m := range moments {
			p := 0.0
			for _, s := range m.Suspects {
				if s.Component == name {
					p = s.Probability
				}
			}
			// Alone or with another, they add up to more than one: the chart has its top there.
			low, high := min(below[x], 1), min(below[x]+p, 1)
			below[x] += p
			if high-low > highest {
				highest, b.Label, b.Y = high-low, true, out.y((low+high)/2)
				b.X = min(max((out.x(x)+out.x(x+1))/2, chartEdge), chartWide-chartEdge)
			}
			// A step each: it stood like this until the next entry came.
			up += fmt.Sprintf("%.1f,%.1f %.1f,%.1f ", out.x(x), out.y(high), out.x(x+1), out.y(high))
			down = fmt.Sprintf("%.1f,%.1f %.1f,%.1f ", out.x(x+1), out.y(low), out.x(x), out.y(low)) + down
		}
		b.Points = up + down
		out.Bands = append(out.Bands, b)
	}
	return out, nil
}

// x is where the place of an entry among those drawn begins, y how high a share is.
func (k *chart) x(place int) float64     { return float64(place) * chartWide / float64(k.Width) }
func (k *chart) y(share float64) float64 { return chartHigh * (1 - share) }
