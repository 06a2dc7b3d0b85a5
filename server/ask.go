package server

import (
	"context"
	"errors"
	"slices"

	"knowngood.example/cases"
	"knowngood.example/cases/brief"
	"knowngood.example/cases/review"
	boardv1 "knowngood.example/proto/knowngood/board/v1"
)

// Board lists the cases that the caller may see: those that wait for the caller's
// shop first, then the newest.
func (s *Server) Board(ctx context.Context, c Caller, req *boardv1.BoardRequest) (*boardv1.BoardResponse, error) {
	c, err := s.admit(c, boardv1.BoardService_Board_FullMethodName, "")
	if err != nil {
		return nil, err
	}
	out := &boardv1.BoardResponse{}
	for _, stream := range s.register.visible(c, s.now()) {
		l, err := s.folds.line(ctx, stream)
		if err != nil {
			return nil, err
		}
		if l.Closed && !req.GetClosed() {
			continue
		}
		out.Cases = append(out.Cases, boardCase(l, c.Shop))
	}
	slices.SortFunc(out.Cases, boardOrder)
	return out, nil
}

// Timeline answers a query over one case.
func (s *Server) Timeline(ctx context.Context, c Caller, req *boardv1.TimelineRequest) (*boardv1.TimelineResponse, error) {
	c, err := s.admit(c, boardv1.BoardService_Timeline_FullMethodName, req.GetStream())
	if err != nil {
		return nil, err
	}
	q, err := cases.ParseQuery(req.GetQuery(), s.now())
	if err != nil {
		var wrong *cases.QueryError
		if errors.As(err, &wrong) {
			return nil, refuse(boardv1.Reason_REASON_QUERY, "%v", wrong)
		}
		return nil, err
	}
	if req.GetAsOf() > 0 {
		q.AsOf = req.GetAsOf()
	}
	names, err := s.names(ctx, c)
	if err != nil {
		return nil, err
	}
	out := &boardv1.TimelineResponse{}
	err = s.folds.with(ctx, req.GetStream(), func(k *cases.Case) error {
		for _, r := range k.Timeline(q, names) {
			out.Rows = append(out.Rows, timelineRow(r))
		}
		return nil
	})
	if err != nil {
		return nil, err
	}
	return out, nil
}

// Review lists what somebody ought to look at.
func (s *Server) Review(ctx context.Context, c Caller, req *boardv1.ReviewRequest) (*boardv1.ReviewResponse, error) {
	if _, err := s.admit(c, boardv1.BoardService_Review_FullMethodName, req.GetStream()); err != nil {
		return nil, err
	}
	out := &boardv1.ReviewResponse{}
	err := s.asOf(ctx, req.GetStream(), req.GetAsOf(), func(k *cases.Case) {
		for _, f := range review.Run(k.Judge(s.options.Table)) {
			out.Findings = append(out.Findings, finding(f))
		}
	})
	if err != nil {
		return nil, err
	}
	return out, nil
}

// Brief returns the brief or the hand-back of one case as a document.
func (s *Server) Brief(ctx context.Context, c Caller, req *boardv1.BriefRequest) (*boardv1.BriefResponse, error) {
	c, err := s.admit(c, boardv1.BoardService_Brief_FullMethodName, req.GetStream())
	if err != nil {
		return nil, err
	}
	names, err := s.names(ctx, c)
	if err != nil {
		return nil, err
	}
	write := brief.Brief
	if req.GetHandBack() {
		write = brief.HandBack
	}
	var out *boardv1.BriefResponse
	err = s.asOf(ctx, req.GetStream(), req.GetAsOf(), func(k *cases.Case) { out = document(write(k.Judge(s.options.Table), names)) })
	return out, err
}

// asOf calls look with the case as the log had it at seq; 0: as it is now.
func (s *Server) asOf(ctx context.Context, stream string, seq uint64, look func(*cases.Case)) error {
	return s.folds.with(ctx, stream, func(k *cases.Case) error {
		if seq > 0 && seq < k.Head() {
			k = k.AsOf(seq)
		}
		look(k)
		return nil
	})
}

// names of the shops and people that the caller has to do with.
func (s *Server) names(ctx context.Context, c Caller) (cases.Names, error) {
	p, err := s.People(ctx, c)
	if err != nil {
		return nil, err
	}
	names := cases.Names{}
	for _, shop := range p.GetShops() {
		names[shop.GetShop()] = shop.GetName()
	}
	for _, somebody := range p.GetPeople() {
		names[somebody.GetPerson()] = somebody.GetName()
	}
	return names, nil
}
