//go:build !linux && !darwin

package badger

// lock leaves it to Badger to find out that somebody has the directory open.
func lock(string) (release func() error, held bool, err error) {
	return func() error { return nil }, false, nil
}
