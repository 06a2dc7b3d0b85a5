package main

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net"
	"os"
	"os/signal"
	"path/filepath"
	"strings"
	"syscall"

	"github.com/spf13/cobra"

	"knowngood.example/client"
	"knowngood.example/server"
)

func newDemo(a *app) *cobra.Command {
	var keep, quiet bool
	cmd := &cobra.Command{
		Use: "demo", Short: "An invented case from opening to hand-back, over a real server",
		Long: `  knowngood demo
  knowngood demo --keep                            leave it serving, to look around

Starts a server on a free port of this machine, its log in a temporary folder; two
shops and a specialist write one case as separate clients. Everything in it is
invented: shops, people, vehicle and fault. The folder is removed afterwards.`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return runDemo(cmd.Context(), a, keep, quiet) },
	}
	cmd.Flags().BoolVar(&keep, "keep", false, "leave it serving, print links to open in a browser, and say how to look around; ends with Ctrl-C")
	cmd.Flags().BoolVar(&quiet, "quiet", false, "leave out what is typed; print the pages only")
	return cmd
}

// demo is the stage: a server and the homes of three people.
type demo struct {
	*app
	dir     string
	address string
	quiet   bool
	// seqs are the entries that lines were labelled with.
	seqs map[string]string
	// current is the case.
	current string
}

func runDemo(ctx context.Context, a *app, keep, quiet bool) (err error) {
	// Piped into a pager that ends early, it still has a folder to remove.
	signal.Ignore(syscall.SIGPIPE)
	dir, err := os.MkdirTemp("", "knowngood-demo-")
	if err != nil {
		return fmt.Errorf("no temporary folder: %w", err)
	}
	defer func() { err = errors.Join(err, os.RemoveAll(dir)) }()
	s, err := server.Open(filepath.Join(dir, "server"), server.Options{})
	if err != nil {
		return err
	}
	var shops []string
	for _, p := range demoPeople() {
		shops = append(shops, p.shop+":EUR")
	}
	r, l, err := prepareServer(ctx, a, s, "127.0.0.1:0", shops, true)
	if err != nil {
		return stopped(s, err)
	}
	serving, stop := context.WithCancel(ctx)
	defer stop()
	ended := make(chan error, 1)
	go func() { ended <- serveOn(serving, s, l) }()
	d := &demo{app: a, dir: dir, address: r.Address, quiet: quiet, seqs: make(map[string]string)}
	if err := d.play(ctx, r); err != nil {
		stop()
		return errors.Join(err, <-ended)
	}
	if keep {
		err := d.keep(ctx)
		stop()
		return errors.Join(err, <-ended)
	}
	stop()
	return <-ended
}

func serveOn(ctx context.Context, s *server.Server, l net.Listener) error { return s.Serve(ctx, l) }

func (d *demo) home(name string) string { return filepath.Join(d.dir, strings.ToLower(name)) }

// play lets everybody join, types the lines, and prints the pages.
func (d *demo) play(ctx context.Context, r *ready) error {
	d.say("Invented data: no such shops, people or vehicle. Server on %s, log in %s", r.Address, d.dir)
	for i, p := range demoPeople() {
		if _, err := d.as(ctx, p.name, "join", r.Shops[i].Code, "--server", r.Address, "--name", p.name); err != nil {
			return err
		}
	}
	for _, l := range demoLines() {
		if err := d.line(ctx, l); err != nil {
			return err
		}
	}
	for _, args := range [][]string{
		{"board"}, {"timeline"}, {"brief", "--as-of", "{handoff}"}, {"review", "--as-of", "{handoff}"},
		{"suspects", "--as-of", "{arrived}"}, {"next", "--as-of", "{arrived}"}, {"suspects", "--circuit", "--as-of", "{bypass}"}, {"suspects", "--as-of", "{bypass}"}, {"review"}, {"handback"},
	} {
		for i := range args {
			args[i] = d.fill(args[i])
		}
		d.head("knowngood " + strings.Join(args, " "))
		if err := d.page(ctx, "Mara", args...); err != nil {
			return err
		}
	}
	return nil
}

// line types one line and remembers the number of its entry under its label.
func (d *demo) line(ctx context.Context, l demoLine) error {
	args := make([]string, len(l.args))
	for i, w := range l.args {
		args[i] = d.fill(w)
	}
	if !d.quiet {
		fmt.Fprintf(d.out, "%-5s $ knowngood %s\n", l.who, quoted(args))
	}
	out, err := d.as(ctx, l.who, append(args, "-o", "json")...)
	if err != nil {
		return err
	}
	// Some commands write an entry, some more than one: the last is what is meant.
	dec := json.NewDecoder(bytes.NewReader(out))
	for dec.More() {
		var entries []stored
		if err := dec.Decode(&entries); err != nil || len(entries) == 0 {
			break
		}
		e := entries[len(entries)-1]
		d.current = e.Case
		if l.label != "" {
			d.seqs[l.label] = fmt.Sprint(e.Seq)
		}
	}
	return nil
}

// fill puts the numbers of labelled entries, and the case, into a word.
func (d *demo) fill(word string) string {
	for label, seq := range d.seqs {
		word = strings.ReplaceAll(word, "{"+label+"}", seq)
	}
	if len(d.current) > 6 {
		word = strings.ReplaceAll(word, "{case}", d.current[len(d.current)-6:])
	}
	return word
}

// as runs a command in somebody's home and returns what it wrote.
func (d *demo) as(ctx context.Context, who string, args ...string) ([]byte, error) {
	var out, said bytes.Buffer
	w := world{in: strings.NewReader(""), out: &out, err: &said, getenv: d.bare, now: d.now}
	if code := run(ctx, append([]string{"--home", d.home(who), "--no-input"}, args...), w); code != exitOK {
		return nil, fmt.Errorf("%s: knowngood %s: exit code %d\n%s", who, quoted(args), code, strings.TrimSpace(said.String()))
	}
	return out.Bytes(), nil
}

// bare hides the settings of whoever runs the demonstration from its people.
func (d *demo) bare(name string) string {
	if strings.HasPrefix(name, "KNOWNGOOD_") {
		return ""
	}
	return d.getenv(name)
}

// page runs a command that asks, as it looks on the terminal of whoever watches.
func (d *demo) page(ctx context.Context, who string, args ...string) error {
	w := world{in: strings.NewReader(""), out: d.out, err: d.err, getenv: d.bare, now: d.now}
	full := append([]string{"--home", d.home(who), "--no-input"}, args...)
	if d.zone != "" {
		full = append(full, "--tz", d.zone)
	}
	if code := run(ctx, full, w); code != exitOK {
		return fmt.Errorf("%s: knowngood %s: exit code %d", who, quoted(args), code)
	}
	return nil
}

func (d *demo) say(format string, args ...any) { fmt.Fprintf(d.out, format+"\n", args...) }

func (d *demo) head(text string) { d.say("\n---- %s\n", text) }

// keep serves pages of two of the people, says how to look around, and waits for the
// end.
func (d *demo) keep(ctx context.Context) (err error) {
	d.head("Open one of these in a browser: the same case, seen by two who have to do with it")
	for _, p := range demoPeople() {
		if p.name == "Joss" {
			continue // two are enough to write to one another
		}
		page, stop, pageErr := d.web(ctx, p.name)
		if pageErr != nil {
			return errors.Join(err, pageErr)
		}
		defer func() { err = errors.Join(err, stop()) }()
		d.say("  %s\n      as %s of %s, %s", page.link, p.name, p.shop, p.part)
	}
	d.lookAround()
	<-ctx.Done()
	return nil
}

// web serves the page of somebody's home.
func (d *demo) web(ctx context.Context, name string) (page *homePage, stop func() error, err error) {
	dir := d.home(name)
	a := &app{world: d.world, show: d.show, home: client.Open(dir, filepath.Join(dir, "settings"))}
	a.home.Warn = d.warn
	if page, err = a.startWeb(ctx, "127.0.0.1:0"); err != nil {
		return nil, nil, errors.Join(err, a.home.Close())
	}
	return page, func() error { return errors.Join(page.stop(), a.home.Close()) }, nil
}

func (d *demo) lookAround() {
	d.head("Or, in another terminal")
	for _, p := range demoPeople() {
		d.say("  knowngood --home %s board        # %s, %s", d.home(p.name), p.name, p.shop)
	}
	d.say("  knowngood --home %s replay", d.home("Ines"))
	d.say("  knowngood --home %s say          # a prompt: type an entry", d.home("Mara"))
	d.say("Where knowngood is not on the path, 'go run ./cmd/knowngood' stands in its place.")
	d.say("Ctrl-C ends it and removes the folder.")
}

// quoted is a command line as it would be typed in a shell.
func quoted(args []string) string {
	words := make([]string, len(args))
	for i, w := range args {
		if w == "" || strings.ContainsAny(w, " '\"#>;&|()$*?") {
			w = "'" + strings.ReplaceAll(w, "'", `'\''`) + "'"
		}
		words[i] = w
	}
	return strings.Join(words, " ")
}
