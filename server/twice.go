package server

import (
	"context"
	"encoding/binary"
	"fmt"
	"time"

	"knowngood.example/cases/log"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// twiceTold is how long it is told that a device used a number twice. Who put an old
// folder back once should not hear of it for ever.
const twiceTold = 30 * 24 * time.Hour

func twiceKey(device string) string { return prefixTwice + raw(device) }

// noteTwice keeps that a device signed two events under one number: its key writes
// in two places, or its folder was put back from an older copy. Which of the two
// nobody can tell from here.
func (b *batch) noteTwice(device string) {
	b.set(twiceKey(device), binary.BigEndian.AppendUint64(nil, uint64(b.now().Unix())))
}

// twice is when a device of the caller's shop was last found to have used a number
// twice; nil when it was not, or is withdrawn, or that is long ago.
func (s *Server) twice(ctx context.Context, c Caller, device string) (*eventv1.Moment, error) {
	d := s.register.device(device)
	if d == nil || d.shop != c.Shop || d.withdrawn {
		return nil, nil
	}
	v, err := s.log.Get(ctx, twiceKey(device))
	if err != nil || v == nil {
		return nil, err
	}
	if len(v) != 8 {
		return nil, fmt.Errorf("%w: the index key of a number used twice by device %s", log.ErrDamaged, device)
	}
	at := time.Unix(int64(binary.BigEndian.Uint64(v)), 0)
	if s.now().Sub(at) > twiceTold {
		return nil, nil
	}
	return moment(at), nil
}
