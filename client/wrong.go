package client

import (
	"fmt"
	"slices"
	"strings"

	"google.golang.org/protobuf/reflect/protoreflect"

	"knowngood.example/cases/notation"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// Wrong is a flag of a command, or a field of the page, that cannot be what was said.
type Wrong struct {
	// Field by the name that both faces have for it: 'may-cut'.
	Field string
	// Says goes on behind the name: ' cannot be "perhaps": there are yes, no'.
	Says string
}

func (w *Wrong) Error() string { return w.Field + w.Says }

// wrong is a Wrong for an error; nil for none.
func wrong(field string, err error) error {
	if err == nil {
		return nil
	}
	return &Wrong{field, ": " + err.Error()}
}

// Choose reads a field that is one of the words of an enum; hyphens count as spaces, and
// nothing said is the zero value. The error is a *Wrong.
func Choose[E interface {
	~int32
	protoreflect.Enum
}](field, said string) (E, error) {
	var zero E
	if said == "" {
		return zero, nil
	}
	want := strings.ToLower(strings.ReplaceAll(said, "-", " "))
	words := notation.Words(zero)
	values := zero.Descriptor().Values()
	i := slices.Index(words, want)
	for n := 0; n < values.Len() && i >= 0; n++ {
		if v := E(values.Get(n).Number()); v != 0 && notation.Word(v) == want {
			return v, nil
		}
	}
	return zero, &Wrong{field, fmt.Sprintf(" cannot be %q: there are %s", said, strings.Join(words, ", "))}
}

// chooser reads several fields and keeps the first error.
type chooser struct{ err error }

func (c *chooser) keep(err error) {
	if c.err == nil {
		c.err = err
	}
}

// answer reads a field that most questions share: yes, no, not known.
func (c *chooser) answer(field, said string) eventv1.Answer {
	a, err := Choose[eventv1.Answer](field, said)
	c.keep(err)
	return a
}
