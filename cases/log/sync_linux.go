package log

import (
	"os"

	"golang.org/x/sys/unix"
)

// syncData waits until the bytes of f would survive a power cut. The file was
// laid out in full before, so its length and place need no sync of their own:
// measured, that halves the time.
func syncData(f *os.File) error {
	for {
		if err := unix.Fdatasync(int(f.Fd())); err != unix.EINTR {
			return err
		}
	}
}
