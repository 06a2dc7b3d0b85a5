package server

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"knowngood.example/cases/log"
)

// stuck is a log that does not close until it is let.
type stuck struct {
	log.Log
	let chan struct{}
}

func (s stuck) Close() error {
	<-s.let
	return s.Log.Close()
}

// TestStopDoesNotWaitForEver: a disk that is gone must not keep the process.
func TestStopDoesNotWaitForEver(t *testing.T) {
	t.Parallel()
	s, err := Open("", Options{CloseWithin: 20 * time.Millisecond})
	require.NoError(t, err)
	let := make(chan struct{})
	s.log = stuck{s.log, let}
	require.ErrorContains(t, s.Stop(t.Context()), "did not close within")
	close(let)
}
