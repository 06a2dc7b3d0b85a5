//go:build linux || darwin

package badger

import (
	"errors"
	"os"
	"time"

	"golang.org/x/sys/unix"
)

// lock takes the lock that Badger takes, for as long as the files are looked at
// before Badger itself opens them. held is true when somebody has it.
func lock(dir string) (release func() error, held bool, err error) {
	f, err := os.Open(dir)
	if err != nil {
		return nil, false, err
	}
	// A process that this one starts holds what was open here until it has become
	// the other program, a lock just given up with it.
	for try := 0; ; try++ {
		err = unix.Flock(int(f.Fd()), unix.LOCK_EX|unix.LOCK_NB)
		if !errors.Is(err, unix.EWOULDBLOCK) || try == 10 {
			break
		}
		time.Sleep(5 * time.Millisecond)
	}
	if err != nil {
		return nil, errors.Is(err, unix.EWOULDBLOCK), errors.Join(err, f.Close())
	}
	return func() error {
		return errors.Join(unix.Flock(int(f.Fd()), unix.LOCK_UN), f.Close())
	}, false, nil
}
