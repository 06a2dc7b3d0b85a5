package server

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"sync"

	"google.golang.org/grpc"

	"knowngood.example/cases/envelope"
	"knowngood.example/cases/log"
	"knowngood.example/cases/log/badger"
	"knowngood.example/cases/notation"
	boardv1 "knowngood.example/proto/knowngood/board/v1"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// filePart is the most bytes of a file in one message.
const filePart = 256 << 10

// files keeps the bytes of attachments, beside the log; doc.go says where.
type files struct {
	dir     string
	reserve uint64

	mu   sync.Mutex
	busy map[string]bool // paths that are being written
}

// openFiles removes what was erased and may still lie there after a crash.
func openFiles(ctx context.Context, s *Server) (*files, error) {
	f := &files{dir: filepath.Join(s.dir, "files"), reserve: s.options.Reserve, busy: map[string]bool{}}
	if f.reserve == 0 {
		f.reserve = badger.DefaultReserve(memTable)
	}
	left, err := filepath.Glob(filepath.Join(f.dir, "spool-*.part"))
	for _, path := range left { // of files that were coming from a tablet
		err = errors.Join(err, os.Remove(path))
	}
	if err != nil {
		return nil, fmt.Errorf("what a crash left of a file: %w", err)
	}
	for w, err := range s.log.Scan(ctx, prefixFile) {
		if err != nil {
			return nil, err
		}
		key := w.Key[len(prefixFile):]
		if n, ok := readNamed(w.Value); !ok || len(key) != 16+sha256.Size {
			return nil, fmt.Errorf("%w: the index key %q", log.ErrDamaged, w.Key)
		} else if n.erased {
			if err := f.remove(uuidText(key[:16]), []byte(key[16:])); err != nil {
				return nil, err
			}
		}
	}
	return f, nil
}

// uuidText is a UUID of 16 bytes as text.
func uuidText(b string) string {
	h := hex.EncodeToString([]byte(b))
	return h[:8] + "-" + h[8:12] + "-" + h[12:16] + "-" + h[16:20] + "-" + h[20:]
}

func (f *files) path(stream string, sum []byte) string {
	return filepath.Join(f.dir, stream, hex.EncodeToString(sum))
}

// claim lets one caller at a time write a file.
func (f *files) claim(path string) (release func(), ok bool) {
	f.mu.Lock()
	defer f.mu.Unlock()
	if f.busy[path] {
		return nil, false
	}
	f.busy[path] = true
	return func() {
		f.mu.Lock()
		defer f.mu.Unlock()
		delete(f.busy, path)
	}, true
}

func (f *files) remove(stream string, sum []byte) error {
	path := f.path(stream, sum)
	for _, p := range []string{path, path + ".part"} {
		if err := os.Remove(p); err != nil && !errors.Is(err, fs.ErrNotExist) {
			return fmt.Errorf("a file that was erased cannot be removed: %w", err)
		}
	}
	return nil
}

// size is how long a file is, 0 when it is not there.
func size(path string) (uint64, bool, error) {
	info, err := os.Stat(path)
	if errors.Is(err, fs.ErrNotExist) {
		return 0, false, nil
	}
	if err != nil {
		return 0, false, fmt.Errorf("an attached file: %w", err)
	}
	return uint64(info.Size()), true, nil
}

// nameFile notes in the same batch that an attachment names a file, so that it may be
// sent, or that one was erased. What was erased stays so, also when it is named again.
func (b *batch) nameFile(o *envelope.Opened) error {
	stream := o.Event.GetStream()
	switch k := o.Event.GetKind().(type) {
	case *eventv1.Event_Attachment:
		key := fileKey(stream, k.Attachment.GetSha256())
		if v, err := b.get(key); err != nil || v != nil {
			return err
		}
		if len(k.Attachment.GetSha256()) == sha256.Size {
			b.set(key, named{size: k.Attachment.GetSize()}.value())
		}
	case *eventv1.Event_FileErased:
		key := fileKey(stream, k.FileErased.GetSha256())
		v, err := b.get(key)
		if err != nil {
			return err
		}
		n, _ := readNamed(v)
		n.erased = true
		b.set(key, n.value())
	}
	return nil
}

// named finds the file that an attachment of the case names, for a caller who may do
// what the method does there.
func (s *Server) named(ctx context.Context, c Caller, method, stream string, sum []byte) (Caller, named, error) {
	if stream == "" {
		return c, named{}, notFound(stream)
	}
	c, err := s.admit(c, method, stream)
	if err != nil {
		return c, named{}, err
	}
	v, err := s.log.Get(ctx, fileKey(stream, sum))
	if err != nil {
		return c, named{}, err
	}
	n, ok := readNamed(v)
	if !ok || len(sum) != sha256.Size {
		return c, named{}, refuse(boardv1.Reason_REASON_NOT_FOUND, "sha256: no attachment of this case names a file %x", sum)
	}
	return c, n, nil
}

func erased(sum []byte) *Refusal {
	return refuse(boardv1.Reason_REASON_ERASED, "the file %x was erased; it does not come back", sum)
}

// FileState says how much of a file is here.
func (s *Server) FileState(ctx context.Context, c Caller, req *boardv1.FileStateRequest) (*boardv1.FileStateResponse, error) {
	_, n, err := s.named(ctx, c, boardv1.FileService_FileState_FullMethodName, req.GetStream(), req.GetSha256())
	if err != nil {
		return nil, err
	}
	out := &boardv1.FileStateResponse{Size: n.size}
	path := s.files.path(req.GetStream(), req.GetSha256())
	if n.erased {
		out.Standing = boardv1.FileStanding_FILE_STANDING_ERASED
		return out, nil
	}
	held, whole, err := size(path)
	if err != nil {
		return nil, err
	}
	out.Standing, out.Held = boardv1.FileStanding_FILE_STANDING_WHOLE, held
	if !whole {
		out.Standing = boardv1.FileStanding_FILE_STANDING_WAITED_FOR
		out.Held, _, err = size(path + ".part")
	}
	return out, err
}

// PutFile takes the bytes of a file, message by message. What came before an error
// stays, and the next call goes on from there; but a whole file that has another hash
// is thrown away.
func (s *Server) PutFile(ctx context.Context, c Caller, next func() (*boardv1.PutFileRequest, error)) error {
	const method = boardv1.FileService_PutFile_FullMethodName
	m, err := next()
	if err != nil {
		return err
	}
	stream, sum := m.GetStream(), m.GetSha256()
	c, n, err := s.named(ctx, c, method, stream, sum)
	if err != nil {
		return err
	}
	if n.erased {
		return erased(sum)
	}
	path := s.files.path(stream, sum)
	release, ok := s.files.claim(path)
	if !ok {
		return refuse(boardv1.Reason_REASON_LIMIT, "somebody is sending this file just now; try again")
	}
	defer release()
	if _, whole, err := size(path); err != nil || whole {
		return err
	}
	held, _, err := size(path + ".part")
	if err != nil {
		return err
	}
	if m.GetOffset() != held {
		return refuse(boardv1.Reason_REASON_MALFORMED, "offset: %d; %d bytes of the file are here, go on from there", m.GetOffset(), held)
	}
	if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
		return fmt.Errorf("an attached file: %w", err)
	}
	f, err := os.OpenFile(path+".part", os.O_CREATE|os.O_APPEND|os.O_RDWR, 0o600)
	if err != nil {
		return fmt.Errorf("an attached file: %w", err)
	}
	defer f.Close() //nolint:errcheck // synced where it counts
	for ; ; m, err = next() {
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return err
		}
		part := m.GetPart()
		switch held += uint64(len(part)); {
		case len(part) > filePart:
			return refuse(boardv1.Reason_REASON_TOO_BIG, "part: %d bytes; send at most %d at once", len(part), filePart)
		case held > n.size:
			return refuse(boardv1.Reason_REASON_TOO_BIG, "part: %d bytes or more; the attachment says that the file has %d", held, n.size)
		}
		// Asked again for every message: what was withdrawn or erased is at once.
		if c, n, err = s.named(ctx, c, method, stream, sum); err != nil {
			return err
		}
		if n.erased {
			return errors.Join(erased(sum), s.files.remove(stream, sum))
		}
		if err := badger.Room(filepath.Dir(path), s.files.reserve); err != nil {
			return refuse(boardv1.Reason_REASON_NO_ROOM, "the server has no room left for files; what came of it is kept")
		}
		if _, err := f.Write(part); err != nil {
			return fmt.Errorf("an attached file: %w", err)
		}
	}
	if held < n.size {
		return refuse(boardv1.Reason_REASON_NOT_YET, "%d bytes of %d came; go on from there", held, n.size)
	}
	return s.finish(ctx, f, stream, sum)
}

// finish puts a file in place once it is whole and has its hash.
func (s *Server) finish(ctx context.Context, f *os.File, stream string, sum []byte) error {
	path := s.files.path(stream, sum)
	h := sha256.New()
	_, err := f.Seek(0, io.SeekStart)
	if err == nil {
		_, err = io.Copy(h, f)
	}
	if err != nil {
		return fmt.Errorf("an attached file: %w", err)
	}
	if got := h.Sum(nil); !bytes.Equal(got, sum) {
		return errors.Join(refuse(boardv1.Reason_REASON_IMPOSSIBLE, "the bytes that came have the SHA-256 %x, the attachment says %x: they were thrown away, send the file again", got, sum), os.Remove(path+".part"))
	}
	if err := errors.Join(f.Sync(), os.Rename(path+".part", path), syncFolder(filepath.Dir(path)), syncFolder(s.files.dir)); err != nil {
		return fmt.Errorf("an attached file cannot be kept: %w", err)
	}
	// It may have been erased while it was put in place.
	v, err := s.log.Get(ctx, fileKey(stream, sum))
	if err != nil {
		return err
	}
	if n, _ := readNamed(v); n.erased {
		return errors.Join(erased(sum), s.files.remove(stream, sum))
	}
	return nil
}

// GetFile sends the bytes of a file from an offset on.
func (s *Server) GetFile(ctx context.Context, c Caller, req *boardv1.GetFileRequest, send func(*boardv1.GetFileResponse) error) error {
	const method = boardv1.FileService_GetFile_FullMethodName
	c, n, err := s.named(ctx, c, method, req.GetStream(), req.GetSha256())
	if err != nil {
		return err
	}
	if n.erased {
		return erased(req.GetSha256())
	}
	f, err := os.Open(s.files.path(req.GetStream(), req.GetSha256()))
	if errors.Is(err, fs.ErrNotExist) {
		return refuse(boardv1.Reason_REASON_NOT_YET, "whoever attached the file has not sent all of it yet")
	}
	if err != nil {
		return fmt.Errorf("an attached file: %w", err)
	}
	defer f.Close()
	if req.GetOffset() > n.size {
		return refuse(boardv1.Reason_REASON_MALFORMED, "offset: %d; the file has %d bytes", req.GetOffset(), n.size)
	}
	if _, err := f.Seek(int64(req.GetOffset()), io.SeekStart); err != nil {
		return fmt.Errorf("an attached file: %w", err)
	}
	return patiently(ctx, s.options.SlowAfter, send, func(ctx context.Context, send func(*boardv1.GetFileResponse) error) error {
		for {
			b := make([]byte, filePart)
			k, err := io.ReadFull(f, b)
			if errors.Is(err, io.EOF) {
				return nil
			}
			if err != nil && !errors.Is(err, io.ErrUnexpectedEOF) {
				return fmt.Errorf("an attached file: %w", err)
			}
			if c, n, err = s.named(ctx, c, method, req.GetStream(), req.GetSha256()); err != nil {
				return err
			}
			if n.erased {
				return erased(req.GetSha256())
			}
			if err := send(&boardv1.GetFileResponse{Part: b[:k]}); err != nil {
				return err
			}
		}
	})
}

// EraseFile removes the bytes of the file that an attachment names, in this case. The
// server writes that it did, and why; whoever has the bytes already keeps them until
// they hear of it.
func (s *Server) EraseFile(ctx context.Context, c Caller, req *boardv1.EraseFileRequest) (*boardv1.EraseFileResponse, error) {
	c, err := s.admit(c, boardv1.FileService_EraseFile_FullMethodName, req.GetStream())
	if err != nil {
		return nil, err
	}
	switch n := len(req.GetWhy()); {
	case n == 0:
		return nil, refuse(boardv1.Reason_REASON_IMPOSSIBLE, "why: empty; say why, and not what was erased")
	case n > maxWhy:
		return nil, refuse(boardv1.Reason_REASON_TOO_BIG, "why: %d bytes; at most %d", n, maxWhy)
	}
	sum, err := s.attached(ctx, req.GetStream(), req.GetEntry())
	if err != nil {
		return nil, err
	}
	err = s.committer.do(ctx, 1024, func(b *batch) error {
		if v, err := b.get(fileKey(req.GetStream(), sum)); err != nil {
			return err
		} else if n, _ := readNamed(v); n.erased {
			return nil
		}
		return b.say(req.GetStream(), c.Person, c.Shop, func(e *eventv1.Event) {
			e.Kind = &eventv1.Event_FileErased{FileErased: &eventv1.FileErased{Entry: req.GetEntry(), Sha256: sum, Why: req.GetWhy()}}
		})
	})
	if err != nil {
		return nil, err
	}
	return &boardv1.EraseFileResponse{}, s.files.remove(req.GetStream(), sum)
}

// attached is the hash of the file that an attachment of the case names.
func (s *Server) attached(ctx context.Context, stream, entry string) ([]byte, error) {
	none := refuse(boardv1.Reason_REASON_NOT_FOUND, "entry: %q is no attachment of this case", clip(entry))
	if notation.CheckID(entry) != nil {
		return nil, none
	}
	v, err := s.log.Get(ctx, idKey(stream, entry))
	if err != nil {
		return nil, err
	}
	at, ok := readPlaced(v)
	if !ok || at.kind != kindAttachment {
		return nil, none
	}
	for item, err := range s.log.Read(ctx, log.Range{Stream: stream, From: at.seq, Limit: 1}) {
		if err != nil {
			return nil, err
		}
		if o, err := envelope.Open(item.Event); err == nil && len(o.Event.GetAttachment().GetSha256()) == sha256.Size {
			return o.Event.GetAttachment().GetSha256(), nil
		}
	}
	return nil, none
}

type fileService struct {
	boardv1.UnimplementedFileServiceServer
	s *Server
}

func (f fileService) FileState(ctx context.Context, req *boardv1.FileStateRequest) (*boardv1.FileStateResponse, error) {
	return call(ctx, f.s, req, f.s.FileState)
}

func (f fileService) PutFile(ss grpc.ClientStreamingServer[boardv1.PutFileRequest, boardv1.PutFileResponse]) error {
	c, leave, err := f.s.enter(ss.Context(), nil)
	if err != nil {
		return err
	}
	defer leave()
	if err := f.s.PutFile(ss.Context(), c, ss.Recv); err != nil {
		return err
	}
	return ss.SendAndClose(&boardv1.PutFileResponse{})
}

func (f fileService) GetFile(req *boardv1.GetFileRequest, ss grpc.ServerStreamingServer[boardv1.GetFileResponse]) error {
	return flow(ss, f.s, req, f.s.GetFile)
}

func (f fileService) EraseFile(ctx context.Context, req *boardv1.EraseFileRequest) (*boardv1.EraseFileResponse, error) {
	return call(ctx, f.s, req, f.s.EraseFile)
}
