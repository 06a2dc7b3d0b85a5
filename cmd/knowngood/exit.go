package main

import (
	"context"
	"errors"
	"fmt"
	"strings"

	"knowngood.example/cases"
	"knowngood.example/cases/path"
	"knowngood.example/cases/quick"
	"knowngood.example/client"
	boardv1 "knowngood.example/proto/knowngood/board/v1"
)

// Exit codes, as 'knowngood help output' lists them.
const (
	exitOK = iota
	exitFailed
	exitUsage
	exitNotFound
	exitConflict
	exitNotSent
	exitRefused
)

// usage is an error in how a command was called.
type usage struct{ error }

func (u usage) Unwrap() error { return u.error }

func usagef(format string, args ...any) error { return usage{fmt.Errorf(format, args...)} }

// notSent: what was recorded is saved here and waits for the server.
type notSent struct {
	waiting int
	why     error
}

func (n notSent) Error() string {
	return fmt.Sprintf("saved here, not sent yet: %v. %s and will go with the next command that reaches the server, or with 'knowngood sync'",
		n.why, wait(n.waiting))
}

func (n notSent) Unwrap() error { return n.why }

func wait(n int) string {
	if n == 1 {
		return "1 entry waits"
	}
	return fmt.Sprintf("%d entries wait", n)
}

// exit says what went wrong and returns the code for it.
func (a *app) exit(err error) int {
	if err == nil {
		return exitOK
	}
	code := exitCode(err)
	var said silent
	if errors.As(err, &said) {
		return code
	}
	var line *quick.Error
	if errors.As(err, &line) {
		a.caret(line.Line, line.Column, line.Length)
	}
	var query *cases.QueryError
	if errors.As(err, &query) && a.query != "" {
		a.caret(a.query, query.Column, 1)
	}
	if errors.Is(err, context.Canceled) {
		fmt.Fprintln(a.err, "knowngood: ended; what was saved before is kept")
		return code
	}
	text := onOneLine(err.Error())
	var sketch *path.Error
	if errors.As(err, &sketch) {
		a.problems(sketch.Text, sketch.Problems)
		text = strings.TrimPrefix(strings.Replace(text, sketch.Error(), "", 1), "\n")
		if sketch.More > 0 {
			text = fmt.Sprintf("and %d more like these\n%s", sketch.More, text)
		}
	}
	for _, text := range strings.Split(text, "\n") {
		fmt.Fprintln(a.err, "knowngood:", client.Clean(text))
	}
	return code
}

// onOneLine is what is said of a command that does not exist, with those that are alike,
// as other errors are said.
func onOneLine(text string) string {
	wrong, alike, found := strings.Cut(text, "\n\nDid you mean this?\n")
	if !found {
		return text
	}
	var names []string
	for _, name := range strings.Fields(alike) {
		names = append(names, "'knowngood "+name+"'")
	}
	return wrong + "; did you mean " + strings.Join(names, " or ") + "?"
}

// problems tells what is wrong with places of a drawing, each under its line.
func (a *app) problems(text string, list []path.Problem) {
	for _, p := range list {
		a.caret(path.LineOf(text, p), p.Column, p.Length)
		a.warn(p.String())
	}
}

// caret repeats what was typed with a mark under the place meant, in characters
// from 1.
func (a *app) caret(line string, column, length int) {
	runes := []rune(client.Clean(line))
	at := min(max(column-1, 0), len(runes))
	end := min(at+max(length, 1), max(len(runes), at+1))
	pad := client.Width(string(runes[:at]))
	mark := client.Width(string(runes[at:min(end, len(runes))]))
	fmt.Fprintf(a.err, "  %s\n  %s%s\n", string(runes), strings.Repeat(" ", pad), strings.Repeat("^", max(mark, 1)))
}

// silent is an error that was told already.
type silent struct{ error }

func (s silent) Unwrap() error { return s.error }

func exitCode(err error) int {
	var (
		badCall usage
		badLine *quick.Error
		badAsk  *cases.QueryError
		badPath *path.Error
		later   notSent
		files   filesNotSent
		no      *client.Refusal
	)
	switch {
	case errors.As(err, &later), errors.As(err, &files):
		return exitNotSent
	case errors.As(err, &badCall), errors.As(err, &badLine), errors.As(err, &badAsk), errors.As(err, &badPath), strings.HasPrefix(err.Error(), "unknown command"):
		return exitUsage
	case errors.Is(err, client.ErrNotFound), errors.Is(err, client.ErrErased):
		return exitNotFound
	case errors.Is(err, client.ErrHistory):
		return exitConflict
	case errors.Is(err, client.ErrNobody):
		return exitRefused
	case errors.As(err, &no):
		switch no.Reason {
		case boardv1.Reason_REASON_NOT_FOUND, boardv1.Reason_REASON_NOT_YET, boardv1.Reason_REASON_ERASED:
			return exitNotFound
		case boardv1.Reason_REASON_PLACE_TAKEN, boardv1.Reason_REASON_ID_TAKEN, boardv1.Reason_REASON_DEVICE_NUMBER:
			return exitConflict
		case boardv1.Reason_REASON_QUERY:
			return exitUsage
		case boardv1.Reason_REASON_STOPPED, boardv1.Reason_REASON_NO_ROOM, boardv1.Reason_REASON_TOO_SLOW, boardv1.Reason_REASON_LIMIT:
			return exitFailed
		default:
			return exitRefused
		}
	case errors.Is(err, context.Canceled):
		return exitFailed
	}
	return exitFailed
}
