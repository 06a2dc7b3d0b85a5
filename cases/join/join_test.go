package join

import (
	"encoding/hex"
	"encoding/json"
	"math/rand/v2"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

func TestCodesAsTyped(t *testing.T) {
	t.Parallel()
	for typed, want := range map[string]string{
		"K3QX-09ZM-7HTA":            "K3QX-09ZM-7HTA",
		"k3qx o9zm 7hta":            "K3QX-09ZM-7HTA",
		"K3QX09ZM7HTA":              "K3QX-09ZM-7HTA",
		" k-3-q-x-0-9-z-m-7-h-t-a ": "K3QX-09ZM-7HTA",
		"iIlL-0000-oOoO":            "1111-0000-0000",
	} {
		got, err := ParseCode(typed)
		require.NoError(t, err, typed)
		require.Equal(t, want, got)
	}
	for typed, says := range map[string]string{
		"":                       "has 0 letters; 12 are meant",
		"K3QX-09ZM-7HT":          "has 11 letters; 12 are meant",
		"K3QX-09ZM-7HTAA":        "too long",
		strings.Repeat("0", 9e6): "too long",
		"K3QX-09ZM-7HTU":         "character 14, 'U', is none of a join code",
		"K3QX_09ZM-7HTA":         "character 5, '_'",
		"КK3QX-09ZM-7HT":         "character 1, 'К'",
		"\xff3QX-09ZM-7HTA":      "character 1",
	} {
		_, err := ParseCode(typed)
		require.ErrorContains(t, err, says)
	}
}

func TestNewCodesAreReadBack(t *testing.T) {
	t.Parallel()
	seen := map[string]bool{}
	for range 1000 {
		var random [CodeLetters]byte
		for i := range random {
			random[i] = byte(rand.Uint32())
		}
		c := NewCode(random)
		read, err := ParseCode(strings.ToLower(c))
		require.NoError(t, err)
		require.Equal(t, c, read)
		require.False(t, seen[c])
		seen[c] = true
	}
}

func TestLinks(t *testing.T) {
	t.Parallel()
	l := Link{"K3QX-09ZM-7HTA", PinOf([]byte("an authority")), []string{"192.168.1.20:7411", "shop.example:7411", "[fd00::1]:7411"}}
	for _, typed := range []string{l.String(), strings.ToUpper(l.String()), strings.ToLower(l.String()), " " + l.String() + "\n"} {
		got, err := ParseLink(typed)
		require.NoError(t, err, typed)
		require.Equal(t, l, got)
	}
	pin := l.Pin.String()
	for typed, says := range map[string]string{
		"K3QX-09ZM-7HTA/":                                       "ends too early",
		"K3QX-09ZM-7HTA/" + pin:                                 "ends too early",
		"K3QX-09ZM-7HTA/" + pin + "/":                           "no server address",
		"K3QX-09ZM-7HTA/" + pin + "/shop":                       "no server address",
		"K3QX-09ZM-7HTA/" + pin + "/shop:0":                     "no server address",
		"K3QX-09ZM-7HTA/" + pin + "/shop:70000":                 "no server address",
		"K3QX-09ZM-7HTA/" + pin + "/fd00::1:7411":               "no server address",
		"K3QX-09ZM-7HTA/" + pin + "/a b:1":                      "no server address",
		"K3QX-09ZM/" + pin + "/shop:1":                          "has 8 letters",
		"K3QX-09ZM-7HTA/" + pin[1:] + "/shop:1":                 "pin has 51 letters",
		"K3QX-09ZM-7HTA/" + "U" + pin[1:] + "/shop:1":           "letter 1 of the server's pin, 'U'",
		"K3QX-09ZM-7HTA/" + pin[:51] + "Z/shop:1":               "last letter is wrong",
		"K3QX-09ZM-7HTA/" + strings.Repeat("0", 52) + "/shop:1": "all zeros",
		"K3QX-09ZM-7HTA/" + pin + strings.Repeat("/s:1", 17):    "17 addresses",
		strings.Repeat("/", 5000):                               "5000 characters",
	} {
		_, err := ParseLink(typed)
		require.ErrorContains(t, err, says, typed)
	}
	b, err := json.Marshal(l)
	require.NoError(t, err)
	var again Link
	require.NoError(t, json.Unmarshal(b, &again))
	require.Equal(t, l, again)
	require.NoError(t, json.Unmarshal([]byte(`{"Pin":""}`), &again))
	require.True(t, again.Pin.IsZero())
}

// The figures were worked out by another implementation: Python's hashlib and hmac.
func TestProofs(t *testing.T) {
	t.Parallel()
	k, err := KeyOf("K3QX-09ZM-7HTA")
	require.NoError(t, err)
	channel := []byte(strings.Repeat("c", ChannelSize))
	require.Equal(t, "092a2d14729c11db474e0b9ee7dc3e05b5cc3bf75728008185f67af97e5143c8", hex.EncodeToString(k))
	require.Equal(t, "5c87610f27d74a2823a1a16bebd78b49a09c042cc8f46d5b976968b88f29fc8f", hex.EncodeToString(k.DeviceProof(channel)))
	require.Equal(t, "57332d8316caac84705e1d51e1c961dfa5264d1374759e4a8656a19cd106dd15", hex.EncodeToString(k.ServerProof(channel)))
	other, err := KeyOf("K3QX-09ZM-7HTB")
	require.NoError(t, err)
	require.NotEqual(t, k, other)
	require.NotEqual(t, k.DeviceProof(channel), k.DeviceProof(channel[1:]))
}

// garble makes n inputs from good ones: letters changed, cut, doubled, and noise.
func garble(r *rand.Rand, n int, yield func(string)) {
	pin := PinOf([]byte("x")).String()
	good := []string{"K3QX-09ZM-7HTA", "k3qx o9zm 7hta", "K3QX-09ZM-7HTA/" + pin + "/10.0.0.5:7411/shop.example:1", "/", "[fd00::1]:7411"}
	for range n {
		b := []byte(good[r.IntN(len(good))])
		for range r.IntN(6) {
			at := r.IntN(len(b) + 1)
			switch r.IntN(4) {
			case 0:
				b = append(b[:at:at], append([]byte{byte(r.Uint32())}, b[at:]...)...)
			case 1:
				b = b[:at]
			case 2:
				b = append(b, b[at:]...)
			case 3:
				if at < len(b) {
					b[at] = byte(r.Uint32())
				}
			}
		}
		yield(string(b))
	}
}

// held is what must hold of any input at all.
func held(t testing.TB, typed string) {
	if code, err := ParseCode(typed); err == nil {
		require.Len(t, code, CodeLetters+2)
		again, err := ParseCode(code)
		require.NoError(t, err)
		require.Equal(t, code, again)
	} else {
		require.Less(t, len(err.Error()), 300, "an error that repeats all that was typed")
	}
	l, err := ParseLink(typed)
	if err != nil {
		require.Less(t, len(err.Error()), 500)
		return
	}
	again, err := ParseLink(l.String())
	require.NoError(t, err, typed)
	require.Equal(t, l, again)
}

// TestGarbled: whatever is typed is read as what it says, or refused; 20,000 inputs,
// with a seed that is printed.
func TestGarbled(t *testing.T) {
	t.Parallel()
	seed := rand.Uint64()
	t.Logf("seed %d", seed)
	n, codes, links := 0, 0, 0
	garble(rand.New(rand.NewPCG(seed, 0)), 20_000, func(typed string) {
		held(t, typed)
		n++
		if _, err := ParseCode(typed); err == nil {
			codes++
		}
		if _, err := ParseLink(typed); err == nil {
			links++
		}
	})
	require.Equal(t, 20_000, n)
	require.Greater(t, codes, 100, "hardly any input was good: nothing was tried")
	require.Greater(t, links, 100)
}

func FuzzJoin(f *testing.F) {
	garble(rand.New(rand.NewPCG(1, 1)), 50, func(typed string) { f.Add(typed) })
	f.Fuzz(func(t *testing.T, typed string) { held(t, typed) })
}
