package server

import (
	"context"

	"knowngood.example/cases/check"
	boardv1 "knowngood.example/proto/knowngood/board/v1"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// ahead is what the events of one request say of themselves, for those among
// them that refer to others.
type ahead struct {
	kinds    map[[2]string]uint32 // by stream and id
	vehicles map[string]*eventv1.Vehicle
}

func lookAhead(in []incoming) ahead {
	a := ahead{kinds: make(map[[2]string]uint32, len(in)), vehicles: map[string]*eventv1.Vehicle{}}
	for _, i := range in {
		if i.refusal != nil {
			continue
		}
		e := i.opened.Event
		a.kinds[[2]string{e.GetStream(), e.GetId()}] = i.opened.Kind
		if v := e.GetCaseOpened().GetVehicle(); v != nil {
			a.vehicles[e.GetStream()] = v
		}
	}
	return a
}

// checkEvent holds what the event says against what can be. What it may look up
// is what the caller may see: otherwise the answer would tell of it.
func (s *Server) checkEvent(ctx context.Context, c Caller, in *incoming, others ahead) {
	e := in.opened.Event
	stream := e.GetStream()
	visible := s.register.standing(c, stream, s.now()) != nowhere
	with := check.Context{Now: s.now(), Currency: s.register.shop(c.Shop).currency}
	if v := others.vehicles[stream]; v != nil {
		with.SystemVolts, with.HighVoltage = v.GetSystemVolts(), v.GetHighVoltage() == eventv1.Answer_ANSWER_YES
	} else if a := s.register.access(stream); a != nil && visible {
		with.SystemVolts, with.HighVoltage = a.systemVolts, a.highVoltage
		with.Owner = a.owner
	}
	with.Kind = func(id string) (uint32, bool) {
		if kind, ok := others.kinds[[2]string{stream, id}]; ok {
			return kind, true
		}
		if kind, ok := s.kindOf(ctx, c, stream, id); ok {
			return kind, true
		}
		for _, l := range e.GetCaseOpened().GetLeftBehind() {
			if l.GetEntry() == id {
				return s.kindOf(ctx, c, l.GetStream(), id)
			}
		}
		return 0, false
	}
	report := check.Event(e, with)
	in.remarks = report.Remarks()
	if err := report.Err(); err != nil {
		in.impossible = refuse(boardv1.Reason_REASON_IMPOSSIBLE, "%v", err)
	}
}

// kindOf an entry that the caller may see.
func (s *Server) kindOf(ctx context.Context, c Caller, stream, id string) (uint32, bool) {
	if s.register.access(stream).standing(c, s.now()) == nowhere {
		return 0, false
	}
	v, err := s.log.Get(ctx, idKey(stream, id))
	if err != nil {
		return 0, false
	}
	p, ok := readPlaced(v)
	return p.kind, ok
}
