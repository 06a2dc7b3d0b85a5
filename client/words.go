package client

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"

	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

func roleName(r eventv1.Role) string { return words(r.String(), "ROLE_") }

// lines calls f with each line of a file of the home, counted from 1; one that is
// not there has none. A last line without its end is left out: it was never
// wholly written.
func (h *Home) lines(name string, f func(n int, line []byte) error) error {
	file, err := os.Open(h.path(name))
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return fmt.Errorf("cannot read %s: %w", h.path(name), err)
	}
	defer file.Close() //nolint:errcheck // only read
	r := bufio.NewReader(file)
	for n := 1; ; n++ {
		line, err := r.ReadBytes('\n')
		if err == io.EOF {
			return nil
		}
		if err != nil {
			return fmt.Errorf("cannot read %s: %w", h.path(name), err)
		}
		if line = bytes.TrimSpace(line); len(line) == 0 {
			continue
		}
		if err := f(n, line); err != nil {
			return err
		}
	}
}
