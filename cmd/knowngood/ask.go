package main

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"os"
	"strconv"
	"strings"

	"github.com/spf13/pflag"

	"knowngood.example/cases"
	"knowngood.example/cases/export"
	"knowngood.example/cases/notation"
	"knowngood.example/cases/suspect"
	"knowngood.example/client"
	boardv1 "knowngood.example/proto/knowngood/board/v1"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// askFlags are what every command that asks about one case takes.
type askFlags struct {
	ref, from string
	asOf      uint64
}

func (o *askFlags) add(f *pflag.FlagSet) {
	f.StringVar(&o.ref, "case", "", "the case: its id or the end of it (default: the one in use)")
	f.StringVar(&o.from, "from", "", "ask an export instead of the server ('-': standard input); needs no identity")
	f.Var((*place)(&o.asOf), "as-of", "as the case stood at this entry (default: now)")
}

const askHelp = `

--from FILE asks an export and needs neither server nor identity; --as-of N answers
as if entry N were the last. Without a server, what was fetched before is shown.
'knowngood help output' has the shape of -o json, ndjson and csv.`

// asked is a case to be asked about.
type asked struct {
	*cases.Case
	names cases.Names
	// sent is the last seq that the server has; what lies beyond waits.
	sent uint64
	// shop is the asker's; empty when asking an export.
	shop string
	// table is what judgements rest on.
	table *suspect.Table
}

// judged is the case to be judged by the table of this home.
func (q *asked) judged() *cases.Judged { return q.Judge(q.table) }

// table of priors, shares and costs: the default, with what this home changed.
func (a *app) table() (*suspect.Table, error) { return tableIn(a.home.TableFile()) }

// tableIn is the table with what the file changes; a file that is not there
// changes nothing.
func tableIn(file string) (*suspect.Table, error) {
	t := suspect.Default()
	b, err := os.ReadFile(file)
	if errors.Is(err, os.ErrNotExist) {
		return &t, nil
	}
	if err == nil {
		err = t.Change(b)
	}
	if err != nil {
		return nil, fmt.Errorf("%s: %w", file, err)
	}
	return &t, nil
}

// look gets the case that the flags mean.
func (a *app) look(ctx context.Context, o *askFlags) (*asked, error) {
	q, err := a.lookNow(ctx, o)
	if err == nil {
		q.table, err = a.table()
	}
	if err != nil || o.asOf == 0 {
		return q, err
	}
	if o.asOf > q.Head() {
		return nil, fmt.Errorf("%w: --as-of %d: the case has %d entries", client.ErrNotFound, o.asOf, q.Head())
	}
	q.Case = q.AsOf(o.asOf)
	return q, nil
}

func (a *app) lookNow(ctx context.Context, o *askFlags) (*asked, error) {
	if o.from != "" {
		x, err := a.readExport(o.from)
		if err != nil {
			return nil, err
		}
		c, err := client.FromExport(x)
		if err != nil {
			return nil, fmt.Errorf("%s: %w", o.from, err)
		}
		names := client.Names{Shops: x.Head.Shops, People: x.Head.People, Devices: x.Head.Devices}
		return &asked{Case: c.Case, names: names.Of(), sent: c.Sent}, nil
	}
	who, err := a.home.Writer(false)
	if err != nil {
		return nil, err
	}
	conn, off, err := a.catchUp(ctx, who)
	if err != nil {
		return nil, err
	}
	defer conn.Close()
	stream, err := a.home.FindCase(o.ref)
	if err != nil {
		return nil, err
	}
	c, err := a.fresh(ctx, who, conn, stream, off)
	if err != nil {
		return nil, err
	}
	names, err := a.home.Names()
	if off == nil {
		names, err = a.home.HearNames(ctx, conn)
	}
	if errors.Is(err, client.ErrOffline) {
		names, err = a.home.Names()
	}
	if err != nil {
		return nil, err
	}
	if n := c.Waiting(); n > 0 {
		a.warn(wait(n) + " here to be sent")
	}
	known := names.Of()
	known[who.Shop] = cmp.Or(known[who.Shop], who.ShopName)
	return &asked{Case: c.Case, names: known, sent: c.Sent, shop: who.Shop}, nil
}

// fresh is the case as the server has it now; off says why it cannot be asked.
func (a *app) fresh(ctx context.Context, who *client.Identity, conn *client.Conn, stream string, off error) (*client.Copy, error) {
	err := off
	if off == nil {
		var c *client.Copy
		if c, err = a.home.Fetch(ctx, who, conn, stream); err == nil {
			return c, nil
		}
	}
	if !errors.Is(err, client.ErrOffline) && !notFound(err) {
		return nil, err
	}
	kept, keptErr := a.home.Kept(who, stream)
	if keptErr != nil {
		return nil, keptErr
	}
	switch {
	case kept.Case.Head() > 0 && !who.Joined():
	case kept.Case.Head() > 0 && errors.Is(err, client.ErrOffline):
		a.shownKept(err, fmt.Sprintf("this is what was fetched before, to entry %d", kept.Sent))
	case kept.Case.Head() > 0:
		// Opened here and not sent yet, or not to be seen any more: what was told stays.
	case notFound(err):
		return nil, err
	default:
		return nil, fmt.Errorf("%w, and nothing of this case is kept here", err)
	}
	return kept, nil
}

// shownKept says that the server was not asked, why, and what is shown instead.
func (a *app) shownKept(off error, instead string) {
	var other *client.Impostor
	if errors.As(off, &other) { // a matter of its own
		a.warn(off.Error())
		a.warn(instead)
		return
	}
	a.warn(fmt.Sprintf("%v: %s", off, instead))
}

func notFound(err error) bool {
	var no *client.Refusal
	return errors.As(err, &no) && no.Reason == boardv1.Reason_REASON_NOT_FOUND
}

// findCase resolves what somebody calls a case; the server is asked when this
// home does not know it.
func (a *app) findCase(ctx context.Context, conn *client.Conn, ref string) (string, error) {
	stream, err := a.home.FindCase(ref)
	if err == nil || ref == "" || !errors.Is(err, client.ErrNotFound) {
		return stream, err
	}
	r, askErr := conn.Board(ctx, &boardv1.BoardRequest{Closed: true})
	if askErr != nil {
		return "", errors.Join(err, client.Explain(askErr))
	}
	var seen []string
	for _, c := range r.GetCases() {
		seen = append(seen, c.GetStream())
	}
	return a.home.FindCase(ref, seen...)
}

// readExport reads an export and says what in it does not hold.
func (a *app) readExport(path string) (*export.Export, error) {
	x, err := a.openExport(path)
	if err != nil {
		return nil, err
	}
	v := export.Verify(x, "")
	for _, p := range v.Problems {
		a.warn(fmt.Sprintf("%s, %v", path, p))
	}
	return x, nil
}

func (a *app) openExport(path string) (*export.Export, error) {
	in := a.in
	if path != "-" {
		f, err := os.Open(path)
		if errors.Is(err, os.ErrNotExist) {
			return nil, fmt.Errorf("%w: there is no file %s", client.ErrNotFound, path)
		}
		if err != nil {
			return nil, fmt.Errorf("cannot read the export: %w", err)
		}
		defer f.Close()
		in = f
	}
	x, err := export.Read(in)
	if err != nil {
		return nil, fmt.Errorf("%s, %w", path, err)
	}
	return x, nil
}

// refs writes entries as #3 #7.
func refs(seqs []uint64) string {
	words := make([]string, len(seqs))
	for i, n := range seqs {
		words[i] = fmt.Sprintf("#%d", n)
	}
	return strings.Join(words, " ")
}

func amounts(ms []*eventv1.Money) []client.Amount {
	out := []client.Amount{}
	for _, m := range ms {
		out = append(out, client.Amount{Minor: m.GetMinor(), Currency: m.GetCurrency()})
	}
	return out
}

func money(ms []*eventv1.Money) string {
	words := make([]string, len(ms))
	for i, m := range ms {
		words[i] = notation.FormatMoney(m)
	}
	return strings.Join(words, " + ")
}

// place is the number of an entry as a flag takes it.
type place uint64

func (p *place) String() string { return fmt.Sprint(uint64(*p)) }

// Type is what the help calls the value.
func (p *place) Type() string { return "number" }

func (p *place) Set(s string) error {
	n, err := strconv.ParseUint(strings.TrimPrefix(s, "#"), 10, 64)
	if err != nil || n == 0 {
		return errors.New("it takes the number of an entry: they count from 1")
	}
	*p = place(n)
	return nil
}
