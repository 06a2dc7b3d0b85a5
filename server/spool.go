package server

import (
	"context"
	"crypto/sha256"
	"errors"
	"fmt"
	"io"
	"os"

	"knowngood.example/cases/check"
	"knowngood.example/cases/log/badger"
	boardv1 "knowngood.example/proto/knowngood/board/v1"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// Attach takes a file from a caller whose key is held here, and records the event that
// names it, with its size and hash filled in; sure is asked in between. The bytes lie in
// the spool until the event stands, and then go the way of those that a device sends.
func (s *Server) Attach(ctx context.Context, c Caller, e *eventv1.Event, from io.Reader, sure func(*eventv1.Event) error) (err error) {
	const method = boardv1.FileService_PutFile_FullMethodName
	if _, err := s.admit(c, method, e.GetStream()); err != nil {
		return err
	}
	if err := os.MkdirAll(s.files.dir, 0o700); err != nil {
		return fmt.Errorf("an attached file: %w", err)
	}
	f, err := os.CreateTemp(s.files.dir, "spool-*.part")
	if err != nil {
		return fmt.Errorf("an attached file: %w", err)
	}
	defer func() { err = errors.Join(err, f.Close(), os.Remove(f.Name())) }()
	sum, size, err := s.spool(f, from)
	if err != nil {
		return err
	}
	e.GetAttachment().Size, e.GetAttachment().Sha256 = size, sum
	if err := sure(e); err != nil {
		return err
	}
	if _, err := s.Record(ctx, c, e); err != nil {
		return err
	}
	state, err := s.FileState(ctx, c, &boardv1.FileStateRequest{Stream: e.GetStream(), Sha256: sum})
	if err != nil {
		return err
	}
	held := state.GetHeld() // of an earlier try
	if _, err := f.Seek(int64(held), io.SeekStart); err != nil {
		return fmt.Errorf("an attached file: %w", err)
	}
	first := true
	return s.PutFile(ctx, c, func() (*boardv1.PutFileRequest, error) {
		m := &boardv1.PutFileRequest{Part: make([]byte, filePart)}
		if first {
			m.Stream, m.Sha256, m.Offset = e.GetStream(), sum, held
			first = false
		}
		n, err := io.ReadFull(f, m.Part)
		if m.Part = m.Part[:n]; errors.Is(err, io.ErrUnexpectedEOF) {
			err = nil
		}
		return m, err
	})
}

// spool writes what comes to a file, and returns its hash and length.
func (s *Server) spool(f *os.File, from io.Reader) (sum []byte, size uint64, err error) {
	hash, b := sha256.New(), make([]byte, filePart)
	for {
		n, err := from.Read(b)
		if size += uint64(n); size > check.MaxFile {
			return nil, 0, refuse(boardv1.Reason_REASON_IMPOSSIBLE, "it has more than %d MiB: cut it, or make it smaller", check.MaxFile>>20)
		}
		if n > 0 {
			if badger.Room(s.files.dir, s.files.reserve) != nil {
				return nil, 0, refuse(boardv1.Reason_REASON_NO_ROOM, "the server has no room left for files")
			}
			hash.Write(b[:n])
			if _, err := f.Write(b[:n]); err != nil {
				return nil, 0, fmt.Errorf("an attached file: %w", err)
			}
		}
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return nil, 0, fmt.Errorf("the file did not come whole: %w", err)
		}
	}
	if size == 0 {
		return nil, 0, refuse(boardv1.Reason_REASON_IMPOSSIBLE, "it is empty: attach one with something in it")
	}
	return hash.Sum(nil), size, nil
}
