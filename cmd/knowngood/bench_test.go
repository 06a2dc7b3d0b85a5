package main

import (
	"bytes"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"knowngood.example/cases/proving"
	"knowngood.example/client"
)

// One faulty thing that was called good once fails the whole run, and says which case
// to play again.
func TestBenchFailsOverOneWrongProof(t *testing.T) {
	t.Parallel()
	var out, told bytes.Buffer
	a := &app{world: world{out: &out, err: &told, now: time.Now}, show: &client.Output{Format: "table", W: &out}}
	r := &benchRun{settings: proving.Clean()}
	o := &benchFlags{cases: 2, strategy: "own"}
	all := []proving.Record{{Case: 0, Strategy: proving.Own, Stop: "found", Faults: []string{"wire 1: open"}}}
	require.NoError(t, r.tell(a, o, all))
	all = append(all, proving.Record{Case: 17, Strategy: proving.Own, Stop: "found", Faults: []string{"wire 1: open"}, Wrong: []string{"step 3: wire 1: open"}})
	err := r.tell(a, o, all)
	require.Error(t, err)
	require.Equal(t, exitFailed, exitCode(err))
	require.Equal(t, 1, exitFailed)
	require.Contains(t, told.String(), "--from-case 17 --cases 1")
	require.Contains(t, out.String(), "1 of 2")
}
