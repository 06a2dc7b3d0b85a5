package quick

import (
	"testing"

	"github.com/stretchr/testify/require"
)

func TestExamplesAreUnderstood(t *testing.T) {
	t.Parallel()
	ctx := Context{Currency: "EUR", Last: "01890000-0000-7000-8000-00000000000a",
		Entry: func(ref string) (string, error) { return "01890000-0000-7000-8000-000000000001", nil }}
	for _, line := range Examples() {
		p, err := Parse(line, ctx)
		require.NoError(t, err, line)
		require.NotEmpty(t, p.Understood, line)
	}
}
