package cases

import (
	"cmp"
	"errors"
	"fmt"
	"slices"

	"google.golang.org/protobuf/proto"

	"knowngood.example/cases/envelope"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// ErrOrder: the record is not the next one of the case.
var ErrOrder = errors.New("not the next entry of this case")

// New is a case with nothing in it yet.
func New(stream string) *Case { return room(stream, 0) }

// room is a case with room for so many entries.
func room(stream string, n int) *Case {
	c := &Case{Stream: stream, log: make([]*Step, 0, n), byID: make(map[string]*Step, n), byDevice: map[string][]uint64{}, awaited: map[string]bool{}}
	c.State = newState()
	return c
}

// Fold is the case that the records, in log order from seq 1, make.
func Fold(stream string, records []Record) (*Case, error) {
	c := room(stream, len(records))
	for _, r := range records {
		if _, err := c.add(r); err != nil {
			return nil, err
		}
	}
	c.refold()
	return c, nil
}

// Apply adds the next entry. A plain one costs the same however long the case
// is; one that is placed earlier, corrects, joins two names or was waited for
// folds the case anew.
func (c *Case) Apply(r Record) error {
	s, err := c.add(r)
	if err != nil {
		return err
	}
	if c.plain(s) {
		c.say(s)
		s.Job = len(c.jobs) + 1
		c.jobs = append(c.jobs, s)
		c.resolve(s)
		c.apply(s)
		return nil
	}
	c.refold()
	return nil
}

// AsOf is the case as the log had it at seq: what the first seq entries make.
func (c *Case) AsOf(seq uint64) *Case {
	seq = min(seq, c.Head())
	records := make([]Record, seq)
	for i, s := range c.log[:seq] {
		records[i] = s.Record
	}
	out, err := Fold(c.Stream, records)
	if err != nil {
		panic(err) // these records made c
	}
	return out
}

// add puts the record at its place in log order.
func (c *Case) add(r Record) (*Step, error) {
	e := r.Entry
	switch {
	case e.GetStream() != c.Stream:
		return nil, fmt.Errorf("%w: it belongs to case %s, this is %s", ErrOrder, e.GetStream(), c.Stream)
	case e.GetSeq() != c.Head()+1:
		return nil, fmt.Errorf("%w: it has place %d; %d comes next", ErrOrder, e.GetSeq(), c.Head()+1)
	case c.byID[e.GetId()] != nil:
		return nil, fmt.Errorf("%w: its id stands at place %d already", ErrOrder, c.byID[e.GetId()].Seq)
	}
	s := &Step{Record: r, Seq: e.GetSeq(), ID: e.GetId(), Kind: e.GetKind(), RecordedBy: e.GetPerson(), Shop: e.GetShop()}
	if ev := r.Event; ev != nil {
		s.RecordedBy = ev.GetRecordedBy()
		if seen := ev.GetObservedThrough(); seen+1 < s.Seq {
			own := c.byDevice[e.GetDevice()]
			i, _ := slices.BinarySearch(own, seen+1)
			s.Unseen = s.Seq - 1 - seen - uint64(len(own)-i)
		}
	}
	c.byDevice[e.GetDevice()] = append(c.byDevice[e.GetDevice()], s.Seq)
	c.log = append(c.log, s)
	c.byID[s.ID] = s
	if s.Kind == kindCorrection {
		c.corrections = append(c.corrections, s)
	}
	return s, nil
}

// plain reports whether the step, the last in log order, can be applied to what
// stands: nothing before it in job order changes.
func (c *Case) plain(s *Step) bool {
	switch s.Kind {
	case kindCorrection, kindErased, kindSameAs:
		return false
	}
	return s.Event.GetPlaced() == nil && !c.awaited[s.ID]
}

// say works out what stands of a step that nothing has struck.
func (c *Case) say(s *Step) {
	s.Says, s.StruckBy, s.By = nil, nil, s.RecordedBy
	if s.Event == nil {
		return
	}
	if by := s.Event.GetBy(); by != "" {
		s.By = by
	}
	if s.Known && !s.Strange {
		s.Says = s.Event
	}
}

// resolve finds the entries the step rests on, and remembers those not here.
func (c *Case) resolve(s *Step) {
	s.Because = nil
	e := s.Event
	if s.Says != nil {
		e = s.Says
	}
	for _, id := range e.GetBecause() {
		if b := c.byID[id]; b != nil {
			s.Because = append(s.Because, b)
		} else {
			c.awaited[id] = true
		}
	}
}

func (c *Case) refold() {
	c.awaited = map[string]bool{}
	for _, s := range c.log {
		c.say(s)
	}
	c.strike()
	for _, s := range c.log {
		c.resolve(s)
	}
	c.order()
	spelt := c.spelt
	c.State = newState()
	c.spelt = spelt
	for _, s := range c.log {
		if j := s.Says.GetSameAs(); j != nil {
			c.join(j)
		}
	}
	for _, s := range c.jobs {
		c.apply(s)
	}
}

// strike lets the corrections and erasures that stand take effect. Later ones
// first: a correction may itself have been withdrawn.
func (c *Case) strike() {
	for _, s := range slices.Backward(c.log) {
		var target *Step
		switch {
		case s.Says.GetCorrection() != nil:
			target = c.byID[s.Says.GetCorrection().GetEntry()]
		case s.Says.GetErased() != nil:
			target = c.byID[s.Says.GetErased().GetEntry()]
		}
		if target == nil || target.Seq >= s.Seq {
			continue
		}
		if target.StruckBy != nil && s.Kind != kindErased {
			continue // a later correction stands in its place
		}
		target.StruckBy, target.Says = s, nil
		if b := s.Says.GetCorrection().GetReplacement(); len(b) > 0 {
			target.Says = replaced(target, b)
		}
	}
}

// replaced is what a correction puts in a step's place: the kind it carries, in
// the envelope of the step. Nil when this build does not understand it.
func replaced(s *Step, b []byte) *eventv1.Event {
	r := new(eventv1.Event)
	if s.Event == nil || proto.Unmarshal(b, r) != nil || envelope.KindOf(r) == 0 || envelope.Strange(r) {
		return nil
	}
	e := s.Event
	r.Id, r.Stream, r.Device, r.DeviceSeq, r.RecordedBy = e.GetId(), e.GetStream(), e.GetDevice(), e.GetDeviceSeq(), e.GetRecordedBy()
	if r.Happened == nil {
		r.Happened = e.GetHappened()
	}
	if r.Placed == nil {
		r.Placed = e.GetPlaced()
	}
	if r.GetBy() != "" {
		s.By = r.GetBy()
	} else {
		r.By = e.GetBy()
	}
	if len(r.Because) == 0 {
		r.Because = e.GetBecause()
	}
	return r
}

// placement is where a step's writer, or its corrector, put it.
func (s *Step) placement() *eventv1.Placement {
	if s.Says != nil {
		return s.Says.GetPlaced()
	}
	return s.Event.GetPlaced()
}

// Happened is when it was done as far as anybody said; nil when nobody did.
func (s *Step) Happened() *eventv1.Moment {
	if s.Says != nil {
		return s.Says.GetHappened()
	}
	return s.Event.GetHappened()
}

// order works out job order: what came before the opening, then the log, with
// what was placed after an entry right behind it.
func (c *Case) order() {
	var before, roots []*Step
	behind := map[*Step][]*Step{}
	for _, s := range c.log {
		s.Placed, s.Waiting, s.Job = false, false, 0
		switch p := s.placement(); {
		case p.GetBeforeOpening():
			s.Placed = true
			before = append(before, s)
		case p.GetAfter() == "":
			roots = append(roots, s)
		case c.byID[p.GetAfter()] == nil:
			s.Waiting = true
			c.awaited[p.GetAfter()] = true
			roots = append(roots, s)
		default:
			s.Placed = true
			target := c.byID[p.GetAfter()]
			behind[target] = append(behind[target], s)
		}
	}
	c.jobs = c.jobs[:0:0]
	var stand func(s *Step)
	stand = func(s *Step) {
		if s.Job != 0 {
			return
		}
		c.jobs = append(c.jobs, s)
		s.Job = len(c.jobs)
		siblings(behind[s])
		for _, b := range behind[s] {
			stand(b)
		}
	}
	siblings(before)
	for _, s := range before {
		stand(s)
	}
	// What goes round in a circle is never reached from a root: its first entry
	// in log order stands at its log place.
	reached := map[*Step]bool{}
	var reach func(s *Step)
	reach = func(s *Step) {
		if !reached[s] {
			reached[s] = true
			for _, b := range behind[s] {
				reach(b)
			}
		}
	}
	for _, s := range slices.Concat(before, roots) {
		reach(s)
	}
	if len(reached) < len(c.log) {
		for _, s := range c.log {
			if !reached[s] {
				s.Waiting, s.Placed = true, false
				roots = append(roots, s)
				reach(s)
			}
		}
		slices.SortFunc(roots, func(a, b *Step) int { return cmp.Compare(a.Seq, b.Seq) })
	}
	for _, s := range roots {
		stand(s)
	}
}

// siblings sorts steps placed at one place: by happened, then id; what has no
// moment comes last.
func siblings(s []*Step) {
	slices.SortFunc(s, func(a, b *Step) int {
		am, bm := a.Happened(), b.Happened()
		ak, bk := dated(am), dated(bm)
		if ak != bk {
			if ak {
				return -1
			}
			return 1
		}
		if ak {
			if d := cmp.Or(cmp.Compare(am.GetUnixSeconds(), bm.GetUnixSeconds()), cmp.Compare(am.GetNanos(), bm.GetNanos())); d != 0 {
				return d
			}
		}
		return cmp.Compare(a.ID, b.ID)
	})
}

func dated(m *eventv1.Moment) bool {
	return m != nil && m.GetPrecision() != eventv1.Precision_PRECISION_UNKNOWN
}
