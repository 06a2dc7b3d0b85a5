package notation

import (
	"strings"
	"testing"

	"github.com/google/uuid"
	"github.com/stretchr/testify/require"
)

// The version 7 example of RFC 9562, appendix A.6.
const rfc9562A6 = "017F22E2-79B0-7CC3-98C4-DC0C0C07398F"

func TestIDs(t *testing.T) {
	t.Parallel()
	require.NoError(t, CheckID(strings.ToLower(rfc9562A6)))
	require.NoError(t, CheckID(uuid.Must(uuid.NewV7()).String()))
	for id, words := range map[string]string{
		rfc9562A6:                              "use lower case",
		"919108f7-52d1-4320-9bac-f847db4148a8": "version 4", // RFC 9562, A.3
		"017f22e2-79b0-7cc3-c8c4-dc0c0c07398f": "8, 9, a or b",
		"017f22e279b07cc398c4dc0c0c07398f":     "needs 36",
		"017f22e2-79b0-7cc3-98c4-dc0c0c07398g": "hexadecimal",
		"017f22e2079b0-7cc3-98c4-dc0c0c07398f": "should be a hyphen",
		"":                                     "needs 36",
	} {
		require.ErrorContains(t, CheckID(id), words, id)
	}
	require.Equal(t, "07398f", ShortID(strings.ToLower(rfc9562A6)))
}
