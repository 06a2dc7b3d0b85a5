package main

import (
	"bufio"
	"context"
	"io"
	"testing"

	"github.com/stretchr/testify/require"
)

// TestPromptEnds: whoever ends the run at a prompt need not press Enter as well.
func TestPromptEnds(t *testing.T) {
	t.Parallel()
	in, typing := io.Pipe()
	defer typing.Close() //nolint:errcheck // nothing is lost
	ended := make(chan struct{})
	a := &app{lines: bufio.NewReader(in), ended: ended}
	go typing.Write([]byte("one\n")) //nolint:errcheck // read below
	line, err := a.readLine()
	require.NoError(t, err)
	require.Equal(t, "one\n", line)
	close(ended)
	_, err = a.readLine()
	require.ErrorIs(t, err, context.Canceled)
}
