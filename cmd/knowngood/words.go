package main

import (
	"errors"
	"fmt"

	"google.golang.org/protobuf/reflect/protoreflect"

	"knowngood.example/client"
)

// choose reads a flag that is one of the words of an enum; hyphens count as
// spaces.
func choose[E interface {
	~int32
	protoreflect.Enum
}](flag, said string) (E, error) {
	v, err := client.Choose[E](flag, said)
	return v, flagged(err)
}

// flagged says of a field that cannot be so that it is a flag.
func flagged(err error) error {
	var wrong *client.Wrong
	if errors.As(err, &wrong) {
		return usagef("--%w", err)
	}
	return err
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
