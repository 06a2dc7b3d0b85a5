package server

import (
	"context"
	"fmt"

	boardv1 "knowngood.example/proto/knowngood/board/v1"
)

// Consistency proves that a tree of the log continues an earlier one, so that a
// client may go on from the checkpoint it kept. It tells sizes and hashes only.
func (s *Server) Consistency(ctx context.Context, c Caller, req *boardv1.ConsistencyRequest) (*boardv1.ConsistencyResponse, error) {
	if _, err := s.admit(c, boardv1.BoardService_Consistency_FullMethodName, ""); err != nil {
		return nil, err
	}
	later, signed := s.tree.Checkpoint()
	out := &boardv1.ConsistencyResponse{}
	switch to := req.GetTo(); {
	case to == 0:
		out.Checkpoint = signed
	case to > later.Size:
		return nil, refuse(boardv1.Reason_REASON_MALFORMED, "to: %d; this log has %d entries", to, later.Size)
	default:
		later.Size = to
	}
	if req.GetFrom() > later.Size {
		// A client that saw a longer log is told how long this one is, and decides.
		if req.GetTo() == 0 {
			return out, nil
		}
		return nil, refuse(boardv1.Reason_REASON_MALFORMED, "from: %d comes after to, %d", req.GetFrom(), later.Size)
	}
	proof, err := s.tree.ProveBetween(ctx, req.GetFrom(), later.Size)
	if err != nil {
		return nil, fmt.Errorf("the proof from %d to %d: %w", req.GetFrom(), later.Size, err)
	}
	out.Proof = joined(proof)
	return out, nil
}
