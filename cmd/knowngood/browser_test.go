package main

import (
	"context"
	"flag"
	"io"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"

	"knowngood.example/client"
	"knowngood.example/server"
)

var shots = flag.String("shots", "", "folder for pictures of the page, which people look at")

// chromium is where a browser is; without one the tests are skipped, and under CI they
// fail.
func chromium(t testing.TB) string {
	t.Helper()
	for _, name := range []string{"chromium", "chromium-browser", "google-chrome"} {
		if path, err := exec.LookPath(name); err == nil {
			return path
		}
	}
	if os.Getenv("CI") == "true" {
		t.Fatal("the program chromium is missing: apt-get install chromium")
	}
	t.Skip("install the package 'chromium' to try the page in a browser")
	return ""
}

// browser is one that everything in a test is looked at with.
type browser struct {
	t   testing.TB
	ctx context.Context
}

func newBrowser(t testing.TB) *browser {
	t.Helper()
	opts := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(chromium(t)), chromedp.NoSandbox, chromedp.IgnoreCertErrors,
		chromedp.UserDataDir(t.TempDir()), chromedp.Flag("disable-dev-shm-usage", true))
	allocated, cancel := chromedp.NewExecAllocator(t.Context(), opts...)
	t.Cleanup(cancel)
	ctx, end := chromedp.NewContext(allocated)
	t.Cleanup(end)
	require.NoError(t, chromedp.Do(ctx))
	return &browser{t, ctx}
}

// tab is one page, with cookies of its own.
type tab struct {
	t   testing.TB
	ctx context.Context
}

// soonEnough is for a test with a browser on a machine that does other things too.
const soonEnough = 30 * time.Second

func (b *browser) tab(width int64) *tab {
	b.t.Helper()
	ctx, cancel := chromedp.NewContext(b.ctx, chromedp.WithNewBrowserContext())
	b.t.Cleanup(cancel)
	require.NoError(b.t, chromedp.Do(ctx)) // opened with the context that is to keep it open
	tb := &tab{b.t, ctx}
	height := int64(740)
	if width > 600 {
		height = 900
	}
	tb.do(chromedp.EmulateViewport(width, height))
	return tb
}

func (t *tab) do(steps ...chromedp.Action[chromedp.Void]) {
	t.t.Helper()
	ctx, cancel := context.WithTimeout(t.ctx, soonEnough)
	defer cancel()
	require.NoError(t.t, chromedp.Do(ctx, steps...))
}

func (t *tab) open(link string) {
	t.t.Helper()
	t.do(chromedp.Navigate(link))
}

// scheme makes the page light or dark.
func (t *tab) scheme(name string) {
	t.t.Helper()
	_, err := chromedp.Call(t.ctx, emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{
		Features: []*emulation.MediaFeature{{Name: "prefers-color-scheme", Value: name}},
	})
	require.NoError(t.t, err)
}

// ask is the value of an expression in the page.
func ask[T any](t *tab, expression string) T {
	t.t.Helper()
	ctx, cancel := context.WithTimeout(t.ctx, soonEnough)
	defer cancel()
	v, err := chromedp.Run(ctx, chromedp.Evaluate[T](expression, chromedp.EvalAwaitPromise))
	require.NoError(t.t, err, expression)
	return v
}

// until waits for an expression to be true, over pages that take the place of one another.
func (t *tab) until(expression string) {
	t.t.Helper()
	end := time.Now().Add(soonEnough)
	var last error // of a page that is not there yet, or not any more
	is := func() (v bool) {
		ctx, cancel := context.WithTimeout(t.ctx, soonEnough)
		defer cancel()
		v, last = chromedp.Run(ctx, chromedp.Evaluate[bool]("!!("+expression+")", chromedp.EvalAwaitPromise))
		return v && last == nil
	}
	for !is() {
		if time.Now().After(end) {
			t.t.Fatalf("it never came to be that %s (%v); the page says:\n%s", expression, last, ask[string](t, "document.body.innerText"))
		}
		time.Sleep(25 * time.Millisecond)
	}
}

func (t *tab) press(keys ...string) {
	t.t.Helper()
	for _, k := range keys {
		t.do(chromedp.KeyEvent(k))
	}
}

func (t *tab) text() string { t.t.Helper(); return ask[string](t, "document.body.innerText") }

// shot keeps a picture of the whole page, where somebody asked for pictures.
func (t *tab) shot(name string) {
	t.t.Helper()
	if *shots == "" {
		return
	}
	require.NoError(t.t, os.MkdirAll(*shots, 0o755))
	for _, whole := range []bool{false, true} {
		take, path := chromedp.CaptureScreenshot(), name+".png"
		if whole {
			take, path = chromedp.FullScreenshot(100), name+"-whole.png"
		}
		b, err := chromedp.Run(t.ctx, take)
		require.NoError(t.t, err)
		require.NoError(t.t, os.WriteFile(filepath.Join(*shots, path), b, 0o644))
	}
}

// stage is the invented case of the demonstration, played to its end, with the homes of
// its people; its server can be cut off.
type stage struct {
	*demo
	s *server.Server
}

// newStage plays the demonstration's lines, or so many of them.
func newStage(t testing.TB, lines int) *stage {
	t.Helper()
	s := serveShops(t, "")
	a := &app{world: world{in: strings.NewReader(""), out: io.Discard, err: io.Discard, getenv: os.Getenv, now: time.Now}, noInput: true}
	a.show = &client.Output{W: io.Discard, Format: "table", Style: client.Style{Zone: time.UTC, Now: time.Now()}}
	d := &demo{app: a, dir: t.TempDir(), address: s.address, quiet: true, seqs: map[string]string{}}
	for _, p := range demoPeople() {
		o, err := s.OpenShop(t.Context(), p.shop, "EUR", true)
		require.NoError(t, err)
		_, err = d.as(t.Context(), p.name, "join", o.Code, "--server", s.address, "--name", p.name)
		require.NoError(t, err)
	}
	all := demoLines()
	if lines > 0 {
		all = all[:lines]
	}
	for _, l := range all {
		require.NoError(t, d.line(t.Context(), l))
	}
	return &stage{d, s.Server}
}

// page serves somebody's home and returns the link into it.
func (s *stage) page(t testing.TB, name string) string {
	t.Helper()
	page, stop, err := s.web(context.Background(), name)
	require.NoError(t, err)
	t.Cleanup(func() { require.NoError(t, stop()) })
	return page.link
}

// at is an address of the page that a link leads into.
func at(link, path string) string { return link[:strings.Index(link, "/enter")] + path }

// over leads a link over a road that can be cut.
func over(t testing.TB, link string) (string, *road) {
	t.Helper()
	u, err := url.Parse(link)
	require.NoError(t, err)
	r := newRoad(t, u.Host)
	u.Host = r.address()
	return u.String(), r
}
