//go:build !linux

package log

import "os"

// syncData waits until the bytes of f would survive a power cut.
func syncData(f *os.File) error { return f.Sync() }
