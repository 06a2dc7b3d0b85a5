package server

import (
	"context"
	"errors"
	"runtime"
	"slices"
	"sync"

	"knowngood.example/cases/envelope"
	boardv1 "knowngood.example/proto/knowngood/board/v1"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

const (
	// MaxEvents and MaxBytes bound one request to append.
	MaxEvents = 100
	MaxBytes  = 512 << 10
	// framing is what an event costs in a request beside its bytes and signature.
	framing = 16
)

// incoming is an event on its way in, with what could be found out about it
// before its turn.
type incoming struct {
	signed *eventv1.Signed
	opened *envelope.Opened // nil when malformed
	hash   []byte
	// genuine: a device that is known signed these very bytes.
	genuine bool
	remarks []string
	refusal *Refusal
	// impossible is what the checks refused. It is said only to those who may see
	// the case.
	impossible *Refusal
}

// Append takes signed events on behalf of the caller. One bad event never blocks
// the rest: each has its own result, in order. An error means that none of them
// can be relied on to be kept; sending the same again is always right.
func (s *Server) Append(ctx context.Context, c Caller, events []*eventv1.Signed) (*boardv1.AppendResponse, error) {
	c, err := s.admit(c, boardv1.BoardService_Append_FullMethodName, "")
	if err != nil {
		return nil, err
	}
	size := 0
	for _, e := range events {
		size += len(e.GetEvent()) + len(e.GetSignature()) + framing
	}
	switch {
	case len(events) > MaxEvents:
		return nil, refuse(boardv1.Reason_REASON_LIMIT, "%d events in one request; send at most %d at once", len(events), MaxEvents)
	case size > MaxBytes && len(events) > 1:
		return nil, refuse(boardv1.Reason_REASON_LIMIT, "%d bytes in one request; send at most %d at once", size, MaxBytes)
	}
	in := s.examine(ctx, c, events)
	out := &boardv1.AppendResponse{Results: make([]*boardv1.AppendResult, len(in))}
	err = s.committer.do(ctx, size, func(b *batch) error {
		for i := range in {
			r, err := b.take(c, &in[i])
			if err != nil {
				return err
			}
			out.Results[i] = r
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	_, out.Checkpoint = s.tree.Checkpoint()
	return out, nil
}

// examine opens, verifies and checks the events: all that needs no place, on all
// cores.
func (s *Server) examine(ctx context.Context, c Caller, events []*eventv1.Signed) []incoming {
	in := make([]incoming, len(events))
	onAllCores(len(in), func(i int) { in[i] = s.examineOne(c, events[i]) })
	others := lookAhead(in)
	onAllCores(len(in), func(i int) {
		if in[i].refusal == nil {
			s.checkEvent(ctx, c, &in[i], others)
		}
	})
	return in
}

// onAllCores calls do for 0 to n-1, on so many cores as are worth waking.
func onAllCores(n int, do func(int)) {
	const each = 4 // below that a goroutine costs more than it saves
	workers := max(1, min(runtime.GOMAXPROCS(0), n/each))
	var wg sync.WaitGroup
	for w := 1; w < workers; w++ {
		wg.Go(func() {
			for i := w; i < n; i += workers {
				do(i)
			}
		})
	}
	for i := 0; i < n; i += workers {
		do(i)
	}
	wg.Wait()
}

func (s *Server) examineOne(c Caller, signed *eventv1.Signed) incoming {
	in := incoming{signed: signed}
	o, err := envelope.Open(signed.GetEvent())
	if err != nil {
		in.refusal = refuse(boardv1.Reason_REASON_MALFORMED, "%v", err)
		if errors.Is(err, envelope.ErrTooBig) {
			in.refusal.Reason = boardv1.Reason_REASON_TOO_BIG
			return in
		}
		// Its device cannot be told. When the caller's own signed it, it is kept.
		in.hash = envelope.Hash(signed.GetEvent())
		in.genuine = envelope.Verify(s.register.device(c.Device).key, in.hash, signed.GetSignature()) == nil
		return in
	}
	in.opened, in.hash = o, o.Hash[:]
	d := s.register.device(o.Event.GetDevice())
	if d == nil {
		in.refusal = refuse(boardv1.Reason_REASON_DEVICE, "device: %s is not known here; join with it first", o.Event.GetDevice())
		return in
	}
	if err := envelope.Verify(d.key, in.hash, signed.GetSignature()); err != nil {
		in.refusal = refuse(boardv1.Reason_REASON_SIGNATURE, "signature: it does not fit these bytes and the key of device %s", d.id)
		return in
	}
	in.genuine = true
	return in
}

// take decides about one event in its turn: a place, its first place, or a
// refusal. An error means that the log cannot be read.
func (b *batch) take(c Caller, in *incoming) (*boardv1.AppendResult, error) {
	out := &boardv1.AppendResult{}
	if in.opened != nil {
		out.Id = in.opened.Event.GetId()
	}
	refusal, err := in.refusal, error(nil)
	if in.genuine && in.opened != nil {
		// Asked first: whoever sends the same again gets the same answer, whatever
		// has become of their access since. They can only know what they sent.
		seq, other, err := b.heldAlready(in.opened)
		if err != nil {
			return nil, err
		}
		if seq > 0 {
			out.Seq, out.HeldAlready = seq, true
			return out, nil
		}
		if refusal == nil {
			out.Remarks, refusal, err = b.decide(c, in, other)
		}
		if err != nil {
			return nil, err
		}
	}
	if refusal != nil {
		out.Remarks, out.Reason, out.Text, out.Head = nil, refusal.Reason, refusal.Text, refusal.Head
		if in.genuine {
			err = b.keepRefused(c, in, refusal)
		}
		return out, err
	}
	if out.Seq, err = b.place(in.opened, in.signed.GetSignature(), c.Person, c.Shop); err != nil {
		return nil, err
	}
	return out, b.follow(in.opened, c)
}

// decide holds the event against who sent it, who wrote it, the case and the
// device's numbers.
func (b *batch) decide(c Caller, in *incoming, idTaken bool) (remarks []string, refusal *Refusal, err error) {
	o := in.opened
	e := o.Event
	stream := e.GetStream()
	author, ok := b.register.caller(e.GetDevice())
	switch {
	case !ok:
		return nil, refuse(boardv1.Reason_REASON_DEVICE, "device: %s may not write any more, or never might", e.GetDevice()), nil
	case author.Shop != c.Shop:
		return nil, refuse(boardv1.Reason_REASON_DEVICE, "device: %s is another shop's; a shop passes on what its own devices wrote", e.GetDevice()), nil
	case e.GetRecordedBy() != author.Person:
		return nil, refuse(boardv1.Reason_REASON_DEVICE, "recorded_by: %s; this device is %s's", e.GetRecordedBy(), author.Person), nil
	}
	head, err := b.head(stream)
	if err != nil {
		return nil, nil, err
	}
	now := b.now()
	a := b.access(stream)
	in1, in2 := a.standing(author, now), a.standing(c, now)
	switch {
	case o.Kind == kindCaseOpened && head > 0:
		if in2 == nowhere {
			return nil, notFound(stream), nil
		}
		return nil, refuse(boardv1.Reason_REASON_IMPOSSIBLE, "case_opened: this case is open already; the opening is its first entry"), nil
	case o.Kind != kindCaseOpened && (in1 == nowhere || in2 == nowhere):
		return nil, notFound(stream), nil
	case !mayAppend(o.Kind, author.Role, in1), !mayAppend(passedOn(o.Kind), c.Role, in2):
		return nil, refuse(boardv1.Reason_REASON_NOT_ALLOWED, "%s: as things stand here you may not record that", kindWords(o.Kind)), nil
	}
	if in.impossible != nil {
		return nil, in.impossible, nil
	}
	if r := a.fits(e, author, b.register); r != nil {
		return nil, r, nil
	}
	if idTaken {
		return nil, refuse(boardv1.Reason_REASON_ID_TAKEN, "id: %s stands in this case with other bytes", e.GetId()), nil
	}
	remark, refusal, err := b.chain(o)
	if refusal != nil {
		b.noteTwice(e.GetDevice())
	}
	if err != nil || refusal != nil {
		return nil, refusal, err
	}
	if e.Expect != nil && e.GetExpect() != head+1 {
		r := refuse(boardv1.Reason_REASON_PLACE_TAKEN, "expect: place %d; the next one is %d: look at what came in between and say it again", e.GetExpect(), head+1)
		r.Head = head
		return nil, r, nil
	}
	remarks = slices.Clip(in.remarks)
	if remark != "" {
		remarks = append(remarks, remark)
	}
	if o.Kind == kindHandedOff && o.Strange {
		remarks = append(remarks, "the hand-off has fields that this server does not know: it is kept and gives no access")
	}
	return remarks, nil, nil
}

// passedOn is what somebody must be allowed to append who passes on an event
// that another device of the shop wrote: to open cases, or to write in them.
func passedOn(kind uint32) uint32 {
	if kind == kindCaseOpened {
		return kind
	}
	return unknownKind
}

func kindWords(kind uint32) string {
	if name := envelope.KindName(kind); name != "" {
		return name
	}
	return "a kind of entry that is not known here"
}

// follow adds what the server itself has to say behind an event: a hand-off
// gives access, handing back ends writing.
func (b *batch) follow(o *envelope.Opened, c Caller) error {
	e := o.Event
	switch k := e.GetKind().(type) {
	case *eventv1.Event_HandedOff:
		if o.Strange { // it may set limits that are not understood here
			return nil
		}
		return b.say(e.GetStream(), c.Person, c.Shop, func(out *eventv1.Event) {
			out.Because = []string{e.GetId()}
			out.Kind = &eventv1.Event_AccessGranted{AccessGranted: &eventv1.AccessGranted{
				Shop: k.HandedOff.GetToShop(), Person: k.HandedOff.GetToPerson(), Access: k.HandedOff.GetAccess(), Handoff: e.GetId(),
			}}
		})
	case *eventv1.Event_HandedBack:
		for to, g := range b.access(e.GetStream()).grants {
			if g.handoff != k.HandedBack.GetHandoff() || g.access != eventv1.Access_ACCESS_WRITE {
				continue
			}
			return b.say(e.GetStream(), c.Person, c.Shop, func(out *eventv1.Event) {
				out.Because = []string{e.GetId()}
				out.Kind = &eventv1.Event_AccessWithdrawn{AccessWithdrawn: &eventv1.AccessWithdrawn{
					Shop: to.shop, Person: to.person, Left: eventv1.Access_ACCESS_READ,
				}}
			})
		}
	}
	return nil
}
