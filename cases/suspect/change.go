package suspect

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"maps"
	"slices"
	"strings"
)

// Change reads what a shop puts in the place of some of the table, as JSON with
// the names of its fields. What is not named stays; a kind list, a test or a cost
// is given whole. The error says in which line what is wrong, and what would be
// right; the table is unchanged then.
func (t *Table) Change(b []byte) error {
	next := *t
	next.Tests, next.Costs = maps.Clone(t.Tests), maps.Clone(t.Costs)
	r := &changes{text: b, dec: json.NewDecoder(bytes.NewReader(b))}
	if err := r.table(&next); err != nil {
		return fmt.Errorf("the table of priors, shares and costs: line %d: %w", r.line(), err)
	}
	*t = next
	return nil
}

// changes reads the text of a change from its beginning to its end.
type changes struct {
	text []byte
	dec  *json.Decoder
	bad  int64 // where a character does not belong; 0: where the reading stands
}

func (r *changes) line() int {
	at := max(r.bad, r.dec.InputOffset())
	return 1 + bytes.Count(r.text[:min(int(at), len(r.text))], []byte("\n"))
}

func (r *changes) token() (json.Token, error) {
	tok, err := r.dec.Token()
	syntax := new(json.SyntaxError)
	switch {
	case err == nil:
		return tok, nil
	case errors.Is(err, io.EOF), errors.Is(err, io.ErrUnexpectedEOF):
		r.bad = int64(len(bytes.TrimRight(r.text, " \t\r\n")))
		return nil, errors.New("the text ends too early: a closing '}', ']' or '\"' is missing")
	case errors.As(err, &syntax):
		r.bad = syntax.Offset
	}
	return nil, errors.New("not written as JSON: names and words stand in double quotes, a colon behind a name, a comma between two entries and none behind the last")
}

func (r *changes) table(t *Table) error {
	fields := map[string]func(string) error{
		"kinds": func(name string) error { return r.kinds(name, &t.Kinds) },
		"other": func(name string) error {
			return r.object(name, nil, map[string]func(string) error{"words": r.words(&t.Other.Words), "prior": share(r, &t.Other.Prior), "tests": r.manners(&t.Other.Tests)})
		},
		"steady": r.sighting(&t.Steady), "intermittent": r.sighting(&t.Intermittent),
		"tests": func(name string) error {
			return r.byManner(name, func(name string, m Manner) error {
				var s Shares
				defer func() { t.Tests[m] = s }()
				return r.whole(name, "a test", map[string]func(string) error{
					"false_pass": share(r, &s.FalsePass), "false_pass_mostly": share(r, &s.FalsePassMostly), "false_fail": share(r, &s.FalseFail), "not_named": share(r, &s.NotNamed),
				})
			})
		},
		"costs": func(name string) error {
			return r.byManner(name, func(name string, m Manner) error {
				var c Cost
				defer func() { t.Costs[m] = c }()
				return r.whole(name, "a cost", map[string]func(string) error{
					"minutes": r.number(&c.Minutes, "more than 0", func(x float64) bool { return x > 0 }),
					"risk":    r.number(&c.Risk, "at least 0", func(x float64) bool { return x >= 0 }),
				})
			})
		},
	}
	for name, to := range map[string]*float64{"not_named": &t.NotNamed, "not_as_drawn": &t.NotAsDrawn, "weak_pass": &t.WeakPass, "maybe_weak_pass": &t.MaybeWeakPass, "exchange": &t.Exchange} {
		fields[name] = share(r, to)
	}
	for name, to := range map[string]*float64{"new": &t.New, "used": &t.Used, "reconditioned": &t.Reconditioned, "repaired": &t.Repaired, "worked_on": &t.WorkedOn} {
		fields[name] = r.number(to, "more than 0 and at most 10", func(x float64) bool { return x > 0 && x <= 10 })
	}
	if err := r.object("", nil, fields); err != nil {
		return err
	}
	if rest := bytes.TrimSpace(r.text[r.dec.InputOffset():]); len(rest) > 0 {
		r.bad = int64(len(r.text)) - int64(len(bytes.TrimLeft(r.text[r.dec.InputOffset():], " \t\r\n")))
		return errors.New("something follows the closing '}'; one table is all that belongs here")
	}
	return nil
}

// object reads the fields of an object, in any order, each once; must are those
// that have to be there.
func (r *changes) object(name string, must []string, fields map[string]func(string) error) error {
	switch tok, err := r.token(); {
	case err != nil:
		return err
	case tok != json.Delim('{'):
		return fmt.Errorf("%san object in braces belongs here, not %s", colon(name), shown(tok))
	}
	seen := map[string]bool{}
	for r.dec.More() {
		tok, err := r.token()
		if err != nil {
			return err
		}
		field, _ := tok.(string)
		read := fields[field]
		switch {
		case read == nil:
			return fmt.Errorf("%sunknown field %q; there are %s", colon(name), field, strings.Join(slices.Sorted(maps.Keys(fields)), ", "))
		case seen[field]:
			return fmt.Errorf("%s%s is given twice", colon(name), field)
		}
		seen[field] = true
		if err := read(join(name, field)); err != nil {
			return err
		}
	}
	if _, err := r.token(); err != nil {
		return err
	}
	for _, field := range must {
		if !seen[field] {
			return fmt.Errorf("%s%s is missing", colon(name), field)
		}
	}
	return nil
}

// whole reads an object that is given with all of its fields.
func (r *changes) whole(name, what string, fields map[string]func(string) error) error {
	all := slices.Sorted(maps.Keys(fields))
	err := r.object(name, all, fields)
	if err != nil && strings.HasSuffix(err.Error(), "is missing") && r.bad == 0 {
		return fmt.Errorf("%w; %s is given whole: %s", err, what, strings.Join(all, ", "))
	}
	return err
}

func (r *changes) list(name string, entry func(name string) error) error {
	tok, err := r.token()
	switch {
	case err != nil:
		return err
	case tok == nil:
		return nil // an empty list is printed so
	case tok != json.Delim('['):
		return fmt.Errorf("%s: a list in square brackets belongs here, not %s", name, shown(tok))
	}
	for n := 1; r.dec.More(); n++ {
		if err := entry(fmt.Sprintf("%s, entry %d", name, n)); err != nil {
			return err
		}
	}
	_, err = r.token()
	return err
}

func (r *changes) kinds(name string, to *[]Kind) error {
	*to = nil
	return r.list(name, func(name string) error {
		var k Kind
		if err := r.whole(name, "a kind", map[string]func(string) error{"words": r.words(&k.Words), "prior": share(r, &k.Prior), "tests": r.manners(&k.Tests)}); err != nil {
			return err
		}
		if len(k.Words) == 0 {
			return fmt.Errorf("%s: words is empty; a kind is told by one word at least, as \"relay\"", name)
		}
		*to = append(*to, k)
		return nil
	})
}

// words are single ones, as Kind compares them.
func (r *changes) words(to *[]string) func(string) error {
	return func(name string) error {
		*to = nil
		return r.list(name, func(name string) error {
			tok, err := r.token()
			if err != nil {
				return err
			}
			word, ok := tok.(string)
			if !ok || len(strings.Fields(word)) != 1 {
				return fmt.Errorf("%s: one word in double quotes belongs here, as \"relay\", not %s", name, shown(tok))
			}
			*to = append(*to, strings.ToLower(strings.TrimSpace(word)))
			return nil
		})
	}
}

func (r *changes) manners(to *[]Manner) func(string) error {
	return func(name string) error {
		*to = nil
		return r.list(name, func(name string) error {
			tok, err := r.token()
			if err != nil {
				return err
			}
			word, _ := tok.(string)
			var m Manner
			if err := m.UnmarshalText([]byte(word)); err != nil {
				return fmt.Errorf("%s: %s is no manner of testing; there are %s", name, shown(tok), strings.Join(mannerWords[:], ", "))
			}
			*to = append(*to, m)
			return nil
		})
	}
}

func (r *changes) byManner(name string, read func(name string, m Manner) error) error {
	fields := map[string]func(string) error{}
	for m := range manners {
		fields[m.String()] = func(name string) error { return read(name, m) }
	}
	return r.object(name, nil, fields)
}

func (r *changes) sighting(to *SightingShares) func(string) error {
	return func(name string) error {
		return r.object(name, nil, map[string]func(string) error{"without_fault": share(r, &to.WithoutFault), "gone_with_fault": share(r, &to.GoneWithFault)})
	}
}

func share(r *changes, to *float64) func(string) error {
	return r.number(to, "more than 0 and less than 1", func(x float64) bool { return x > 0 && x < 1 })
}

func (r *changes) number(to *float64, want string, fits func(float64) bool) func(string) error {
	return func(name string) error {
		tok, err := r.token()
		if err != nil {
			return err
		}
		x, ok := tok.(float64)
		switch {
		case !ok:
			return fmt.Errorf("%s: a number belongs here, %s, without quotes, not %s", name, want, shown(tok))
		case !fits(x):
			return fmt.Errorf("%s: %g, want %s", name, x, want)
		}
		*to = x
		return nil
	}
}

// shown is a token as its writer would call it.
func shown(tok json.Token) string {
	switch v := tok.(type) {
	case nil:
		return "null"
	case json.Delim:
		return "'" + v.String() + "'"
	case string:
		return fmt.Sprintf("%q", v)
	}
	return fmt.Sprint(tok)
}

func join(name, field string) string {
	if name == "" {
		return field
	}
	return name + ", " + field
}

func colon(name string) string {
	if name == "" {
		return ""
	}
	return name + ": "
}
