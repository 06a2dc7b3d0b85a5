package badger

import (
	"testing"

	"github.com/stretchr/testify/require"
	"go.uber.org/goleak"

	"knowngood.example/cases/log"
	"knowngood.example/cases/log/logtest"
)

func TestMain(m *testing.M) { goleak.VerifyTestMain(m) }

func open(t testing.TB, dir string) *Log {
	t.Helper()
	l, err := Open(dir, Options{})
	require.NoError(t, err)
	return l
}

func TestConformance(t *testing.T) {
	logtest.Run(t, logtest.Engine{
		Open:  func(t testing.TB, dir string) log.Log { return open(t, dir) },
		Keeps: true,
	})
}
