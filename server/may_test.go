package server

import (
	"context"
	"fmt"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/encoding/protowire"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"

	"knowngood.example/cases/envelope"
	boardv1 "knowngood.example/proto/knowngood/board/v1"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

func TestEveryMethodAndKindIsInTheTable(t *testing.T) {
	t.Parallel()
	var services []protoreflect.ServiceDescriptor
	for _, f := range []protoreflect.FileDescriptor{boardv1.File_knowngood_board_v1_board_proto, boardv1.File_knowngood_board_v1_file_proto} {
		for i := range f.Services().Len() {
			services = append(services, f.Services().Get(i))
		}
	}
	seen := 0
	for _, s := range services {
		ms := s.Methods()
		for j := range ms.Len() {
			m := ms.Get(j)
			require.Contains(t, methods, fmt.Sprintf("/%s/%s", m.Parent().FullName(), m.Name()))
			seen++
		}
	}
	require.Len(t, methods, seen, "the table names a method that is not there")
	for _, k := range envelope.Kinds() {
		require.Contains(t, kinds, k, envelope.KindName(k))
	}
	require.Len(t, kinds, len(envelope.Kinds())+1, "the table names a kind that is not there")
	require.Contains(t, kinds, uint32(unknownKind))
}

func TestWhatIsNotInTheTableIsDenied(t *testing.T) {
	t.Parallel()
	for _, role := range []eventv1.Role{stranger, owner, technician, guest} {
		for in := nowhere; in <= shopmate; in <<= 1 {
			require.False(t, mayCall("/knowngood.board.v1.BoardService/Later", role, in))
		}
	}
	// A known kind without a row: none is, so take one out of a copy.
	require.Zero(t, rule(nil)[owner])
}

// somebody is a person in one relation to the case of the matrix.
type somebody struct {
	relation string
	role     eventv1.Role
	m        *member
}

// cast opens a case and gathers everybody there can be about it: every role in
// every relation.
func cast(t *testing.T, w *world) (stream string, all []somebody) {
	host := w.shopOwner("Host (invented)")
	stream = host.opens()
	expect := uint64(2)
	give := func(to *member, person string, access eventv1.Access) string {
		r := host.put(stream, handOff(to.shop, person, access, expect))
		expect += 2
		return r.GetId()
	}
	roles := []eventv1.Role{owner, technician, guest}
	staff := func(boss *member) map[eventv1.Role]*member {
		return map[eventv1.Role]*member{owner: boss, technician: boss.invite(technician, "tech"), guest: boss.invite(guest, "guest")}
	}
	add := func(relation string, who map[eventv1.Role]*member) {
		for _, role := range roles {
			all = append(all, somebody{relation, role, who[role]})
		}
	}
	add("own", staff(host))
	add("foreign", staff(w.shopOwner("Foreign (invented)")))
	for relation, access := range map[string]eventv1.Access{"invited to read": eventv1.Access_ACCESS_READ, "invited to write": eventv1.Access_ACCESS_WRITE} {
		who := staff(w.shopOwner(relation + " (invented)"))
		give(who[owner], "", access)
		give(who[guest], who[guest].person, access)
		add(relation, who)
	}
	who := staff(w.shopOwner("Withdrawn (invented)"))
	give(who[owner], "", eventv1.Access_ACCESS_WRITE)
	give(who[guest], who[guest].person, eventv1.Access_ACCESS_WRITE)
	host.put(stream, withdrawal(who[owner].shop, expect))
	expect++
	add("withdrawn", who)

	// Nothing says 'until' yet but the server itself.
	who = staff(w.shopOwner("Expired (invented)"))
	for _, person := range []string{"", who[guest].person} {
		require.NoError(t, w.committer.do(context.Background(), 0, func(b *batch) error {
			return b.say(stream, "", host.shop, func(e *eventv1.Event) {
				e.Kind = &eventv1.Event_AccessGranted{AccessGranted: &eventv1.AccessGranted{
					Shop: who[owner].shop, Person: person, Access: eventv1.Access_ACCESS_WRITE, Until: moment(noon.Add(time.Hour)),
				}}
			})
		}))
		expect++
	}
	add("expired", who)

	who = staff(w.shopOwner("Device withdrawn (invented)"))
	give(who[owner], "", eventv1.Access_ACCESS_WRITE)
	give(who[guest], who[guest].person, eventv1.Access_ACCESS_WRITE)
	for _, role := range []eventv1.Role{technician, guest, owner} {
		_, err := who[owner].register.WithdrawDevice(who[owner].ctx(), &boardv1.WithdrawDeviceRequest{Device: who[role].device, Why: "lost"})
		require.NoError(t, err)
	}
	add("device withdrawn", who)

	who = staff(w.shopOwner("Person withdrawn (invented)"))
	give(who[owner], "", eventv1.Access_ACCESS_WRITE)
	give(who[guest], who[guest].person, eventv1.Access_ACCESS_WRITE)
	successor := who[owner].invite(owner, "who stays")
	for _, role := range roles {
		_, err := successor.register.WithdrawPerson(successor.ctx(), &boardv1.WithdrawPersonRequest{Person: who[role].person, Why: "left"})
		require.NoError(t, err)
	}
	add("person withdrawn", who)

	// Somebody of none of the shops, for this case.
	code, err := host.register.Invite(host.ctx(), &boardv1.InviteRequest{Role: guest, Case: stream})
	require.NoError(t, err)
	all = append(all, somebody{"invited by a code", guest, w.join(code.GetCode(), "for one case")})
	w.clock.set(noon.Add(2 * time.Hour))
	return stream, all
}

// sees and writes say what is right, apart from the table.
func (s somebody) sees() bool {
	switch s.relation {
	case "own":
		return s.role != guest
	case "invited to read", "invited to write", "invited by a code":
		return true
	}
	return false
}

func (s somebody) writes() bool {
	return s.relation == "own" && s.role != guest || s.relation == "invited to write" || s.relation == "invited by a code"
}

// gone: nobody that the server knows any more.
func (s somebody) gone() bool {
	return s.relation == "device withdrawn" || s.relation == "person withdrawn"
}

func TestMatrixOfMethods(t *testing.T) {
	w := newWorld(t, Options{})
	stream, all := cast(t, w)
	for _, s := range all {
		for _, c := range []struct {
			method string
			call   func(ctx context.Context, stream string) error
			// about: it concerns the case.
			about bool
			// only this role, when it does not.
			only eventv1.Role
		}{
			{"Entries", func(ctx context.Context, stream string) error {
				ss, err := s.m.board.Entries(ctx, &boardv1.EntriesRequest{Stream: stream})
				require.NoError(t, err)
				_, err = ss.Recv()
				return err
			}, true, 0},
			{"Watch of the case", func(ctx context.Context, stream string) error {
				ss, err := s.m.board.Watch(ctx, &boardv1.WatchRequest{Stream: stream})
				require.NoError(t, err)
				_, err = ss.Recv()
				return err
			}, true, 0},
			{"Timeline", func(ctx context.Context, stream string) error {
				_, err := s.m.board.Timeline(ctx, &boardv1.TimelineRequest{Stream: stream})
				return err
			}, true, 0},
			{"Review", func(ctx context.Context, stream string) error {
				_, err := s.m.board.Review(ctx, &boardv1.ReviewRequest{Stream: stream})
				return err
			}, true, 0},
			{"Brief", func(ctx context.Context, stream string) error {
				_, err := s.m.board.Brief(ctx, &boardv1.BriefRequest{Stream: stream})
				return err
			}, true, 0},
			{"Watch of the shop", func(ctx context.Context, _ string) error {
				ss, err := s.m.board.Watch(ctx, &boardv1.WatchRequest{})
				require.NoError(t, err)
				_, err = ss.Recv()
				return err
			}, false, 0},
			{"Board", func(ctx context.Context, _ string) error {
				r, err := s.m.board.Board(ctx, &boardv1.BoardRequest{Closed: true})
				if err == nil {
					require.Equal(t, s.sees(), len(r.GetCases()) == 1, "%s %s", s.relation, s.role)
				}
				return err
			}, false, 0},
			{"Append of nothing", func(ctx context.Context, _ string) error {
				_, err := s.m.board.Append(ctx, &boardv1.AppendRequest{})
				return err
			}, false, 0},
			{"Consistency", func(ctx context.Context, _ string) error {
				_, err := s.m.board.Consistency(ctx, &boardv1.ConsistencyRequest{})
				return err
			}, false, 0},
			{"WhoAmI", func(ctx context.Context, _ string) error {
				_, err := s.m.register.WhoAmI(ctx, &boardv1.WhoAmIRequest{})
				return err
			}, false, 0},
			{"People", func(ctx context.Context, _ string) error {
				_, err := s.m.register.People(ctx, &boardv1.PeopleRequest{})
				return err
			}, false, 0},
			{"Invite", func(ctx context.Context, _ string) error {
				_, err := s.m.register.Invite(ctx, &boardv1.InviteRequest{Role: technician})
				return err
			}, false, owner},
			{"Invite to the case", func(ctx context.Context, stream string) error {
				_, err := s.m.register.Invite(ctx, &boardv1.InviteRequest{Role: guest, Case: stream})
				may := s.relation == "own" && s.role == owner
				if err != nil && s.sees() && !may {
					require.Equal(t, boardv1.Reason_REASON_NOT_ALLOWED, reasonOf(t, err))
					return nil
				}
				require.False(t, err == nil && !may, "%s %s", s.relation, s.role)
				return err
			}, true, 0},
			{"WithdrawCode", func(ctx context.Context, _ string) error {
				_, err := s.m.register.WithdrawCode(ctx, &boardv1.WithdrawCodeRequest{Code: "0000-0000-0000"})
				if s.role == owner && !s.gone() { // none like that, which a role that may not does not hear
					require.Equal(t, boardv1.Reason_REASON_NOT_FOUND, reasonOf(t, err))
					return nil
				}
				return err
			}, false, owner},
		} {
			name := fmt.Sprintf("%s by %s, %s", c.method, s.role, s.relation)
			ctx, cancel := context.WithTimeout(s.m.ctx(), 10*time.Second)
			err := c.call(ctx, stream)
			switch {
			case s.gone():
				require.Equal(t, boardv1.Reason_REASON_WHO_ARE_YOU, reasonOf(t, err), name)
			case c.about && !s.sees():
				require.Equal(t, boardv1.Reason_REASON_NOT_FOUND, reasonOf(t, err), name)
				// Nothing there and nothing of yours answer alike.
				none := newID()
				other := c.call(ctx, none)
				require.Equal(t, boardv1.Reason_REASON_NOT_FOUND, reasonOf(t, other), name)
				require.Equal(t, notFound(stream).Text, textOf(err), name)
				require.Equal(t, notFound(none).Text, textOf(other), name)
			case c.only != 0 && s.role != c.only:
				require.Equal(t, boardv1.Reason_REASON_NOT_ALLOWED, reasonOf(t, err), name)
			default:
				require.NoError(t, err, name)
			}
			cancel()
		}
	}
	for _, ctx := range []context.Context{context.Background(), (&member{token: "no such token"}).ctx()} {
		_, err := all[0].m.register.WhoAmI(ctx, &boardv1.WhoAmIRequest{})
		require.Equal(t, boardv1.Reason_REASON_WHO_ARE_YOU, reasonOf(t, err))
	}
}

func TestMatrixOfWithdrawingDevices(t *testing.T) {
	w := newWorld(t, Options{})
	boss := w.shopOwner("One (invented)")
	stranger := w.shopOwner("Two (invented)")
	for _, c := range []struct {
		name string
		by   eventv1.Role
		of   string
		want boardv1.Reason
	}{
		{"an owner's of a technician", owner, "mate", 0},
		{"an owner's own", owner, "own", 0},
		{"an owner's of another shop", owner, "foreign", boardv1.Reason_REASON_NOT_FOUND},
		{"a technician's own", technician, "own", 0},
		{"a technician's of a mate", technician, "mate", boardv1.Reason_REASON_NOT_ALLOWED},
		{"a technician's of another shop", technician, "foreign", boardv1.Reason_REASON_NOT_FOUND},
		{"a guest's own", guest, "own", 0},
		{"a guest's of a mate", guest, "mate", boardv1.Reason_REASON_NOT_ALLOWED},
		{"a guest's of nobody", guest, "none", boardv1.Reason_REASON_NOT_FOUND},
		{"the server's", owner, "server", boardv1.Reason_REASON_NOT_FOUND},
	} {
		by := boss.invite(c.by, "somebody")
		device := map[string]string{
			"own": by.device, "mate": boss.invite(technician, "mate").device, "foreign": stranger.device, "none": newID(), "server": w.identity.device,
		}[c.of]
		_, err := by.register.WithdrawDevice(by.ctx(), &boardv1.WithdrawDeviceRequest{Device: device})
		if c.want == 0 {
			require.NoError(t, err, c.name)
			require.True(t, w.register.device(device).withdrawn, c.name)
			continue
		}
		require.Equal(t, c.want, reasonOf(t, err), c.name)
	}
}

func TestMatrixOfWithdrawingPeople(t *testing.T) {
	w := newWorld(t, Options{})
	boss := w.shopOwner("One (invented)")
	stranger := w.shopOwner("Two (invented)")
	for _, c := range []struct {
		name string
		by   eventv1.Role
		of   string
		want boardv1.Reason
	}{
		{"an owner, a technician", owner, "mate", 0},
		{"an owner, oneself", owner, "own", 0},
		{"an owner, another owner", owner, "boss", 0},
		{"an owner, somebody of another shop", owner, "foreign", boardv1.Reason_REASON_NOT_FOUND},
		{"a technician, oneself", technician, "own", 0},
		{"a technician, a mate", technician, "mate", boardv1.Reason_REASON_NOT_ALLOWED},
		{"a technician, an owner", technician, "boss", boardv1.Reason_REASON_NOT_ALLOWED},
		{"a technician, somebody of another shop", technician, "foreign", boardv1.Reason_REASON_NOT_FOUND},
		{"a guest, oneself", guest, "own", 0},
		{"a guest, a mate", guest, "mate", boardv1.Reason_REASON_NOT_ALLOWED},
		{"a guest, nobody", guest, "none", boardv1.Reason_REASON_NOT_FOUND},
	} {
		by, mate, second := boss.invite(c.by, "somebody"), boss.invite(technician, "mate"), boss.invite(owner, "second owner")
		person := map[string]string{"own": by.person, "mate": mate.person, "boss": second.person, "foreign": stranger.person, "none": newID()}[c.of]
		_, err := by.register.WithdrawPerson(by.ctx(), &boardv1.WithdrawPersonRequest{Person: person})
		if c.want != 0 {
			require.Equal(t, c.want, reasonOf(t, err), c.name)
			continue
		}
		require.NoError(t, err, c.name)
		require.True(t, w.register.person(person).left, c.name)
		for _, d := range w.register.devicesOf(person) {
			require.True(t, w.register.device(d).withdrawn, c.name)
		}
	}
}

// kindOnly is an event of the kind with nothing in it, as bytes: good enough to
// be asked about, whatever it says.
func kindOnly(e *eventv1.Event, kind uint32) []byte {
	b, err := proto.Marshal(e)
	if err != nil {
		panic(err)
	}
	return protowire.AppendBytes(protowire.AppendTag(b, protowire.Number(kind), protowire.BytesType), nil)
}

func TestMatrixOfKinds(t *testing.T) {
	w := newWorld(t, Options{})
	stream, all := cast(t, w)
	fields := (*eventv1.Event)(nil).ProtoReflect().Descriptor().Fields()
	for _, s := range all {
		for _, kind := range append(envelope.Kinds(), 9999) {
			// What is allowed is said here a second time, in other words than the table.
			allowed := s.writes()
			switch kind {
			case kindCaseOpened, kindAccessGranted, kindErased, kindFileErased, kindShopOpened, kindPersonAdded, kindDeviceAdded, kindDeviceWithdrawn, kindRoleGiven, kindRestored:
				allowed = false // the case is open already
			case kindHandedOff, 133, 134, 136:
				allowed = s.relation == "own" && s.role != guest
			case kindAccessWithdrawn:
				allowed = s.relation == "own" && s.role == owner
			}
			e := s.m.event(stream, &eventv1.Event{})
			signed := s.m.signBytes(kindOnly(e, kind))
			name := fmt.Sprintf("%s by %s, %s", envelope.KindName(kind), s.role, s.relation)
			if f := fields.ByNumber(protoreflect.FieldNumber(kind)); kind != 9999 {
				require.NotNil(t, f)
			}
			r, err := s.m.board.Append(s.m.ctx(), &boardv1.AppendRequest{Events: []*eventv1.Signed{signed}})
			if s.gone() {
				require.Equal(t, boardv1.Reason_REASON_WHO_ARE_YOU, reasonOf(t, err), name)
				continue
			}
			require.NoError(t, err, name)
			got := r.GetResults()[0].GetReason()
			switch {
			case !s.sees():
				require.Equal(t, boardv1.Reason_REASON_NOT_FOUND, got, name)
				require.Equal(t, notFound(stream).Text, r.GetResults()[0].GetText(), name)
			case kind == kindCaseOpened:
				require.Equal(t, boardv1.Reason_REASON_IMPOSSIBLE, got, name)
			case !allowed:
				require.Equal(t, boardv1.Reason_REASON_NOT_ALLOWED, got, name)
			default:
				// Allowed, though empty: taken, or refused for what it says.
				require.Contains(t, []boardv1.Reason{boardv1.Reason_REASON_UNSPECIFIED, boardv1.Reason_REASON_IMPOSSIBLE}, got, name)
				if got == boardv1.Reason_REASON_UNSPECIFIED {
					s.m.chain[stream] = link{e.GetDeviceSeq(), envelope.Hash(signed.GetEvent())}
				}
			}
		}
	}
}

func TestMatrixOfOpenings(t *testing.T) {
	w := newWorld(t, Options{})
	boss := w.shopOwner("One (invented)")
	other := w.shopOwner("Two (invented)")
	for role, want := range map[eventv1.Role]boardv1.Reason{owner: 0, technician: 0, guest: boardv1.Reason_REASON_NOT_ALLOWED} {
		m := boss.invite(role, "somebody")
		require.Equal(t, want, m.tried(newID(), opening(boss.shop)), role)
		if want == 0 {
			want = boardv1.Reason_REASON_NOT_ALLOWED
		}
		require.Equal(t, want, m.tried(newID(), opening(other.shop)), "for another shop, %s", role)
	}
	require.Equal(t, boardv1.Reason_REASON_NOT_FOUND, boss.tried(newID(), noted("in a case that nobody opened")))
	require.Equal(t, boardv1.Reason_REASON_NOT_FOUND, boss.tried(boss.shop, opening(boss.shop)), "in the shop's register")
	require.Equal(t, boardv1.Reason_REASON_NOT_FOUND, boss.tried(boss.shop, noted("in the shop's register")))
}
