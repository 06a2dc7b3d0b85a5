package client

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
	"strings"

	"google.golang.org/grpc/codes"
	"google.golang.org/grpc/status"

	"knowngood.example/cases/check"
	"knowngood.example/cases/envelope"
	"knowngood.example/cases/log/badger"
	"knowngood.example/cases/notation"
	boardv1 "knowngood.example/proto/knowngood/board/v1"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// prefixThere marks, by case and hash, the files that the server has, or that it
// erased; doc.go has it.
const prefixThere = "there/"

const (
	fileParts      = "files"
	filePart       = 256 << 10
	kindFileErased = 163
)

// ErrErased: the bytes of the file were erased.
var ErrErased = errors.New("the file was erased; the entry that names it stays")

func (c *Conn) files() boardv1.FileServiceClient { return boardv1.NewFileServiceClient(c.conn) }

func (h *Home) filePath(stream string, sum []byte) string {
	return filepath.Join(h.path(fileParts), stream, hex.EncodeToString(sum))
}

// roomFor keeps the disk from filling up under the replica.
func (h *Home) roomFor(path string) error {
	return badger.Room(filepath.Dir(path), h.fileReserve)
}

// KeepFile copies what is to be attached to a case into the home, so that it can be
// sent once a server is in reach, whatever becomes of the original. It returns the
// attachment with its size and hash; once it does, the copy survives a power cut.
func (h *Home) KeepFile(stream string, from io.Reader) (*eventv1.Attachment, error) {
	dir := filepath.Join(h.path(fileParts), stream)
	if err := os.MkdirAll(dir, 0o700); err != nil {
		return nil, fmt.Errorf("cannot keep the file: %w", err)
	}
	f, err := os.CreateTemp(dir, "new-*.part")
	if err != nil {
		return nil, fmt.Errorf("cannot keep the file: %w", err)
	}
	hash, size, b := sha256.New(), uint64(0), make([]byte, filePart)
	for err == nil && size <= check.MaxFile {
		var n int
		if n, err = from.Read(b); n > 0 {
			size += uint64(n)
			hash.Write(b[:n])
			if full := h.roomFor(f.Name()); full != nil {
				err = full
			} else if _, bad := f.Write(b[:n]); bad != nil {
				err = bad
			}
		}
	}
	if errors.Is(err, io.EOF) {
		err = nil
	}
	if size > check.MaxFile {
		err = fmt.Errorf("it has more than %d MiB: cut it, or make it smaller", check.MaxFile>>20)
	}
	if size == 0 && err == nil {
		err = errors.New("it is empty: attach one with something in it")
	}
	sum := hash.Sum(nil)
	if err = errors.Join(err, f.Sync(), f.Close()); err == nil {
		err = os.Rename(f.Name(), h.filePath(stream, sum))
	}
	if err != nil {
		return nil, fmt.Errorf("cannot keep the file: %w", errors.Join(err, os.Remove(f.Name())))
	}
	return &eventv1.Attachment{Size: size, Sha256: sum}, errors.Join(syncDir(dir), syncDir(filepath.Dir(dir)))
}

// SendFiles sends the files that wait, each from where the server has it. A file whose
// attachment the server does not have goes on waiting. It returns how many the server
// has now that it was not known to have before.
func (h *Home) SendFiles(ctx context.Context, c *Conn) (sent int, err error) {
	list, err := h.FilesWaiting(ctx)
	if err != nil {
		return 0, err
	}
	for i, w := range list {
		r, err := c.files().FileState(ctx, &boardv1.FileStateRequest{Stream: w.Case, Sha256: w.SHA256})
		var no *Refusal
		if status.Code(err) == codes.Unimplemented {
			h.Warn("this server is older than this program and takes no files: they wait here")
			return sent, nil
		}
		if err = Explain(err); errors.As(err, &no) && no.Reason == boardv1.Reason_REASON_NOT_FOUND {
			continue
		}
		if err != nil {
			return sent, err
		}
		switch r.GetStanding() {
		case boardv1.FileStanding_FILE_STANDING_ERASED:
			if err := h.DropFile(w.Case, w.SHA256); err != nil {
				return sent, err
			}
		case boardv1.FileStanding_FILE_STANDING_WAITED_FOR:
			err := h.sendFile(ctx, c, w, int64(r.GetHeld()))
			if errors.As(err, &no) && no.Reason == boardv1.Reason_REASON_NOT_ALLOWED {
				err = nil // somebody else's, got from here before: whoever may write sends it
			}
			if err != nil {
				return sent, err
			}
		}
		if err := h.fileIsThere(ctx, w.Case, w.SHA256); err != nil {
			return sent, err
		}
		sent++
		h.Progress(i+1, len(list))
	}
	return sent, nil
}

func (h *Home) sendFile(ctx context.Context, c *Conn, w FileWaiting, offset int64) error {
	f, err := os.Open(h.filePath(w.Case, w.SHA256))
	if err != nil {
		return fmt.Errorf("a file that waits to be sent: %w", err)
	}
	defer f.Close()
	if _, err := f.Seek(offset, io.SeekStart); err != nil {
		return fmt.Errorf("a file that waits to be sent: %w", err)
	}
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	out, err := c.files().PutFile(ctx)
	if err != nil {
		return Explain(err)
	}
	m := &boardv1.PutFileRequest{Stream: w.Case, Sha256: w.SHA256, Offset: uint64(offset)}
	for b := make([]byte, filePart); ; m = new(boardv1.PutFileRequest) {
		n, readErr := io.ReadFull(f, b)
		m.Part = b[:n]
		if n > 0 || m.GetStream() != "" {
			if err := out.Send(m); errors.Is(err, io.EOF) {
				break // why is what the answer says
			} else if err != nil {
				return Explain(err)
			}
		}
		if errors.Is(readErr, io.EOF) || errors.Is(readErr, io.ErrUnexpectedEOF) {
			break
		}
		if readErr != nil {
			return fmt.Errorf("a file that waits to be sent: %w", readErr)
		}
	}
	_, err = out.CloseAndRecv()
	return Explain(err)
}

// File is where the bytes of an attachment lie in the home, fetched first when they do
// not and c is not nil. It was held against its hash. The error wraps ErrErased, or
// ErrOffline where only a server could say more.
func (h *Home) File(ctx context.Context, c *Conn, stream string, a *eventv1.Attachment) (path string, err error) {
	path = h.filePath(stream, a.GetSha256())
	if _, err := os.Stat(path); err == nil {
		got, err := hashOf(path)
		if err != nil || bytes.Equal(got, a.GetSha256()) {
			return path, err
		}
		// Kept for whoever wants to look, out of the way of the one that is fetched.
		if err := os.Rename(path, path+".damaged"); err != nil {
			return "", fmt.Errorf("%s is damaged: %w", path, err)
		}
		h.Warn(path + " did not have its hash any more, and lies beside as .damaged")
	}
	if c == nil {
		return "", fmt.Errorf("the file is not here: %w", ErrOffline)
	}
	if err := h.fetchFile(ctx, c, stream, a, path); err != nil {
		return "", err
	}
	return path, h.fileIsThere(ctx, stream, a.GetSha256())
}

func hashOf(path string) ([]byte, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, fmt.Errorf("an attached file: %w", err)
	}
	defer f.Close()
	hash := sha256.New()
	if _, err := io.Copy(hash, f); err != nil {
		return nil, fmt.Errorf("an attached file: %w", err)
	}
	return hash.Sum(nil), nil
}

// fetchFile gets a file from where an earlier try ended.
func (h *Home) fetchFile(ctx context.Context, c *Conn, stream string, a *eventv1.Attachment, path string) error {
	if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
		return fmt.Errorf("cannot keep the file: %w", err)
	}
	f, err := os.OpenFile(path+".part", os.O_CREATE|os.O_APPEND|os.O_RDWR, 0o600)
	if err != nil {
		return fmt.Errorf("cannot keep the file: %w", err)
	}
	defer f.Close() //nolint:errcheck // synced where it counts
	held, err := f.Seek(0, io.SeekEnd)
	if err != nil {
		return fmt.Errorf("cannot keep the file: %w", err)
	}
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	in, err := c.files().GetFile(ctx, &boardv1.GetFileRequest{Stream: stream, Sha256: a.GetSha256(), Offset: uint64(held)})
	for err == nil {
		var m *boardv1.GetFileResponse
		if m, err = in.Recv(); err != nil {
			break
		}
		if held += int64(len(m.GetPart())); held > int64(a.GetSize()) {
			return errors.Join(fmt.Errorf("the server sent more than the %d bytes that the file has", a.GetSize()), os.Remove(path+".part"))
		}
		if err := h.roomFor(path); err != nil {
			return err
		}
		if _, err := f.Write(m.GetPart()); err != nil {
			return fmt.Errorf("cannot keep the file: %w", err)
		}
	}
	if !errors.Is(err, io.EOF) {
		var no *Refusal
		if err = Explain(err); errors.As(err, &no) && no.Reason == boardv1.Reason_REASON_ERASED {
			return errors.Join(ErrErased, h.DropFile(stream, a.GetSha256()))
		}
		return err
	}
	got, err := hashOf(path + ".part")
	if err != nil {
		return err
	}
	if !bytes.Equal(got, a.GetSha256()) {
		return errors.Join(fmt.Errorf("what the server sent has the SHA-256 %x, and the entry says %x: it was thrown away", got, a.GetSha256()), os.Remove(path+".part"))
	}
	if err := errors.Join(f.Sync(), os.Rename(path+".part", path)); err != nil {
		return fmt.Errorf("cannot keep the file: %w", err)
	}
	return syncDir(filepath.Dir(path))
}

// EraseFile has the server remove the bytes of a file for good, and removes them here.
func (h *Home) EraseFile(ctx context.Context, c *Conn, stream, entry, why string, a *eventv1.Attachment) error {
	if _, err := c.files().EraseFile(ctx, &boardv1.EraseFileRequest{Stream: stream, Entry: entry, Why: why}); err != nil {
		return Explain(err)
	}
	return h.DropFile(stream, a.GetSha256())
}

// DropFile removes what lies here of a file that was erased, or that nothing names.
func (h *Home) DropFile(stream string, sum []byte) error {
	path := h.filePath(stream, sum)
	for _, p := range []string{path, path + ".part", path + ".damaged"} {
		if err := os.Remove(p); err != nil && !errors.Is(err, fs.ErrNotExist) {
			return fmt.Errorf("a file that was erased cannot be removed: %w", err)
		}
	}
	return nil
}

// dropErased removes from here the files that entries say were erased.
func (h *Home) dropErased(list []*boardv1.Held) error {
	for _, held := range list {
		o, err := envelope.Open(held.GetEvent())
		if err != nil || o.Kind != kindFileErased {
			continue
		}
		stream, sum := o.Event.GetStream(), o.Event.GetFileErased().GetSha256()
		if notation.CheckID(stream) != nil || len(sum) != sha256.Size {
			continue
		}
		if err := h.DropFile(stream, sum); err != nil {
			return err
		}
	}
	return nil
}

// PlainName is a name that an attachment may be written under here: what its writer
// called it, as far as that is a plain name, else its hash.
func PlainName(a *eventv1.Attachment) string {
	name := a.GetName()
	if name == "" || len(name) > 200 || strings.HasPrefix(name, ".") || strings.ContainsAny(name, `/\:`) || Clean(name) != name {
		return hex.EncodeToString(a.GetSha256())
	}
	return name
}
