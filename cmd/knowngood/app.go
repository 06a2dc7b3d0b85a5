package main

import (
	"bufio"
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"regexp"
	"slices"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"
	"golang.org/x/term"

	"knowngood.example/client"
)

// app is one run of one command.
type app struct {
	world

	homeDir, zone, format string
	noInput               bool

	home *client.Home
	show *client.Output
	// lines reads what is typed; one reader for the whole run, so that a question
	// does not swallow the lines behind its answer.
	lines *bufio.Reader
	// ended is closed when somebody ends the run.
	ended <-chan struct{}
	// query as it was typed, to be repeated with a mark.
	query string
}

func (a *app) addFlags(f *pflag.FlagSet) {
	f.StringVar(&a.homeDir, "home", "", "folder for what you record and who you are")
	f.StringVarP(&a.format, "output", "o", "table", "table, json, ndjson or csv; brief and handback: pdf too")
	f.StringVar(&a.zone, "tz", "", "time zone that times are read and shown in, such as Europe/Dublin (default: this machine's)")
	f.BoolVar(&a.noInput, "no-input", false, "never ask; fail where an answer is needed")
}

// fromEnvironment are the flags that a variable or the settings file may set: a
// flag stands above KNOWNGOOD_ and its name in capitals, that above the file.
var fromEnvironment = []string{"output", "tz", "no-input", "case", "server", "by"}

// prepare settles what the flags, the environment and the settings say.
func (a *app) prepare(cmd *cobra.Command) error {
	data, settings, err := client.Folders(a.homeDir, a.getenv)
	if err != nil {
		return err
	}
	a.home = client.Open(data, settings)
	a.home.Warn, a.home.Progress, a.home.Came = a.warn, a.progress(), a.came()
	file, err := a.home.Settings()
	if err != nil {
		return usage{err}
	}
	for name := range file {
		if !slices.Contains(fromEnvironment, name) {
			return usagef("%s: there is no setting %q; there are %s", settings, name, strings.Join(fromEnvironment, ", "))
		}
	}
	for _, name := range fromEnvironment {
		f := cmd.Flags().Lookup(name)
		if f == nil || f.Changed {
			continue
		}
		value, from := a.getenv("KNOWNGOOD_"+strings.ToUpper(strings.ReplaceAll(name, "-", "_"))), "environment"
		if value == "" {
			value, from = file[name], settings
		}
		if value == "" {
			continue
		}
		if err := f.Value.Set(value); err != nil {
			return usagef("%s: %s cannot be %q: %v", from, name, value, err)
		}
	}
	if err := a.checkFormat(cmd); err != nil {
		return err
	}
	zone := time.Local
	if a.zone != "" {
		if zone, err = time.LoadLocation(a.zone); err != nil {
			return usagef("--tz cannot be %q: give a name of the IANA time zone database, such as Europe/Dublin or UTC", a.zone)
		}
	}
	width, tty := terminal(a.out)
	a.show = &client.Output{W: a.out, Format: a.format, Style: client.Style{
		Terminal: tty, Color: tty && a.getenv("NO_COLOR") == "", Width: width, Zone: zone, Now: a.now(),
	}}
	a.lines = bufio.NewReader(a.in)
	return nil
}

// formatPDF is the format of printed pages; a command that writes it says so in an annotation
// of this name.
const formatPDF = "pdf"

func (a *app) checkFormat(cmd *cobra.Command) error {
	_, prints := cmd.Annotations[formatPDF]
	switch {
	case a.format == formatPDF && !prints:
		return usagef("--output cannot be pdf here: brief and handback write it; there are %s", strings.Join(client.Formats, ", "))
	case a.format == formatPDF, slices.Contains(client.Formats, a.format):
		return nil
	case prints:
		return usagef("--output cannot be %q: there are %s, %s", a.format, strings.Join(client.Formats, ", "), formatPDF)
	}
	return usagef("--output cannot be %q: there are %s", a.format, strings.Join(client.Formats, ", "))
}

// terminal reports whether somebody is at the other end, and how wide it is.
func terminal(end any) (width int, yes bool) {
	f, ok := end.(*os.File)
	if !ok || !term.IsTerminal(int(f.Fd())) {
		return 0, false
	}
	if width, _, err := term.GetSize(int(f.Fd())); err == nil {
		return width, true
	}
	return 80, true
}

// asks reports whether a question can be asked.
func (a *app) asks() bool {
	_, tty := terminal(a.in)
	return tty && !a.noInput
}

// warn tells something that no command fails over.
func (a *app) warn(text string) {
	fmt.Fprintln(a.err, "knowngood:", client.Clean(text))
}

// sure asks for a yes; without a terminal the answer is no.
func (a *app) sure(question string) bool {
	if !a.asks() {
		return false
	}
	for line := range strings.Lines(question + " [y/N] ") {
		if text, more := strings.CutSuffix(line, "\n"); more {
			fmt.Fprintln(a.err, client.Clean(text))
		} else {
			fmt.Fprint(a.err, client.Clean(text))
		}
	}
	line, err := a.readLine()
	if err != nil && !errors.Is(err, io.EOF) {
		return false
	}
	return slices.Contains([]string{"y", "yes"}, strings.ToLower(strings.TrimSpace(line)))
}

// readLine waits for a line, or for the end of the run: nobody who presses Ctrl-C
// at a prompt means to press Enter as well.
func (a *app) readLine() (string, error) {
	type typed struct {
		line string
		err  error
	}
	got := make(chan typed, 1)
	go func() {
		line, err := a.lines.ReadString('\n')
		got <- typed{line, err}
	}()
	select {
	case t := <-got:
		return t.line, t.err
	case <-a.ended:
		return "", context.Canceled
	}
}

// progress shows on a terminal how far something has come, once it takes longer
// than half a second.
func (a *app) progress() func(done, of int) {
	_, tty := terminal(a.err)
	if !tty {
		return func(int, int) {}
	}
	began := a.now()
	return func(done, of int) {
		if a.now().Sub(began) > 500*time.Millisecond {
			fmt.Fprintf(a.err, "\rsending %d of %d ", done, of)
			if done == of {
				fmt.Fprintln(a.err)
			}
		}
	}
}

// came shows on a terminal how many entries have come, once it takes longer than half
// a second.
func (a *app) came() func(n int) {
	_, tty := terminal(a.err)
	if !tty {
		return func(int) {}
	}
	began, told := a.now(), a.now()
	return func(n int) {
		if now := a.now(); now.Sub(began) > 500*time.Millisecond && now.Sub(told) > 200*time.Millisecond {
			told = now
			fmt.Fprintf(a.err, "\r%s came ", plural(n, "entry", "entries"))
		}
	}
}

// progressOf shows on a terminal how many of so many are done, once it takes longer
// than half a second. What it returns is called after each.
func (a *app) progressOf(what string, of int) func() {
	_, tty := terminal(a.err)
	began, done, told := a.now(), 0, a.now()
	return func() {
		done++
		now := a.now()
		if !tty || now.Sub(began) < 500*time.Millisecond || done < of && now.Sub(told) < 200*time.Millisecond {
			return
		}
		told = now
		left := time.Duration(float64(now.Sub(began)) / float64(done) * float64(of-done))
		fmt.Fprintf(a.err, "\r%s %d of %d, %s left   ", what, done, of, left.Round(time.Second))
		if done == of {
			fmt.Fprintln(a.err)
		}
	}
}

// minus stands for a leading '-' before a number while flags are parsed, so that
// 'read -0.3 V at ...' is a reading and no flag. U+2212 is the minus sign itself.
const minus = "\u2212"

func shield(args []string) []string {
	negative := regexp.MustCompile(`^-[.,]?[0-9]`)
	out := slices.Clone(args)
	for i, arg := range out {
		if arg == "--" {
			break
		}
		if negative.MatchString(arg) {
			out[i] = minus + arg[1:]
		}
	}
	return out
}

// typed is the line that the arguments make.
func typed(args []string) string {
	words := slices.Clone(args)
	for i, w := range words {
		if rest, ok := strings.CutPrefix(w, minus); ok {
			words[i] = "-" + rest
		}
	}
	return strings.Join(words, " ")
}
