package server

import (
	"bytes"
	"context"
	"crypto/sha256"
	"errors"
	"io"
	"math"
	"os"
	"testing"

	"github.com/stretchr/testify/require"

	boardv1 "knowngood.example/proto/knowngood/board/v1"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

func attaches(b []byte, size int) *eventv1.Event {
	sum := sha256.Sum256(b)
	return &eventv1.Event{Kind: &eventv1.Event_Attachment{Attachment: &eventv1.Attachment{Name: "splice.jpg", MediaType: "image/jpeg", Size: uint64(size), Sha256: sum[:]}}}
}

func (m *member) filer() boardv1.FileServiceClient { return boardv1.NewFileServiceClient(m.w.dial()) }

// put sends bytes of a file from an offset on, in parts of so many.
func (m *member) putFile(stream string, sum [32]byte, offset int, b []byte, part int) error {
	out, err := m.filer().PutFile(m.ctx())
	if err != nil {
		return err
	}
	first := &boardv1.PutFileRequest{Stream: stream, Sha256: sum[:], Offset: uint64(offset)}
	for {
		n := min(part, len(b))
		first.Part, b = b[:n], b[n:]
		if err := out.Send(first); err != nil && !errors.Is(err, io.EOF) {
			return err
		} else if err != nil || len(b) == 0 {
			break
		}
		first = &boardv1.PutFileRequest{}
	}
	_, err = out.CloseAndRecv()
	return err
}

func (m *member) getFile(stream string, sum [32]byte, offset int) ([]byte, error) {
	in, err := m.filer().GetFile(m.ctx(), &boardv1.GetFileRequest{Stream: stream, Sha256: sum[:], Offset: uint64(offset)})
	require.NoError(m.t, err)
	var b []byte
	for {
		r, err := in.Recv()
		if errors.Is(err, io.EOF) {
			return b, nil
		}
		if err != nil {
			return b, err
		}
		b = append(b, r.GetPart()...)
	}
}

func (m *member) fileState(stream string, sum [32]byte) *boardv1.FileStateResponse {
	r, err := m.filer().FileState(m.ctx(), &boardv1.FileStateRequest{Stream: stream, Sha256: sum[:]})
	require.NoError(m.t, err)
	return r
}

// TestFiles: the bytes of an attachment come in parts, go on after an interruption,
// are refused with another hash or too many, and reach whoever may see the case.
func TestFiles(t *testing.T) {
	t.Parallel()
	w := newWorld(t, Options{})
	mara, other := w.shopOwner("Tin Kettle Garage (invented)"), w.shopOwner("Lantern Lane Diagnostics (invented)")
	stream := mara.opens()
	b := bytes.Repeat([]byte("a photograph of the splice "), 40_000)
	sum := sha256.Sum256(b)
	require.Equal(t, boardv1.Reason_REASON_NOT_FOUND, reasonOf(t, mara.putFile(stream, sum, 0, b, filePart)), "no attachment names it yet")
	mara.put(stream, attaches(b, len(b)))
	_, err := mara.getFile(stream, sum, 0)
	require.Equal(t, boardv1.Reason_REASON_NOT_YET, reasonOf(t, err))

	require.Equal(t, boardv1.Reason_REASON_NOT_YET, reasonOf(t, mara.putFile(stream, sum, 0, b[:300_000], 100_000)), "interrupted")
	require.Equal(t, uint64(300_000), mara.fileState(stream, sum).GetHeld())
	require.Equal(t, boardv1.Reason_REASON_MALFORMED, reasonOf(t, mara.putFile(stream, sum, 0, b, filePart)), "it goes on from where it stands")
	require.Equal(t, boardv1.Reason_REASON_TOO_BIG, reasonOf(t, mara.putFile(stream, sum, 300_000, make([]byte, filePart+1), filePart+1)))
	require.NoError(t, mara.putFile(stream, sum, 300_000, b[300_000:], filePart))
	require.Equal(t, boardv1.FileStanding_FILE_STANDING_WHOLE, mara.fileState(stream, sum).GetStanding())
	require.NoError(t, mara.putFile(stream, sum, 0, b[:10], filePart), "it is whole")
	got, err := mara.getFile(stream, sum, 0)
	require.NoError(t, err)
	require.Equal(t, b, got)
	got, err = mara.getFile(stream, sum, len(b)-7)
	require.NoError(t, err)
	require.Equal(t, b[len(b)-7:], got)
	_, err = mara.getFile(stream, sum, len(b)+1)
	require.Equal(t, boardv1.Reason_REASON_MALFORMED, reasonOf(t, err))

	// Under the case's authorization: foreign and not there answer alike, a reader may
	// fetch and not send, and what is withdrawn is withdrawn.
	_, err = other.getFile(stream, sum, 0)
	_, none := other.getFile(newID(), sum, 0)
	require.Equal(t, boardv1.Reason_REASON_NOT_FOUND, reasonOf(t, err))
	require.Equal(t, boardv1.Reason_REASON_NOT_FOUND, reasonOf(t, none))
	_, err = mara.getFile("../../etc", sum, 0)
	require.Equal(t, boardv1.Reason_REASON_NOT_FOUND, reasonOf(t, err))
	mara.put(stream, handOff(other.shop, "", eventv1.Access_ACCESS_READ, 3))
	_, err = other.getFile(stream, sum, 0)
	require.NoError(t, err)
	require.Equal(t, boardv1.Reason_REASON_NOT_ALLOWED, reasonOf(t, other.putFile(stream, sum, 0, b, filePart)))
	_, err = other.filer().EraseFile(other.ctx(), &boardv1.EraseFileRequest{Stream: stream, Entry: newID(), Why: "no"})
	require.Equal(t, boardv1.Reason_REASON_NOT_ALLOWED, reasonOf(t, err))
	mara.put(stream, withdrawal(other.shop, 5))
	_, err = other.getFile(stream, sum, 0)
	require.Equal(t, boardv1.Reason_REASON_NOT_FOUND, reasonOf(t, err))

	// Other bytes than those named: refused, and it can be sent again.
	c := []byte("other bytes, as long as needed")
	mara.put(stream, attaches(c, len(c)))
	wrong := bytes.ToUpper(c)
	require.Equal(t, boardv1.Reason_REASON_IMPOSSIBLE, reasonOf(t, mara.putFile(stream, sha256.Sum256(c), 0, wrong, 7)))
	require.Zero(t, mara.fileState(stream, sha256.Sum256(c)).GetHeld())
	require.Equal(t, boardv1.Reason_REASON_TOO_BIG, reasonOf(t, mara.putFile(stream, sha256.Sum256(c), 0, append(c, 'x'), filePart)), "more than it says")
	require.NoError(t, mara.putFile(stream, sha256.Sum256(c), 0, c, filePart))
}

// TestErasedFileStaysErased: the attachment stays and says so, the bytes are gone for
// everybody, also after a start, and sent again they are refused.
func TestErasedFileStaysErased(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	b := []byte("a face is in it")
	sum := sha256.Sum256(b)
	var mara *member
	var stream, path string
	t.Run("erased", func(t *testing.T) {
		w := openWorld(t, dir)
		mara = w.shopOwner("Tin Kettle Garage (invented)")
		stream = mara.opens()
		id := mara.put(stream, attaches(b, len(b))).GetId()
		require.NoError(t, mara.putFile(stream, sum, 0, b, filePart))
		path = w.files.path(stream, sum[:])
		require.FileExists(t, path)
		for _, bad := range []*boardv1.EraseFileRequest{{Stream: stream, Entry: id}, {Stream: stream, Entry: newID(), Why: "x"}, {Stream: stream, Entry: "x", Why: "x"}} {
			_, err := mara.filer().EraseFile(mara.ctx(), bad)
			require.Error(t, err)
		}
		tech := mara.invite(technician, "tech")
		_, err := tech.filer().EraseFile(tech.ctx(), &boardv1.EraseFileRequest{Stream: stream, Entry: id, Why: "asked for"})
		require.Equal(t, boardv1.Reason_REASON_NOT_ALLOWED, reasonOf(t, err))
		for range 2 {
			_, err := mara.filer().EraseFile(mara.ctx(), &boardv1.EraseFileRequest{Stream: stream, Entry: id, Why: "asked for"})
			require.NoError(t, err)
		}
		require.NoFileExists(t, path)
		require.Len(t, mara.entries(stream), 3, "opened, attached, erased, once each")
		require.NoError(t, os.WriteFile(path, b, 0o600)) // as a crash between the two would leave it
	})
	w := openWorld(t, dir)
	require.NoFileExists(t, path)
	mara.w = w
	conn := w.dial()
	mara.board = boardv1.NewBoardServiceClient(conn)
	mara.put(stream, attaches(b, len(b))) // named again: it stays erased
	require.Equal(t, boardv1.FileStanding_FILE_STANDING_ERASED, mara.fileState(stream, sum).GetStanding())
	_, err := mara.getFile(stream, sum, 0)
	require.Equal(t, boardv1.Reason_REASON_ERASED, reasonOf(t, err))
	require.Equal(t, boardv1.Reason_REASON_ERASED, reasonOf(t, mara.putFile(stream, sum, 0, b, filePart)))
}

// TestFilesKeepTheReserve: no room for a file, and entries are taken all the same.
func TestFilesKeepTheReserve(t *testing.T) {
	t.Parallel()
	w := newWorld(t, Options{})
	mara := w.shopOwner("Tin Kettle Garage (invented)")
	stream := mara.opens()
	b := []byte("bytes")
	mara.put(stream, attaches(b, len(b)))
	w.files.reserve = math.MaxInt64
	require.Equal(t, boardv1.Reason_REASON_NO_ROOM, reasonOf(t, mara.putFile(stream, sha256.Sum256(b), 0, b, filePart)))
	mara.put(stream, noted("still"))
	w.files.reserve = 1
	require.NoError(t, mara.putFile(stream, sha256.Sum256(b), 0, b, filePart))
	require.NoError(t, w.Stop(context.Background()))
}

// TestMatrixOfFiles: every method about files, and the tiles, by every role in every
// relation to the case.
func TestMatrixOfFiles(t *testing.T) {
	t.Parallel()
	w := newWorld(t, Options{})
	stream, all := cast(t, w)
	b := []byte("an invented photograph")
	sum := sha256.Sum256(b)
	boss := all[0].m
	require.Equal(t, owner, all[0].role)
	boss.put(stream, attaches(b, len(b)))
	require.NoError(t, boss.putFile(stream, sum, 0, b, filePart))
	for _, s := range all {
		read := boardv1.Reason_REASON_UNSPECIFIED
		write, erase := read, boardv1.Reason_REASON_IMPOSSIBLE // a why is missing: past the gate
		switch {
		case s.gone():
			read, write, erase = boardv1.Reason_REASON_WHO_ARE_YOU, boardv1.Reason_REASON_WHO_ARE_YOU, boardv1.Reason_REASON_WHO_ARE_YOU
		case !s.sees():
			read, write, erase = boardv1.Reason_REASON_NOT_FOUND, boardv1.Reason_REASON_NOT_FOUND, boardv1.Reason_REASON_NOT_FOUND
		default:
			if !s.writes() {
				write = boardv1.Reason_REASON_NOT_ALLOWED
			}
			if s.relation != "own" || s.role != owner {
				erase = boardv1.Reason_REASON_NOT_ALLOWED
			}
		}
		is := func(want boardv1.Reason, err error, method string) {
			if want == boardv1.Reason_REASON_UNSPECIFIED {
				require.NoError(t, err, "%s by %s, %s", method, s.role, s.relation)
			} else {
				require.Equal(t, want, reasonOf(t, err), "%s by %s, %s", method, s.role, s.relation)
			}
		}
		_, err := s.m.filer().FileState(s.m.ctx(), &boardv1.FileStateRequest{Stream: stream, Sha256: sum[:]})
		is(read, err, "FileState")
		_, err = s.m.getFile(stream, sum, 0)
		is(read, err, "GetFile")
		is(write, s.m.putFile(stream, sum, 0, b, filePart), "PutFile")
		_, err = s.m.filer().EraseFile(s.m.ctx(), &boardv1.EraseFileRequest{Stream: stream, Entry: newID()})
		is(erase, err, "EraseFile")
		_, err = s.m.board.Tiles(s.m.ctx(), &boardv1.TilesRequest{Tiles: []*boardv1.Tile{{Width: 1}}})
		if s.gone() {
			is(boardv1.Reason_REASON_WHO_ARE_YOU, err, "Tiles")
		} else {
			require.NoError(t, err)
		}
	}
}

// TestTilesThatAreNotThere: a tile beyond the tree, too many, of no level.
func TestTilesThatAreNotThere(t *testing.T) {
	t.Parallel()
	w := newWorld(t, Options{})
	m := w.shopOwner("One (invented)")
	c, _ := w.tree.Checkpoint()
	for _, bad := range []*boardv1.Tile{
		{}, {Width: 17}, {Width: uint32(c.Size + 1)}, {Number: 1, Width: 1}, {Level: 1, Width: 1}, {Level: 16, Width: 1}, {Level: 1 << 30, Width: 1},
		{Number: 1 << 60, Width: 1}, {Number: 1<<64 - 1, Width: 16}, {Level: 15, Number: 1<<64 - 1, Width: 1},
	} {
		_, err := m.board.Tiles(m.ctx(), &boardv1.TilesRequest{Tiles: []*boardv1.Tile{bad}})
		require.Equal(t, boardv1.Reason_REASON_MALFORMED, reasonOf(t, err), "%v", bad)
	}
	_, err := m.board.Tiles(m.ctx(), &boardv1.TilesRequest{Tiles: make([]*boardv1.Tile, maxTiles+1)})
	require.Equal(t, boardv1.Reason_REASON_LIMIT, reasonOf(t, err))
	r, err := m.board.Tiles(m.ctx(), &boardv1.TilesRequest{Tiles: []*boardv1.Tile{{Width: uint32(c.Size)}}})
	require.NoError(t, err)
	require.Len(t, r.GetTiles()[0], 32*int(c.Size))
}
