//go:build wait

package server

import (
	"context"

	boardv1 "knowngood.example/proto/knowngood/board/v1"
)

func (b boardService) Board(ctx context.Context, req *boardv1.BoardRequest) (*boardv1.BoardResponse, error) {
	return call(ctx, b.s, req, b.s.Board)
}

func (b boardService) Timeline(ctx context.Context, req *boardv1.TimelineRequest) (*boardv1.TimelineResponse, error) {
	return call(ctx, b.s, req, b.s.Timeline)
}

func (b boardService) Review(ctx context.Context, req *boardv1.ReviewRequest) (*boardv1.ReviewResponse, error) {
	return call(ctx, b.s, req, b.s.Review)
}

func (b boardService) Brief(ctx context.Context, req *boardv1.BriefRequest) (*boardv1.BriefResponse, error) {
	return call(ctx, b.s, req, b.s.Brief)
}
