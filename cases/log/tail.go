package log

import (
	"context"
	"iter"
)

// Tail yields the items of r from its first position on and goes on with what is
// appended later, without a gap and without a duplicate, until ctx ends, the log
// is closed, r.Limit items were yielded, or a read fails; the error then comes
// once, last. It reads to the head, waits until the log changed, and reads
// again: nothing is held for a slow reader, who merely falls behind.
func Tail(ctx context.Context, l Log, r Range) iter.Seq2[Item, error] {
	return func(yield func(Item, error) bool) {
		for {
			// Asked for before reading, so that an append between the two is not missed.
			changed := l.Changed()
			for item, err := range l.Read(ctx, r) {
				if !yield(item, err) || err != nil {
					return
				}
				r.From = item.Position + 1
				if r.Limit > 0 {
					if r.Limit--; r.Limit == 0 {
						return
					}
				}
			}
			select {
			case <-changed:
			case <-ctx.Done():
				yield(Item{}, ctx.Err())
				return
			}
		}
	}
}
