package check

import (
	"errors"
	"strings"
)

// Severity of a finding.
type Severity int

// Severities, see the package comment.
const (
	Remark Severity = iota
	AskAgain
	Refuse
)

// Finding is one thing that a check has to say about a field.
type Finding struct {
	Severity Severity
	// Field is the path from the event, list items from 0:
	// 'reading.covers[0].component'.
	Field string
	// Wrong says what is wrong with it, Right what would be right; Right may be
	// empty.
	Wrong, Right string
}

func (f Finding) String() string {
	if f.Right == "" {
		return f.Field + ": " + f.Wrong
	}
	return f.Field + ": " + f.Wrong + "; " + f.Right
}

// Report is what the checks found, in the order of the fields.
type Report struct {
	Findings []Finding
}

// Err is nil when nothing was refused, else an error of one line a refusal.
func (r Report) Err() error {
	lines := r.words(Refuse)
	if len(lines) == 0 {
		return nil
	}
	return errors.New(strings.Join(lines, "\n"))
}

// Questions are what a face asks before it takes the event.
func (r Report) Questions() []string { return r.words(AskAgain) }

// Remarks are what is worth saying about an event that is taken without asking:
// the questions first.
func (r Report) Remarks() []string { return append(r.words(AskAgain), r.words(Remark)...) }

func (r Report) words(s Severity) []string {
	var out []string
	for _, f := range r.Findings {
		if f.Severity == s {
			out = append(out, f.String())
		}
	}
	return out
}
