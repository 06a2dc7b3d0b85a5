package server

import (
	"context"
	"errors"
	"fmt"

	"knowngood.example/cases/log"
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

// maxTiles bounds one request.
const maxTiles = 1000

// Tiles sends hashes of the tree. It tells hashes only.
func (s *Server) Tiles(ctx context.Context, c Caller, req *boardv1.TilesRequest) (*boardv1.TilesResponse, error) {
	if _, err := s.admit(c, boardv1.BoardService_Tiles_FullMethodName, ""); err != nil {
		return nil, err
	}
	if n := len(req.GetTiles()); n > maxTiles {
		return nil, refuse(boardv1.Reason_REASON_LIMIT, "%d tiles in one request; ask for at most %d at once", n, maxTiles)
	}
	out := &boardv1.TilesResponse{}
	for i, t := range req.GetTiles() {
		b, err := s.tree.Tile(ctx, t.GetLevel(), t.GetNumber(), t.GetWidth())
		if errors.Is(err, log.ErrPlace) {
			return nil, refuse(boardv1.Reason_REASON_MALFORMED, "tiles, %d: %v", i+1, err)
		}
		if err != nil {
			return nil, fmt.Errorf("a tile: %w", err)
		}
		out.Tiles = append(out.Tiles, b)
	}
	return out, nil
}
