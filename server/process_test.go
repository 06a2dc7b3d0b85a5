package server

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"flag"
	"fmt"
	"io"
	"math/rand/v2"
	"net"
	"os"
	"os/exec"
	"strings"
	"sync"
	"syscall"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials/insecure"

	boardv1 "knowngood.example/proto/knowngood/board/v1"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

var kills = flag.Int("kills", 0, "how often the server is killed under load; 0: 50, or 5 with -short; 1000 before a release")

// serveVariable makes this test binary a server: its value is the data folder.
const serveVariable = "KNOWNGOOD_TEST_SERVE"

// plainVariable makes it speak plain text, so that a trace of it shows what was
// asked and answered. It is the same services without the connection around them.
const plainVariable = "KNOWNGOOD_TEST_PLAIN"

// hello is the line that such a server begins with.
type hello struct {
	Address, Code string
	Authority     []byte
	Pid           int
	Opened        time.Duration
}

// serveForTests serves when this process was started for that.
func serveForTests() bool {
	dir := os.Getenv(serveVariable)
	if dir == "" {
		return false
	}
	if err := serveUntilKilled(dir); err != nil {
		fmt.Fprintln(os.Stderr, err)
		os.Exit(1)
	}
	return true
}

func serveUntilKilled(dir string) error {
	began := time.Now()
	s, err := Open(dir, Options{Limits: roomy()})
	if err != nil {
		return err
	}
	opened := time.Since(began)
	shop, err := s.OpenShop(context.Background(), "One (invented)", "EUR", true)
	if err != nil {
		return err
	}
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		return err
	}
	if err := json.NewEncoder(os.Stdout).Encode(hello{l.Addr().String(), shop.Code, s.identity.authority.certificate.Raw, os.Getpid(), opened}); err != nil {
		return err
	}
	if os.Getenv(plainVariable) != "" {
		g := grpc.NewServer(grpc.ForceServerCodecV2(newCodec()))
		boardv1.RegisterBoardServiceServer(g, boardService{s: s, encoded: &encoded{}})
		boardv1.RegisterRegisterServiceServer(g, registerService{s: s})
		return g.Serve(l)
	}
	return s.Serve(context.Background(), l)
}

// process is a server in a process of its own.
type process struct {
	hello
	cmd  *exec.Cmd
	said *bytes.Buffer
}

func startServer(t testing.TB, dir string, wrap ...string) *process {
	t.Helper()
	args := append(wrap, os.Args[0])
	p := &process{cmd: exec.Command(args[0], args[1:]...), said: &bytes.Buffer{}}
	p.cmd.Env = append(os.Environ(), serveVariable+"="+dir)
	p.cmd.Stderr = p.said
	out, err := p.cmd.StdoutPipe()
	require.NoError(t, err)
	require.NoError(t, p.cmd.Start())
	t.Cleanup(func() { p.kill(t) })
	line, err := bufio.NewReader(out).ReadBytes('\n')
	if err != nil {
		p.kill(t)
		require.NoError(t, err, "the server did not start: %s", p.said)
	}
	require.NoError(t, json.Unmarshal(line, &p.hello))
	go io.Copy(io.Discard, out) //nolint:errcheck // ends with the process
	return p
}

// kill ends the server as kill -9 does, at once; what it runs under ends with it.
func (p *process) kill(t testing.TB) {
	if p.cmd.ProcessState != nil {
		return
	}
	if p.Pid == 0 { // it never said
		require.NoError(t, p.cmd.Process.Kill())
	} else {
		require.NoError(t, syscall.Kill(p.Pid, syscall.SIGKILL))
	}
	p.cmd.Wait() //nolint:errcheck // it was killed
}

// connect lets the member talk to the process.
func (m *member) connect(t testing.TB, p *process) {
	conn, err := grpc.NewClient(p.Address, trusting(p.Authority), grpc.WithDefaultCallOptions(grpc.MaxCallRecvMsgSize(maxAnswer)))
	require.NoError(t, err)
	t.Cleanup(func() { conn.Close() }) //nolint:errcheck // the test is over
	m.board, m.register = boardv1.NewBoardServiceClient(conn), boardv1.NewRegisterServiceClient(conn)
}

// writing is what one client knows of its case: what was confirmed, and what it
// has sent and must send again.
type writing struct {
	stream    string
	confirmed map[uint64]string // the event's bytes by place
	pending   []*eventv1.Signed
	checked   uint64
}

func TestKilledUnderLoad(t *testing.T) {
	cycles := *kills
	if cycles == 0 {
		cycles = 50
		if testing.Short() || raceEnabled {
			cycles = 5
		}
	}
	seed := uint64(time.Now().UnixNano())
	t.Logf("%d kills, seed %d", cycles, seed)
	rnd := rand.New(rand.NewPCG(seed, 7))
	dir := t.TempDir()
	p := startServer(t, dir)
	w := &world{t: t, dial: func() *grpc.ClientConn {
		conn, err := grpc.NewClient(p.Address, trusting(p.Authority))
		require.NoError(t, err)
		t.Cleanup(func() { conn.Close() }) //nolint:errcheck // the test is over
		return conn
	}}
	m := w.join(p.Code, "owner")
	const clients = 6
	all := make([]*writing, clients)
	for i := range all {
		all[i] = &writing{stream: m.opens(), confirmed: map[uint64]string{}, checked: 1}
	}
	confirmed, again := 0, 0
	for cycle := range cycles {
		m.connect(t, p)
		ctx, cancel := context.WithCancel(m.ctx())
		var wg sync.WaitGroup
		counts := make([][2]int, clients)
		answered := make(chan struct{}, 1)
		for i, of := range all {
			wg.Go(func() { counts[i][0], counts[i][1] = of.load(ctx, m, answered) })
		}
		// A busy machine may need long for its first answer. Most kills wait for one,
		// some come before.
		if cycle%4 != 3 {
			select {
			case <-answered:
			case <-time.After(time.Minute):
				t.Fatal("the server confirms nothing")
			}
		}
		time.Sleep(time.Duration(5+rnd.IntN(60)) * time.Millisecond)
		p.kill(t)
		cancel()
		wg.Wait()
		p = startServer(t, dir)
		m.connect(t, p)
		for i, of := range all {
			of.check(t, m, cycle)
			confirmed += counts[i][0]
			again += counts[i][1]
		}
	}
	for _, of := range all {
		of.checked = 1
		of.check(t, m, cycles)
	}
	t.Logf("%d events confirmed, %d of them sent again after a kill had left open whether they were kept", confirmed, again)
	require.Greater(t, confirmed, cycles)
}

// load sends, one request after the other, until the server is gone. What was not
// answered is sent again first. Each answer is told, unless one is told already.
func (w *writing) load(ctx context.Context, m *member, answered chan<- struct{}) (confirmed, again int) {
	for {
		resent := len(w.pending)
		for len(w.pending) < 3 {
			w.pending = append(w.pending, m.write(w.stream, noted("under load")))
		}
		r, err := m.board.Append(ctx, &boardv1.AppendRequest{Events: w.pending})
		if err != nil {
			return confirmed, again
		}
		for i, a := range r.GetResults() {
			if a.GetReason() != taken || a.GetSeq() == 0 || len(a.GetRemarks()) > 0 {
				m.t.Errorf("not taken: %v", a)
				return confirmed, again
			}
			if other, ok := w.confirmed[a.GetSeq()]; ok && other != string(w.pending[i].GetEvent()) {
				m.t.Errorf("place %d was given twice", a.GetSeq())
			}
			w.confirmed[a.GetSeq()] = string(w.pending[i].GetEvent())
			confirmed++
		}
		again += resent
		w.pending = nil
		select {
		case answered <- struct{}{}:
		default:
		}
	}
}

// check reads on from where it was: no hole, nothing twice, and everything that
// was confirmed at its place.
func (w *writing) check(t *testing.T, m *member, cycle int) {
	t.Helper()
	held, err := m.tryEntries(&boardv1.EntriesRequest{Stream: w.stream, From: w.checked + 1})
	require.NoError(t, err)
	seen := map[string]bool{}
	for i, h := range held {
		require.Equal(t, w.checked+uint64(i)+1, h.GetPosition(), "cycle %d: a hole", cycle)
		require.False(t, seen[string(h.GetEvent())], "cycle %d: twice", cycle)
		seen[string(h.GetEvent())] = true
	}
	head := w.checked + uint64(len(held))
	for seq, b := range w.confirmed {
		if seq <= w.checked {
			continue
		}
		require.LessOrEqual(t, seq, head, "cycle %d: a confirmed event is lost", cycle)
		require.Equal(t, b, string(held[seq-w.checked-1].GetEvent()), "cycle %d: another event stands at place %d", cycle, seq)
	}
	w.checked = head
}

func TestASyncLiesBeforeEveryConfirmation(t *testing.T) {
	if _, err := exec.LookPath("strace"); err != nil {
		if os.Getenv("CI") == "true" {
			t.Fatal("strace is not installed")
		}
		t.Skip("strace is not installed")
	}
	dir := t.TempDir()
	trace := dir + "/trace"
	t.Setenv(plainVariable, "1")
	p := startServer(t, dir+"/data", "strace", "-f", "-y", "-s", "65536", "-o", trace,
		"-e", "trace=read,write,writev,sendmsg,pwrite64,mmap,munmap,msync,fsync,fdatasync,openat", "-e", "signal=none")
	w := &world{t: t, dial: func() *grpc.ClientConn {
		conn, err := grpc.NewClient(p.Address, grpc.WithTransportCredentials(insecure.NewCredentials()))
		require.NoError(t, err)
		t.Cleanup(func() { conn.Close() }) //nolint:errcheck // the test is over
		return conn
	}}
	m := w.join(p.Code, "owner")
	stream := m.opens()
	var ids []string
	for range 20 {
		ids = append(ids, m.put(stream, noted("one at a time")).GetId())
	}
	p.kill(t)
	b, err := os.ReadFile(trace)
	require.NoError(t, err)
	calls := parseTrace(string(b))
	for _, id := range ids {
		require.NoError(t, calls.syncedBetween(id), "event %s", id)
	}
	// The test can fail: without the syncs of the write-ahead log it does.
	var without traced
	for _, c := range calls {
		if !strings.HasSuffix(c.path, ".mem") {
			without = append(without, c)
		}
	}
	require.Error(t, without.syncedBetween(ids[0]))
}

// call is one system call of a trace: the lines it began and ended on.
type sysCall struct {
	name, text  string
	began, done int
	// path of the file that a sync is of.
	path string
}

type traced []sysCall

// parseTrace reads what strace -f -y wrote. A call that was interrupted by others
// is written in two parts, which are put together.
func parseTrace(text string) traced {
	var out traced
	open := map[string]sysCall{}
	type mapping struct{ from, path string }
	var maps []mapping
	for n, l := range strings.Split(text, "\n") {
		pid, rest, ok := strings.Cut(l, " ")
		if !ok {
			continue
		}
		rest = strings.TrimSpace(rest)
		c := sysCall{began: n, done: n, text: rest}
		if strings.HasPrefix(rest, "<... ") {
			c = open[pid]
			delete(open, pid)
			_, tail, _ := strings.Cut(rest, "resumed>")
			c.text, c.done = c.text+tail, n
		} else if head, ok := strings.CutSuffix(rest, "<unfinished ...>"); ok {
			c.text = head
			open[pid] = c
			continue
		}
		c.name, _, _ = strings.Cut(c.text, "(")
		switch c.name {
		case "mmap": // mmap(NULL, 134217728, PROT, MAP_SHARED, 9</path/00001.mem>, 0) = 0x7f...
			if _, after, ok := strings.Cut(c.text, "MAP_SHARED, "); ok {
				_, path, _ := strings.Cut(after, "<")
				path, _, _ = strings.Cut(path, ">")
				_, at, _ := strings.Cut(c.text, ") = ")
				maps = append(maps, mapping{from: at, path: path})
			}
		case "msync":
			at, _, _ := strings.Cut(strings.TrimPrefix(c.text, "msync("), ",")
			for _, m := range maps {
				if m.from == at {
					c.path = m.path
				}
			}
		case "fsync", "fdatasync":
			_, path, _ := strings.Cut(c.text, "<")
			c.path, _, _ = strings.Cut(path, ">")
		}
		out = append(out, c)
	}
	return out
}

// syncedBetween says whether, between the event's arrival at a socket and the
// first answer that names it, the log's file and the checkpoint were synced.
func (t traced) syncedBetween(id string) error {
	came, answered := -1, -1
	for _, c := range t {
		if !strings.Contains(c.text, id) || !strings.Contains(c.text, "<TCP:") && !strings.Contains(c.text, "<socket:") {
			continue
		}
		switch {
		case c.name == "read" && came < 0:
			came = c.done
		case (c.name == "write" || c.name == "writev" || c.name == "sendmsg") && answered < 0:
			answered = c.began
		}
	}
	if came < 0 || answered < came {
		return fmt.Errorf("it came in line %d and was answered in line %d", came, answered)
	}
	synced := map[string]bool{}
	for _, c := range t {
		if c.began > came && c.done < answered && c.path != "" && strings.HasSuffix(strings.TrimSpace(c.text), "= 0") {
			synced[c.path] = true
		}
	}
	var log, checkpoint bool
	for path := range synced {
		log = log || strings.Contains(path, "/data/log/") && strings.HasSuffix(path, ".mem")
		checkpoint = checkpoint || strings.HasSuffix(path, "/data/checkpoint")
	}
	if !log || !checkpoint {
		return fmt.Errorf("between lines %d and %d only these were synced: %v", came, answered, synced)
	}
	return nil
}
