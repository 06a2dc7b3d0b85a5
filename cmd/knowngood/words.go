package main

import (
	"fmt"
	"slices"
	"strings"

	"google.golang.org/protobuf/reflect/protoreflect"

	"knowngood.example/cases/notation"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// choose reads a flag that is one of the words of an enum; hyphens count as
// spaces.
func choose[E interface {
	~int32
	protoreflect.Enum
}](flag, said string) (E, error) {
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
	return zero, usagef("--%s cannot be %q: there are %s", flag, said, strings.Join(words, ", "))
}

// answer is an enum flag that most questions share.
func answer(flag, said string) (eventv1.Answer, error) { return choose[eventv1.Answer](flag, said) }

// cash reads an amount of money in a currency that may be left out.
func cash(flag, said, currency string) (*eventv1.Money, error) {
	if said == "" {
		return nil, nil
	}
	m, err := notation.ParseMoneyIn(said, currency)
	if err != nil {
		return nil, usagef("--%s: %w", flag, err)
	}
	return m, nil
}

// first returns the first error there is.
func first(errs ...error) error {
	for _, err := range errs {
		if err != nil {
			return err
		}
	}
	return nil
}

func plural(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}
