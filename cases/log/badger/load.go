package badger

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"runtime"

	badgerdb "github.com/dgraph-io/badger/v4"
	"golang.org/x/sync/errgroup"

	"knowngood.example/cases/log"
)

// load reads every key there is, compares their sum with the one committed with
// the last batch, and finds the heads. Badger opens without an error over a
// directory from which a table, or the end of a write-ahead log, is missing.
func (l *Log) load() error {
	h, s, err := l.survey()
	if err != nil {
		return err
	}
	l.heads, l.sum = h, s
	return nil
}

// Verify reads everything again and compares it with the sum committed last. It
// finds what rotted on the disk since Open, appends going on.
func (l *Log) Verify() error {
	l.life.RLock()
	defer l.life.RUnlock()
	if l.closed {
		return log.ErrClosed
	}
	_, _, err := l.survey()
	return err
}

func (l *Log) survey() (h heads, total sum, err error) {
	defer damaged(&err)
	h = heads{streams: make(map[string]uint64), feeds: make(map[string]uint64)}
	txn := l.db.NewTransaction(false)
	defer txn.Discard()
	stored, err := txn.Get(keySum)
	if errors.Is(err, badgerdb.ErrKeyNotFound) {
		total, err = l.begin(txn)
		return h, total, err
	} else if err != nil {
		return h, total, fmt.Errorf("%w: the sum: %w", log.ErrDamaged, err)
	}
	kinds := []byte{kindRecord, kindPlace, kindIndex, kindFeed, kindErased, kindMeta}
	sums := make([]sum, len(kinds))
	var group errgroup.Group
	group.SetLimit(runtime.GOMAXPROCS(0))
	for i, kind := range kinds {
		group.Go(func() (err error) {
			defer damaged(&err)
			sums[i], err = surveyKind(txn, kind, &h)
			return err
		})
	}
	if err := group.Wait(); err != nil {
		return h, total, err
	}
	for _, s := range sums {
		total.add(s)
	}
	want, err := stored.ValueCopy(nil)
	if err != nil || !bytes.Equal(want, total.bytes()) {
		return h, total, fmt.Errorf("%w: what is there does not add up to what was committed (sum %x, want %x): something is missing or changed",
			log.ErrDamaged, total.bytes(), want)
	}
	return h, total, nil
}

// begin starts an empty log, and refuses one that has keys but no sum.
func (l *Log) begin(txn *badgerdb.Txn) (sum, error) {
	it := txn.NewIterator(badgerdb.IteratorOptions{})
	it.Rewind()
	valid := it.Valid()
	it.Close()
	if valid {
		return sum{}, fmt.Errorf("%w: there are keys but no sum over them", log.ErrDamaged)
	}
	t := &transaction{txn: l.db.NewTransaction(true)}
	defer t.txn.Discard()
	if err := t.put(keyFormat, []byte(format)); err != nil {
		return sum{}, err
	}
	if err := t.txn.Set(keySum, t.sum.bytes()); err != nil {
		return sum{}, err
	}
	if err := t.txn.Commit(); err != nil {
		return sum{}, fmt.Errorf("the first commit of a new log: %w", err)
	}
	return t.sum, nil
}

// surveyKind adds up the keys of one kind, and fills the part of h that they
// say. No two kinds touch the same part.
func surveyKind(txn *badgerdb.Txn, kind byte, h *heads) (total sum, err error) {
	it := txn.NewIterator(badgerdb.IteratorOptions{Prefix: []byte{kind}})
	defer it.Close()
	for it.Rewind(); it.Valid(); it.Next() {
		key := it.Item().Key()
		if bytes.Equal(key, keySum) {
			continue
		}
		if err := it.Item().Value(func(v []byte) error {
			total.add(pairHash(key, v))
			if bytes.Equal(key, keyFormat) && string(v) != format {
				return fmt.Errorf("%w: it is written in the format %q, this build reads %q", log.ErrDamaged, v, format)
			}
			return nil
		}); err != nil {
			return total, fmt.Errorf("%q: %w", key, err)
		}
		switch kind {
		case kindPlace:
			if place := binary.BigEndian.Uint64(key[1:]); place != h.size {
				return total, fmt.Errorf("%w: no entry of index %d", log.ErrDamaged, h.size)
			}
			h.size++
		case kindRecord, kindFeed:
			name, position, err := splitPosition(key)
			if err != nil {
				return total, err
			}
			m := h.streams
			if kind == kindFeed {
				m = h.feeds
			}
			if want := max(m[name], 1); position != want {
				return total, fmt.Errorf("%w: position %d of %q is missing", log.ErrDamaged, want, name)
			}
			m[name] = position + 1
		}
	}
	return total, nil
}

// scrub makes Badger rewrite its tables when bytes were erased since the last
// time, so that they leave the files and not only the view. The mark that asks
// for it goes when no version of theirs is left.
func (l *Log) scrub(o badgerdb.Options) error {
	if marked, err := l.has(keyScrub); err != nil || !marked {
		return err
	}
	// What was written together lies in one table until it is compacted, and only
	// closing compacts the youngest level for certain.
	for _, closing := range []bool{true, false} {
		if err := l.db.Close(); err != nil {
			return fmt.Errorf("closing to drop erased bytes: %w", err)
		}
		db, err := badgerdb.Open(o.WithCompactL0OnClose(closing))
		if err != nil {
			return fmt.Errorf("opening to drop erased bytes: %w", err)
		}
		l.db = db
		if err := l.db.Flatten(1); err != nil {
			return fmt.Errorf("rewriting the tables after an erasure: %w", err)
		}
	}
	if left, err := l.erasedLeft(); err != nil || left {
		return err
	}
	t := &transaction{txn: l.db.NewTransaction(true), sum: l.sum}
	defer t.txn.Discard()
	if err := t.replace(keyScrub, nil); err != nil {
		return err
	}
	if err := t.txn.Set(keySum, t.sum.bytes()); err != nil {
		return err
	}
	if err := t.txn.Commit(); err != nil {
		return fmt.Errorf("noting that erased bytes are gone: %w", err)
	}
	l.sum = t.sum
	return nil
}

func (l *Log) has(key []byte) (bool, error) {
	txn := l.db.NewTransaction(false)
	defer txn.Discard()
	_, err := txn.Get(key)
	if errors.Is(err, badgerdb.ErrKeyNotFound) {
		return false, nil
	} else if err != nil {
		return false, fmt.Errorf("%w: %q: %w", log.ErrDamaged, key, err)
	}
	return true, nil
}

// erasedLeft says whether a table still holds bytes that were erased: an older
// version of a record that is marked.
func (l *Log) erasedLeft() (bool, error) {
	txn := l.db.NewTransaction(false)
	defer txn.Discard()
	marks := txn.NewIterator(badgerdb.IteratorOptions{Prefix: []byte{kindErased}})
	defer marks.Close()
	for marks.Rewind(); marks.Valid(); marks.Next() {
		spot, err := value(txn, append([]byte{kindPlace}, marks.Item().Key()[1:]...))
		if err != nil {
			return false, err
		}
		record, err := recordAt(txn, spot)
		if err != nil {
			return false, err
		}
		versions := txn.NewIterator(badgerdb.IteratorOptions{Prefix: positionKey(kindRecord, record.Stream, record.Seq), AllVersions: true})
		n := 0
		for versions.Rewind(); versions.Valid(); versions.Next() {
			n++
		}
		versions.Close()
		if n > 1 {
			return true, nil
		}
	}
	return false, nil
}
