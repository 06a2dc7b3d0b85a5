package cases

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"knowngood.example/cases/envelope"
	"knowngood.example/cases/notation"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// Query asks for entries of one case. Conditions of different sorts must all
// hold; of several kinds, people or shops one is enough; every component, point
// and word must be met.
type Query struct {
	// Kinds in words, as 'part fitted'.
	Kinds                     []string
	Who, Shops                []string
	Components, Points, Words []string
	// From and Through are seqs, 0 for no limit.
	From, Through uint64
	// Since and Until hold for when it happened, or was recorded when nobody said.
	Since, Until *eventv1.Moment
	// AsOf asks for the case as the log had it at this seq; 0: now.
	AsOf uint64
	// JobOrder lists by when it was done instead of when the log took it.
	JobOrder bool
}

// QueryError says where a query cannot be understood.
type QueryError struct {
	// Column of the word in characters, from 1.
	Column int
	What   string
}

func (e *QueryError) Error() string { return fmt.Sprintf("query, column %d: %s", e.Column, e.What) }

const queryKeys = "kind, who, shop, component, point, text, since, until, from, through, as-of, order"

// ParseQuery reads a query as it is typed: words to be found, and conditions
// written key:value, where a value with spaces stands in double quotes:
//
//	kind:reading point:"bcm C3-14" since:12 brown
//
// Keys: kind, who, shop, component, point, text, since and until (an entry's
// number or a moment), from and through (numbers), as-of (a number), order (log
// or job). now says what 'yesterday' means.
func ParseQuery(text string, now time.Time) (Query, error) {
	var q Query
	if !utf8.ValidString(text) {
		return q, &QueryError{1, "this is not UTF-8 text"}
	}
	rest, column := text, 1
	for {
		trimmed := strings.TrimLeftFunc(rest, unicode.IsSpace)
		column += utf8.RuneCountInString(rest[:len(rest)-len(trimmed)])
		if rest = trimmed; rest == "" {
			return q, nil
		}
		word, n, err := queryWord(rest)
		if err != nil {
			return q, &QueryError{column, err.Error()}
		}
		if err := q.add(word, now); err != nil {
			return q, &QueryError{column, err.Error()}
		}
		column += utf8.RuneCountInString(rest[:n])
		rest = rest[n:]
	}
}

// queryWord is the next word: up to a space outside double quotes.
func queryWord(s string) (word string, n int, err error) {
	quoted := false
	var b strings.Builder
	for i, r := range s {
		switch {
		case r == '"':
			quoted = !quoted
		case unicode.IsSpace(r) && !quoted:
			return b.String(), i, nil
		default:
			b.WriteRune(r)
		}
	}
	if quoted {
		return "", 0, fmt.Errorf("the quotation mark is not closed")
	}
	return b.String(), len(s), nil
}

func (q *Query) add(word string, now time.Time) error {
	key, value, found := strings.Cut(word, ":")
	if !found {
		if word != "" {
			q.Words = append(q.Words, word)
		}
		return nil
	}
	if value = strings.TrimSpace(value); value == "" {
		return fmt.Errorf("%s: nothing after the colon", key)
	}
	var err error
	switch strings.ToLower(key) {
	case "kind":
		var kind string
		if kind, err = queryKind(value); err == nil {
			q.Kinds = append(q.Kinds, kind)
		}
	case "who", "by":
		q.Who = append(q.Who, value)
	case "shop":
		q.Shops = append(q.Shops, value)
	case "component":
		q.Components = append(q.Components, value)
	case "point":
		q.Points = append(q.Points, value)
	case "text":
		q.Words = append(q.Words, value)
	case "since":
		if q.From, err = number(value); err != nil {
			q.Since, err = notation.ParseMoment(value, now)
		}
	case "until":
		if q.Through, err = number(value); err != nil {
			q.Until, err = notation.ParseMoment(value, now)
		}
	case "from":
		q.From, err = number(value)
	case "through":
		q.Through, err = number(value)
	case "as-of":
		q.AsOf, err = number(value)
	case "order":
		switch value {
		case "job":
			q.JobOrder = true
		case "log":
			q.JobOrder = false
		default:
			err = fmt.Errorf("%q is no order; there is 'log' (when the log took it) and 'job' (when it was done)", value)
		}
	default:
		return fmt.Errorf("%q is no condition; there is %s. To look for the text itself, write text:%q", key, queryKeys, word)
	}
	return err
}

func number(s string) (uint64, error) {
	n, err := strconv.ParseUint(strings.TrimPrefix(s, "#"), 10, 64)
	if err != nil || n == 0 {
		return 0, fmt.Errorf("%q is not the number of an entry: they count from 1", s)
	}
	return n, nil
}

// queryKind finds a kind by its name or the beginning of it; '-' and '_' count as
// spaces.
func queryKind(value string) (string, error) {
	want := strings.ToLower(strings.NewReplacer("-", " ", "_", " ").Replace(value))
	var begins, all []string
	for _, k := range envelope.Kinds() {
		name := envelope.KindName(k)
		all = append(all, name)
		if name == want {
			return name, nil
		}
		if strings.HasPrefix(name, want) {
			begins = append(begins, name)
		}
	}
	if rest, ok := strings.CutPrefix(want, "kind "); ok {
		if n, err := strconv.ParseUint(rest, 10, 32); err == nil {
			return fmt.Sprintf("kind %d", n), nil
		}
	}
	switch len(begins) {
	case 1:
		return begins[0], nil
	case 0:
		slices.Sort(all)
		return "", fmt.Errorf("%q is no kind of entry; there is %s", value, strings.Join(all, ", "))
	}
	return "", fmt.Errorf("%q could be %s: write more of it", value, strings.Join(begins, " or "))
}
