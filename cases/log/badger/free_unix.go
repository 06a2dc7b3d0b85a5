//go:build linux || darwin

package badger

import "golang.org/x/sys/unix"

// freeSpace returns the bytes a plain user may still write under dir.
func freeSpace(dir string) (uint64, error) {
	var s unix.Statfs_t
	if err := unix.Statfs(dir, &s); err != nil {
		return 0, err
	}
	return s.Bavail * uint64(s.Bsize), nil
}
