package badger

import (
	"errors"
	"fmt"

	badgerdb "github.com/dgraph-io/badger/v4"

	"knowngood.example/cases/log"
)

// transaction writes one batch and follows the sum of all that is kept.
type transaction struct {
	txn *badgerdb.Txn
	sum sum
}

func (t *transaction) write(b log.Batch, h heads) error {
	feeds := make(map[string]uint64)
	for _, r := range b.Records {
		if err := t.record(r, h, feeds); err != nil {
			return err
		}
	}
	for _, w := range b.Index {
		if err := t.replace(indexKey(w.Key), w.Value); err != nil {
			return err
		}
	}
	for _, place := range b.Erase {
		if err := t.erase(place); err != nil {
			return err
		}
		if err := t.replace(placeKey(kindErased, place), []byte{}); err != nil {
			return err
		}
	}
	if len(b.Erase) > 0 {
		if err := t.replace(keyScrub, []byte{}); err != nil {
			return err
		}
	}
	return t.txn.Set(keySum, t.sum.bytes())
}

func (t *transaction) record(r log.Record, h heads, feeds map[string]uint64) error {
	if err := t.put(positionKey(kindRecord, r.Stream, r.Seq), recordValue(r)); err != nil {
		return err
	}
	spot := spotValue(r.Stream, r.Seq)
	if err := t.put(placeKey(kindPlace, r.Index), spot); err != nil {
		return err
	}
	if len(r.Event) == 0 {
		if err := t.put(placeKey(kindErased, r.Index), nil); err != nil {
			return err
		}
	}
	for _, f := range r.Feeds {
		n, seen := feeds[f]
		if !seen {
			n = h.next(log.Range{Feed: f})
		}
		feeds[f] = n + 1
		if err := t.put(positionKey(kindFeed, f, n), spot); err != nil {
			return err
		}
	}
	return nil
}

// erase drops the event's bytes of a record.
func (t *transaction) erase(place uint64) error {
	spot, err := value(t.txn, placeKey(kindPlace, place))
	if err != nil {
		return err
	}
	r, err := recordAt(t.txn, spot)
	if err != nil {
		return err
	}
	r.Event = nil
	return t.replace(positionKey(kindRecord, r.Stream, r.Seq), recordValue(r))
}

// put sets a key that was not there before.
func (t *transaction) put(key, value []byte) error {
	t.sum.add(pairHash(key, value))
	return t.txn.Set(key, value)
}

// replace sets a key that may be there, or deletes it when value is nil.
func (t *transaction) replace(key, value []byte) error {
	item, err := t.txn.Get(key)
	switch {
	case errors.Is(err, badgerdb.ErrKeyNotFound):
		if value == nil {
			return nil
		}
		return t.put(key, value)
	case err != nil:
		return fmt.Errorf("%w: %q: %w", log.ErrDamaged, key, err)
	}
	if err := item.Value(func(old []byte) error {
		t.sum.remove(pairHash(key, old))
		return nil
	}); err != nil {
		return fmt.Errorf("%w: %q: %w", log.ErrDamaged, key, err)
	}
	if value == nil {
		return t.txn.Delete(key)
	}
	return t.put(key, value)
}
