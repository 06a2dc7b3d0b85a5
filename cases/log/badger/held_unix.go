//go:build linux || darwin

package badger

import (
	"errors"
	"os"

	"golang.org/x/sys/unix"
)

// lock takes the lock that Badger takes, for as long as the files are looked at
// before Badger itself opens them. held is true when somebody has it.
func lock(dir string) (release func() error, held bool, err error) {
	f, err := os.Open(dir)
	if err != nil {
		return nil, false, err
	}
	if err := unix.Flock(int(f.Fd()), unix.LOCK_EX|unix.LOCK_NB); err != nil {
		return nil, errors.Is(err, unix.EWOULDBLOCK), errors.Join(err, f.Close())
	}
	return f.Close, false, nil
}
