package server

import (
	"context"
	"crypto/ed25519"
	"crypto/rand"
	"crypto/tls"
	"crypto/x509"
	"errors"
	"io"
	"net"
	"sync"
	"testing"
	"time"

	"github.com/google/uuid"
	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"
	"golang.org/x/mod/sumdb/tlog"
	"google.golang.org/genproto/googleapis/rpc/errdetails"
	"google.golang.org/grpc"
	"google.golang.org/grpc/credentials"
	"google.golang.org/grpc/metadata"
	"google.golang.org/grpc/status"
	"google.golang.org/grpc/test/bufconn"
	"google.golang.org/protobuf/proto"

	"knowngood.example/cases/envelope"
	boardv1 "knowngood.example/proto/knowngood/board/v1"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

func TestMain(m *testing.M) {
	if serveForTests() {
		return
	}
	goleak.VerifyTestMain(m)
}

// clock that tests set.
type clock struct {
	mu sync.Mutex
	t  time.Time
}

func (c *clock) now() time.Time {
	c.mu.Lock()
	defer c.mu.Unlock()
	return c.t
}

func (c *clock) set(t time.Time) {
	c.mu.Lock()
	defer c.mu.Unlock()
	c.t = t
}

// world is a server that answers in memory, with people who talk to it.
type world struct {
	*Server
	t     testing.TB
	clock *clock
	dial  func() *grpc.ClientConn
}

var noon = time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC)

func newWorld(t testing.TB, o Options) *world {
	t.Helper()
	c := &clock{t: noon}
	if o.Now == nil {
		o.Now = c.now
	}
	if o.Limits == (Limits{}) {
		o.Limits = roomy()
	}
	s, err := Open("", o)
	require.NoError(t, err)
	return serveWorld(t, s, c)
}

// serveWorld serves s until the test ends.
func serveWorld(t testing.TB, s *Server, c *clock) *world {
	t.Helper()
	l := bufconn.Listen(1 << 20)
	served := make(chan error, 1)
	ctx, stop := context.WithCancel(context.Background())
	go func() { served <- s.Serve(ctx, l) }()
	t.Cleanup(func() {
		stop()
		require.NoError(t, <-served)
	})
	w := &world{Server: s, t: t, clock: c}
	w.dial = func() *grpc.ClientConn {
		conn, err := grpc.NewClient("passthrough:///world", trusting(s.identity.authority.certificate.Raw),
			grpc.WithContextDialer(func(ctx context.Context, _ string) (net.Conn, error) { return l.DialContext(ctx) }),
			grpc.WithDefaultCallOptions(grpc.MaxCallRecvMsgSize(maxAnswer)))
		require.NoError(t, err)
		t.Cleanup(func() { conn.Close() }) //nolint:errcheck // the test is over
		return conn
	}
	return w
}

// member is somebody with a device.
type member struct {
	w        *world
	t        testing.TB
	key      ed25519.PrivateKey
	device   string
	token    string
	person   string
	shop     string
	board    boardv1.BoardServiceClient
	register boardv1.RegisterServiceClient

	mu    sync.Mutex
	chain map[string]link
}

type link struct {
	n    uint64
	hash []byte
}

func newID() string { return uuid.Must(uuid.NewV7()).String() }

func (w *world) join(code, name string) *member {
	w.t.Helper()
	m, err := w.tryJoin(code, name)
	require.NoError(w.t, err)
	return m
}

func (w *world) tryJoin(code, name string) (*member, error) {
	w.t.Helper()
	public, key, err := ed25519.GenerateKey(rand.Reader)
	require.NoError(w.t, err)
	conn := w.dial()
	m := &member{
		w: w, t: w.t, key: key, device: newID(), board: boardv1.NewBoardServiceClient(conn), register: boardv1.NewRegisterServiceClient(conn),
		chain: map[string]link{},
	}
	r, err := m.register.Join(context.Background(), &boardv1.JoinRequest{Code: code, PublicKey: public, Device: m.device, PersonName: name})
	m.token, m.person, m.shop = r.GetToken(), r.GetPerson(), r.GetShop()
	return m, err
}

// shopOwner opens a shop and joins it as its owner.
func (w *world) shopOwner(name string) *member {
	w.t.Helper()
	o, err := w.OpenShop(context.Background(), name, "EUR", true)
	require.NoError(w.t, err)
	return w.join(o.Code, "owner of "+name)
}

func (m *member) invite(role eventv1.Role, name string) *member {
	m.t.Helper()
	r, err := m.register.Invite(m.ctx(), &boardv1.InviteRequest{Role: role})
	require.NoError(m.t, err)
	return m.w.join(r.GetCode(), name)
}

func (m *member) ctx() context.Context { return m.with(context.Background()) }

func (m *member) with(ctx context.Context) context.Context {
	return metadata.AppendToOutgoingContext(ctx, "authorization", "Bearer "+m.token)
}

func (m *member) caller() Caller {
	c, ok := m.w.register.caller(m.device)
	require.True(m.t, ok)
	return c
}

// event that the member would write next in the stream, not yet counted.
func (m *member) event(stream string, kind *eventv1.Event) *eventv1.Event {
	m.mu.Lock()
	defer m.mu.Unlock()
	last := m.chain[stream]
	e := kind
	if e.Id == "" {
		e.Id = newID()
	}
	e.Stream, e.Device, e.DeviceSeq, e.Prev = stream, m.device, last.n+1, last.hash
	e.RecordedBy, e.Salt = m.person, random(envelope.SaltSize)
	return e
}

// sign signs the event and counts it.
func (m *member) sign(e *eventv1.Event) *eventv1.Signed {
	s, err := envelope.Sign(e, m.key)
	require.NoError(m.t, err)
	m.mu.Lock()
	defer m.mu.Unlock()
	m.chain[e.GetStream()] = link{e.GetDeviceSeq(), envelope.Hash(s.GetEvent())}
	return s
}

// write makes and signs the next event.
func (m *member) write(stream string, kind *eventv1.Event) *eventv1.Signed {
	return m.sign(m.event(stream, kind))
}

func (m *member) send(events ...*eventv1.Signed) []*boardv1.AppendResult {
	m.t.Helper()
	r, err := m.board.Append(m.ctx(), &boardv1.AppendRequest{Events: events})
	require.NoError(m.t, err)
	require.Len(m.t, r.GetResults(), len(events))
	return r.GetResults()
}

// put writes and sends one event that must be taken.
func (m *member) put(stream string, kind *eventv1.Event) *boardv1.AppendResult {
	m.t.Helper()
	r := m.send(m.write(stream, kind))[0]
	require.Equal(m.t, boardv1.Reason_REASON_UNSPECIFIED, r.GetReason(), r.GetText())
	return r
}

// tried writes and sends one event and returns the reason it was refused with.
func (m *member) tried(stream string, kind *eventv1.Event) boardv1.Reason {
	m.t.Helper()
	before := m.chain[stream]
	r := m.send(m.write(stream, kind))[0]
	if r.GetReason() != boardv1.Reason_REASON_UNSPECIFIED {
		m.mu.Lock()
		m.chain[stream] = before
		m.mu.Unlock()
	}
	return r.GetReason()
}

// opens a case of the member's shop.
func (m *member) opens() string {
	m.t.Helper()
	stream := newID()
	m.put(stream, opening(m.shop))
	return stream
}

func (m *member) entries(stream string) []*boardv1.Held {
	m.t.Helper()
	out, err := m.tryEntries(&boardv1.EntriesRequest{Stream: stream})
	require.NoError(m.t, err)
	return out
}

func (m *member) tryEntries(req *boardv1.EntriesRequest) ([]*boardv1.Held, error) {
	ss, err := m.board.Entries(m.ctx(), req)
	if err != nil {
		return nil, err
	}
	var out []*boardv1.Held
	for {
		r, err := ss.Recv()
		if err != nil {
			if errors.Is(err, io.EOF) {
				return out, nil
			}
			return out, err
		}
		out = append(out, r.GetEntries()...)
	}
}

// Invented events.

func opening(shop string) *eventv1.Event {
	return &eventv1.Event{Kind: &eventv1.Event_CaseOpened{CaseOpened: &eventv1.CaseOpened{
		Shop: shop, Invented: true,
		Vehicle: &eventv1.Vehicle{Make: "Invented", Model: "Van", Year: 2015, SystemVolts: 12},
		Concern: &eventv1.Concern{Statement: "fan does not run", Conditions: "hot, in traffic"},
	}}}
}

func noted(text string) *eventv1.Event {
	return &eventv1.Event{Kind: &eventv1.Event_Note{Note: &eventv1.Note{Text: text}}}
}

func handOff(shop, person string, access eventv1.Access, expect uint64) *eventv1.Event {
	return &eventv1.Event{Expect: &expect, Kind: &eventv1.Event_HandedOff{HandedOff: &eventv1.HandedOff{
		ToShop: shop, ToPerson: person, Question: "why does the fan not run?", Access: access,
	}}}
}

func handBack(handoff string, expect uint64) *eventv1.Event {
	return &eventv1.Event{Expect: &expect, Kind: &eventv1.Event_HandedBack{HandedBack: &eventv1.HandedBack{
		Handoff: handoff, Found: "ground splice corroded", Proof: "bypassed, the fan ran",
	}}}
}

func withdrawal(shop string, expect uint64) *eventv1.Event {
	return &eventv1.Event{Expect: &expect, Kind: &eventv1.Event_AccessWithdrawn{AccessWithdrawn: &eventv1.AccessWithdrawn{Shop: shop}}}
}

// reasonOf the status of a call.
func reasonOf(t testing.TB, err error) boardv1.Reason {
	t.Helper()
	require.Error(t, err)
	for _, d := range status.Convert(err).Details() {
		if info, ok := d.(*errdetails.ErrorInfo); ok {
			require.Equal(t, Domain, info.GetDomain())
			return boardv1.Reason(boardv1.Reason_value[info.GetReason()])
		}
	}
	return boardv1.Reason_REASON_UNSPECIFIED
}

func textOf(err error) string { return status.Convert(err).Message() }

// signBytes signs bytes that Sign would not make.
func (m *member) signBytes(b []byte) *eventv1.Signed {
	return &eventv1.Signed{Event: b, Signature: ed25519.Sign(m.key, append([]byte("knowngood/event/1\n"), envelope.Hash(b)...))}
}

// hashes takes apart what Proofs lays end to end.
func hashes(b []byte) tlog.RecordProof {
	var out tlog.RecordProof
	for ; len(b) >= tlog.HashSize; b = b[tlog.HashSize:] {
		out = append(out, tlog.Hash(b[:tlog.HashSize]))
	}
	return out
}

func protoUnmarshal(b []byte, m proto.Message) error { return proto.Unmarshal(b, m) }

func newListener(t testing.TB, address string) net.Listener {
	t.Helper()
	l, err := net.Listen("tcp", address)
	require.NoError(t, err)
	return l
}

// trusting goes by an authority, and by no clock: those of the tests stand still.
func trusting(authority []byte) grpc.DialOption {
	return grpc.WithTransportCredentials(credentials.NewTLS(&tls.Config{
		MinVersion: tls.VersionTLS13, ServerName: "localhost", InsecureSkipVerify: true, //nolint:gosec // verified below
		VerifyConnection: func(cs tls.ConnectionState) error {
			root, err := x509.ParseCertificate(authority)
			if err != nil {
				return err
			}
			roots := x509.NewCertPool()
			roots.AddCert(root)
			leaf := cs.PeerCertificates[0]
			_, err = leaf.Verify(x509.VerifyOptions{Roots: roots, DNSName: "localhost", CurrentTime: leaf.NotBefore})
			return err
		},
	}))
}

// roomy limits do not stand in the way of tests that are about something else.
func roomy() Limits {
	return Limits{JoinTries: 1000, Calls: 1 << 40, Bytes: 1 << 50, Streams: 1 << 20, FromAddress: 1 << 20}
}
