package notation

import (
	"fmt"
	"strconv"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestCodesThereAndBack(t *testing.T) {
	t.Parallel()
	seen := make(map[string]bool)
	for code := 0; code <= 0xFFFF; code++ {
		text := DecodeCode(uint16(code))
		seen[text] = true
		if back, err := EncodeCode(text); err != nil || int(back) != code {
			t.Fatalf("%04X is %s, and back %04X, %v", code, text, back, err)
		}
	}
	require.Len(t, seen, 65536)
}

// The structure of SAE J2012 is from memory; each row of the table is held
// against the plain arithmetic, done here a second time and in another way.
func TestCodesAsRecorded(t *testing.T) {
	t.Parallel()
	for _, row := range published(t, "dtc_encoding.csv") {
		n, err := strconv.ParseUint(row["hex"], 16, 16)
		require.NoError(t, err)
		bits := fmt.Sprintf("%016b", n)
		byBits := map[string]string{"00": "P", "01": "C", "10": "B", "11": "U"}[bits[:2]] +
			map[string]string{"00": "0", "01": "1", "10": "2", "11": "3"}[bits[2:4]] + row["hex"][1:]
		require.Equal(t, row["text"], byBits, "the table's own arithmetic")
		require.Equal(t, row["text"], DecodeCode(uint16(n)))
		back, err := EncodeCode(strings.ToLower(row["text"]))
		require.NoError(t, err)
		require.EqualValues(t, n, back)
	}
	for _, text := range []string{"", "P", "P048", "P04800", "X0480", "P4480", "PA480", "P04G0", "P+480", "P0 48", "P0_48", "Р0480"} {
		_, err := EncodeCode(text)
		require.Error(t, err, text)
	}
}

// Who controls which digits: SAE J2012, from memory, so this holds the program
// to what its documentation says and proves nothing of the standard.
func TestWhoControlsACode(t *testing.T) {
	t.Parallel()
	for text, want := range map[string]Control{
		"P0480": ByStandard, "P0FFF": ByStandard, "P1480": ByMaker, "P2480": ByStandard, "P3000": ByMaker, "P33FF": ByMaker,
		"P3400": ByStandard, "P3FFF": ByStandard, "B0001": ByStandard, "B1001": ByMaker, "B2001": ByMaker, "B3001": Reserved,
		"C0001": ByStandard, "C1001": ByMaker, "C2001": ByMaker, "C3001": Reserved,
		"U0001": ByStandard, "U1001": ByMaker, "U2001": ByMaker, "U3001": Varies,
	} {
		code, err := EncodeCode(text)
		require.NoError(t, err)
		require.Equal(t, want, ControlOf(code), text)
	}
}
