package server

import (
	"context"
	"crypto/ed25519"
	"os"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"knowngood.example/cases/log"
	boardv1 "knowngood.example/proto/knowngood/board/v1"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

func joining(code string) *boardv1.JoinRequest {
	public, _, err := ed25519.GenerateKey(nil)
	if err != nil {
		panic(err)
	}
	return &boardv1.JoinRequest{Code: code, PublicKey: public, Device: newID(), PersonName: "Anna (invented)"}
}

func TestJoinCodes(t *testing.T) {
	t.Parallel()
	w := newWorld(t, Options{})
	boss := w.shopOwner("One (invented)")
	refused := func(req *boardv1.JoinRequest) boardv1.Reason {
		_, err := w.Join(t.Context(), "127.0.0.1", req)
		var r *Refusal
		require.ErrorAs(t, err, &r)
		return r.Reason
	}
	code := func() string {
		r, err := boss.register.Invite(boss.ctx(), &boardv1.InviteRequest{Role: technician})
		require.NoError(t, err)
		require.Equal(t, noon.Add(CodeLife).Unix(), r.GetExpires().GetUnixSeconds())
		return r.GetCode()
	}
	c := code()
	r, err := w.Join(t.Context(), "127.0.0.1", joining(strings.ToLower(strings.ReplaceAll(c, "-", " "))))
	require.NoError(t, err, "as people type it")
	require.Equal(t, boss.shop, r.GetShop())
	require.Equal(t, technician, r.GetRole())
	require.Equal(t, "EUR", r.GetCurrency())
	require.Equal(t, w.logKey, r.GetLogKey())
	require.Equal(t, boardv1.Reason_REASON_JOIN_CODE, refused(joining(c)), "used")
	require.Equal(t, boardv1.Reason_REASON_JOIN_CODE, refused(joining("0000-0000-0000")), "wrong")
	require.Equal(t, boardv1.Reason_REASON_JOIN_CODE, refused(joining("")), "empty")
	require.Equal(t, boardv1.Reason_REASON_JOIN_CODE, refused(joining(strings.Repeat("0", 5000))), "long")

	c = code()
	w.clock.set(noon.Add(CodeLife))
	require.Equal(t, boardv1.Reason_REASON_JOIN_CODE, refused(joining(c)), "expired")
	w.clock.set(noon)

	// What else is wrong does not use the code up.
	c = code()
	bad := joining(c)
	bad.PublicKey = bad.PublicKey[1:]
	require.Equal(t, boardv1.Reason_REASON_IMPOSSIBLE, refused(bad))
	bad = joining(c)
	bad.Device = "mine"
	require.Equal(t, boardv1.Reason_REASON_IMPOSSIBLE, refused(bad))
	bad = joining(c)
	bad.PersonName = " \t"
	require.Equal(t, boardv1.Reason_REASON_IMPOSSIBLE, refused(bad))
	bad = joining(c)
	bad.Device = boss.device
	require.Equal(t, boardv1.Reason_REASON_DEVICE, refused(bad), "somebody else's device")
	_, err = w.Join(t.Context(), "127.0.0.1", joining(c))
	require.NoError(t, err)

	// One code, many at once: one gets in.
	c = code()
	var in atomic.Int32
	var wg sync.WaitGroup
	for range 16 {
		wg.Go(func() {
			if _, err := w.Join(context.Background(), "127.0.0.1", joining(c)); err == nil {
				in.Add(1)
			}
		})
	}
	wg.Wait()
	require.EqualValues(t, 1, in.Load())
}

func TestTriesAreCounted(t *testing.T) {
	t.Parallel()
	w := newWorld(t, Options{Limits: Limits{JoinTries: 3}})
	try := func(from string) boardv1.Reason {
		_, err := w.Join(t.Context(), from, joining("0000-0000-0000"))
		var r *Refusal
		require.ErrorAs(t, err, &r)
		return r.Reason
	}
	for range 3 {
		require.Equal(t, boardv1.Reason_REASON_JOIN_CODE, try("127.0.0.1"))
	}
	require.Equal(t, boardv1.Reason_REASON_LIMIT, try("127.0.0.1"))
	require.Equal(t, boardv1.Reason_REASON_JOIN_CODE, try("127.0.0.2"), "another address")
	w.clock.set(noon.Add(time.Minute))
	require.Equal(t, boardv1.Reason_REASON_JOIN_CODE, try("127.0.0.1"), "a minute later")
}

// Neither names nor tokens nor codes lie where they could be read or not be
// erased: names not in the log, tokens and codes not at all.
func TestWhatIsNotKept(t *testing.T) {
	t.Parallel()
	dir := t.TempDir()
	s, err := Open(dir, Options{Limits: roomy()})
	require.NoError(t, err)
	o, err := s.OpenShop(t.Context(), "One (invented)", "EUR", true)
	require.NoError(t, err)
	req := joining(o.Code)
	req.PersonName = "Quite Unmistakable"
	r, err := s.Join(t.Context(), "127.0.0.1", req)
	require.NoError(t, err)
	c, err := s.Identify(t.Context(), r.GetToken())
	require.NoError(t, err)
	me, err := s.WhoAmI(t.Context(), c)
	require.NoError(t, err)
	require.Equal(t, req.GetPersonName(), me.GetName())
	n := 0
	for item, err := range s.log.Read(t.Context(), log.Range{}) {
		require.NoError(t, err)
		require.NotContains(t, string(item.Event)+string(item.Entry), "Unmistakable")
		n++
	}
	require.Equal(t, 4, n, "shop, the server's device, person, device")
	require.NoError(t, s.Stop(t.Context()))
	secrets := []string{r.GetToken(), o.Code, strings.ReplaceAll(o.Code, "-", "")}
	files := 0
	require.NoError(t, filepath.WalkDir(dir, func(path string, d os.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		b, err := os.ReadFile(path)
		for _, secret := range secrets {
			require.NotContains(t, string(b), secret, path)
		}
		files++
		return err
	}))
	require.Greater(t, files, 3)
	info, err := os.Stat(keyPath(dir))
	require.NoError(t, err)
	require.Equal(t, os.FileMode(0o600), info.Mode().Perm())
}

func TestOpenShop(t *testing.T) {
	t.Parallel()
	w := newWorld(t, Options{})
	ctx := t.Context()
	first, err := w.OpenShop(ctx, "  One   (invented) ", "EUR", true)
	require.NoError(t, err)
	require.Equal(t, noon.Add(CodeLife), first.Expires)
	second, err := w.OpenShop(ctx, "One (invented)", "EUR", true)
	require.NoError(t, err)
	require.Equal(t, first.Shop, second.Shop)
	require.NotEqual(t, first.Code, second.Code)
	_, err = w.Join(ctx, "", joining(first.Code))
	require.Error(t, err, "the code before no longer works")
	_, err = w.Join(ctx, "", joining(second.Code))
	require.NoError(t, err)
	third, err := w.OpenShop(ctx, "One (invented)", "EUR", true)
	require.NoError(t, err)
	require.Equal(t, Opening{Shop: first.Shop}, *third)
	for _, bad := range [][2]string{{"", "EUR"}, {"Two", ""}, {"Two", "euro"}, {"Two", "XXQ"}, {strings.Repeat("x", 200), "EUR"}, {"a\x00b", "EUR"}} {
		_, err := w.OpenShop(ctx, bad[0], bad[1], true)
		var r *Refusal
		require.ErrorAs(t, err, &r, "%q", bad)
	}
	// Two at once are one shop.
	shops := make([]string, 8)
	var wg sync.WaitGroup
	for i := range shops {
		wg.Go(func() {
			if o, err := w.OpenShop(ctx, "Two (invented)", "EUR", true); err == nil {
				shops[i] = o.Shop
			}
		})
	}
	wg.Wait()
	for _, s := range shops {
		require.Equal(t, shops[0], s)
		require.NotEmpty(t, s)
	}
}

func TestPeople(t *testing.T) {
	t.Parallel()
	w := newWorld(t, Options{})
	anna := w.shopOwner("One (invented)")
	ben := w.shopOwner("Two (invented)")
	help := ben.invite(guest, "helper")
	stream := anna.opens()
	keys := func(m *member) map[string]string {
		r, err := m.register.People(m.ctx(), &boardv1.PeopleRequest{})
		require.NoError(t, err)
		require.Len(t, r.GetShops(), 2, "a case can be handed to any shop here")
		out := map[string]string{}
		for _, d := range r.GetDevices() {
			require.Len(t, d.GetPublicKey(), ed25519.PublicKeySize)
			out[d.GetDevice()] = d.GetPerson()
		}
		for _, p := range r.GetPeople() {
			require.NotEmpty(t, p.GetName())
			out[p.GetPerson()] = p.GetName()
		}
		return out
	}
	require.Contains(t, keys(anna), w.identity.device)
	require.Contains(t, keys(anna), anna.device)
	require.NotContains(t, keys(anna), ben.device)
	require.NotContains(t, keys(anna), ben.person)
	require.NotContains(t, keys(help), anna.person)
	anna.put(stream, handOff(ben.shop, "", eventv1.Access_ACCESS_WRITE, 2))
	require.Equal(t, "owner of Two (invented)", keys(anna)[ben.person])
	require.Contains(t, keys(ben), anna.device)
	require.NotContains(t, keys(help), anna.person, "a guest has no part in what the shop was given")
	anna.put(stream, withdrawal(ben.shop, 4))
	require.Contains(t, keys(anna), ben.device, "a key that wrote must still be told")
	require.NotContains(t, keys(ben), anna.device)
}

// The register and the access are what the log says: folded anew they are the same.
func TestRegisterIsTheFoldOfTheLog(t *testing.T) {
	t.Parallel()
	w := newWorld(t, Options{})
	stream, _ := cast(t, w)
	held := w.register
	again := &Server{log: w.log, register: newRegister()}
	require.NoError(t, again.remember(t.Context()))
	require.Equal(t, held.shops, again.register.shops)
	require.Equal(t, held.people, again.register.people)
	require.Equal(t, held.devices, again.register.devices)
	require.Equal(t, held.cases, again.register.cases)
	require.Len(t, held.cases[stream].grants, 11)
}
