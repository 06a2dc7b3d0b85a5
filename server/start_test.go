package server

import (
	"context"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
)

// TestStartThatFails: what keeps a server from starting is said, whichever step it is.
func TestStartThatFails(t *testing.T) {
	t.Parallel()
	for name, c := range map[string]struct {
		harm func(t *testing.T, dir string)
		says string
	}{
		"a key that others can read": {func(t *testing.T, dir string) {
			require.NoError(t, os.Chmod(filepath.Join(dir, "key.json"), 0o644))
		}, "key.json"},
		"a checkpoint that is cut": {func(t *testing.T, dir string) {
			require.NoError(t, os.Truncate(filepath.Join(dir, "checkpoint"), 100))
		}, "cannot be trusted"},
	} {
		dir := t.TempDir()
		s, err := Open(dir, Options{})
		require.NoError(t, err, name)
		_, err = s.OpenShop(t.Context(), "One (invented)", "EUR", true)
		require.NoError(t, err, name)
		require.NoError(t, s.Stop(context.Background()))
		c.harm(t, dir)
		_, err = Open(dir, Options{})
		require.ErrorContains(t, err, c.says, name)
		_, err = Open(dir, Options{})
		require.ErrorContains(t, err, c.says, name+", again: the log was let go of")
	}
}
