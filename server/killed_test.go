package server

import (
	"bytes"
	"crypto/sha256"
	"math/rand/v2"
	"os"
	"path/filepath"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"google.golang.org/grpc"

	"knowngood.example/cases/log/backup"
	boardv1 "knowngood.example/proto/knowngood/board/v1"
)

// TestKilledWhileAFileComes kills the server again and again while a file comes, and
// while backups are written: the file goes on from what is there and is whole in the
// end, and each backup is whole or refused.
func TestKilledWhileAFileComes(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	p := startServer(t, dir)
	w := &world{t: t, dial: func() *grpc.ClientConn {
		conn, err := grpc.NewClient(p.Address, trusting(p.Authority))
		require.NoError(t, err)
		t.Cleanup(func() { conn.Close() }) //nolint:errcheck // the test is over
		return conn
	}}
	m := w.join(p.Code, "owner")
	stream := m.opens()
	random := rand.New(rand.NewPCG(uint64(time.Now().UnixNano()), 0))
	b := make([]byte, 12<<20)
	for i := range b {
		b[i] = byte(random.Uint32())
	}
	sum := sha256.Sum256(b)
	m.put(stream, attaches(b, len(b)))
	whole, kills := 0, 0
	for {
		held := int(m.fileState(stream, sum).GetHeld())
		if m.fileState(stream, sum).GetStanding() == boardv1.FileStanding_FILE_STANDING_WHOLE {
			break
		}
		copied := filepath.Join(t.TempDir(), "backup")
		done := make(chan error, 1)
		go func() {
			f, err := os.Create(copied)
			if err == nil {
				err = BackupOf(t.Context(), dir, f, Options{})
				f.Close() //nolint:errcheck // read below
			}
			done <- err
		}()
		pid := p.Pid
		kill := time.AfterFunc(time.Duration(3+random.IntN(12)+2*kills)*time.Millisecond, func() {
			_ = syscall.Kill(pid, syscall.SIGKILL) // waited for below
		})
		err := m.putFile(stream, sum, held, b[held:], 64<<10)
		lives := kill.Stop()
		backedUp := <-done
		if read, readErr := os.ReadFile(copied); readErr == nil {
			sound := backup.Read(bytes.NewReader(read), onlyHead{&restoring{out: &Restored{}}})
			if backedUp == nil {
				require.NoError(t, sound, "it was said to be whole")
				whole++
			} else {
				require.Error(t, sound)
			}
		}
		if err == nil && lives {
			continue
		}
		p.kill(t)
		kills++
		require.Less(t, kills, 200, "it does not get on")
		p = startServer(t, dir)
		m.connect(t, p)
	}
	got, err := m.getFile(stream, sum, 0)
	require.NoError(t, err)
	require.True(t, bytes.Equal(b, got))
	require.Positive(t, kills)
	t.Logf("%d kills, %d whole backups", kills, whole)
}
