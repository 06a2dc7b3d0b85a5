package notation

import (
	"strings"
	"testing"
	"time"
	_ "time/tzdata" // so that no zone table is needed on the machine

	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/proto"
	"pgregory.net/rapid"

	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

var plus2 = time.FixedZone("", 2*3600)

// wednesday is the now of these tests.
var wednesday = time.Date(2025, 6, 4, 9, 30, 15, 123, plus2)

// The examples of RFC 3339, section 5.8 (from memory), and what its grammar
// allows.
func TestRFC3339Taken(t *testing.T) {
	t.Parallel()
	for typed, want := range map[string]time.Time{
		"1985-04-12T23:20:50.52Z":        time.Date(1985, 4, 12, 23, 20, 50, 520e6, time.UTC),
		"1996-12-19T16:39:57-08:00":      time.Date(1996, 12, 20, 0, 39, 57, 0, time.UTC),
		"1937-01-01T12:00:27.87+00:20":   time.Date(1937, 1, 1, 11, 40, 27, 870e6, time.UTC),
		"2025-06-01t14:05:09z":           time.Date(2025, 6, 1, 14, 5, 9, 0, time.UTC),
		"2025-06-01T14:05:09-00:00":      time.Date(2025, 6, 1, 14, 5, 9, 0, time.UTC),
		"2025-06-01T14:05:09.123456789Z": time.Date(2025, 6, 1, 14, 5, 9, 123456789, time.UTC),
		"2025-06-01T14:05:09+23:59":      time.Date(2025, 5, 31, 14, 6, 9, 0, time.UTC),
		"2024-02-29T00:00:00Z":           time.Date(2024, 2, 29, 0, 0, 0, 0, time.UTC),
		"0000-01-01T00:00:00Z":           time.Date(0, 1, 1, 0, 0, 0, 0, time.UTC),
		"9999-12-31T23:59:59Z":           time.Date(9999, 12, 31, 23, 59, 59, 0, time.UTC),
	} {
		m, err := ParseRFC3339(typed)
		require.NoError(t, err, typed)
		got, ok := TimeOf(m)
		require.True(t, ok)
		require.True(t, want.Equal(got), "%s: %s", typed, got)
		require.Equal(t, second, m.Precision)
	}
}

func TestRFC3339Refused(t *testing.T) {
	t.Parallel()
	// time.Parse takes these; RFC 3339, section 5.6, does not.
	for typed, words := range map[string]string{
		"2025-06-01T14:05:09,5Z":          "not a time",
		"2025-06-01T4:05:09Z":             "not a time",
		"2025-06-01T14:05:09+24:00":       "offsets run from -23:59",
		"2025-06-01T14:05:09+24:59":       "offsets run from -23:59",
		"2025-06-01T14:05:09+23:60":       "offsets run from -23:59",
		"2025-06-01T14:05:09.1234567891Z": "nine decimals", // digits would be lost
	} {
		_, err := time.Parse(time.RFC3339, typed)
		require.NoError(t, err, "%s: the standard library has become strict", typed)
		_, err = ParseRFC3339(typed)
		require.ErrorContains(t, err, words, typed)
	}
	// The second example of a leap second in section 5.8 is a valid time that
	// cannot be kept.
	for typed, words := range map[string]string{
		"1990-12-31T23:59:60Z":      "leap second, which cannot be kept",
		"1990-12-31T15:59:60-08:00": "leap second, which cannot be kept",
		"2025-06-01T14:05:61Z":      "out of range",
		"2025-06-01T24:00:00Z":      "out of range",
		"2025-02-29T00:00:00Z":      "out of range",
		"2025-13-01T00:00:00Z":      "out of range",
		"2025-06-01 14:05:09Z":      "not a time",
		"2025-06-01T14:05Z":         "not a time",
		"2025-06-01T14:05:09":       "not a time",
		"2025-06-01T14:05:09+0200":  "not a time",
		"2025-06-01T14:05:09+02":    "not a time",
		"2025-06-01T14:05:09.Z":     "not a time",
		"25-06-01T14:05:09Z":        "not a time",
		"12025-06-01T14:05:09Z":     "not a time",
		" 2025-06-01T14:05:09Z":     "not a time",
		"":                          "not a time",
	} {
		_, err := ParseRFC3339(typed)
		require.ErrorContains(t, err, words, typed)
	}
}

func TestMomentsAsSaid(t *testing.T) {
	t.Parallel()
	for typed, want := range map[string]struct {
		printed   string
		precision eventv1.Precision
	}{
		"now":                       {"2025-06-04 09:30:15", second},
		"today":                     {"2025-06-04", day},
		"Today 8:05":                {"2025-06-04 08:05", minute},
		"today 14:05":               {"2025-06-04 14:05", minute},
		"yesterday":                 {"2025-06-03", day},
		"yesterday at 14:05":        {"2025-06-03 14:05", minute},
		"Monday":                    {"2025-06-02", day},
		"on Monday":                 {"2025-06-02", day},
		"Thu":                       {"2025-05-29", day},
		"last Wednesday":            {"2025-05-28", day},
		"last Monday 9:30 am":       {"2025-06-02 09:30", minute},
		"9:30":                      {"2025-06-04 09:30", minute},
		"9:34":                      {"2025-06-04 09:34", minute}, // clocks differ
		"at 8:00:05":                {"2025-06-04 08:00:05", second},
		"yesterday 2:05 pm":         {"2025-06-03 14:05", minute},
		"yesterday 12:05 am":        {"2025-06-03 00:05", minute},
		"yesterday noon":            {"2025-06-03 12:00", minute},
		"yesterday 12 pm":           {"2025-06-03 12:00", minute},
		"3 days ago":                {"2025-06-01", day},
		"a week ago":                {"2025-05-28", day},
		"2 hours ago":               {"2025-06-04 07:30", minute},
		"10 min ago":                {"2025-06-04 09:20", minute},
		"this morning":              {"2025-06-04", day},
		"2025-06-01":                {"2025-06-01", day},
		"2025-06-01 14:05":          {"2025-06-01 14:05", minute},
		"2025-06-01T14:05":          {"2025-06-01 14:05", minute},
		"2025-06-01 14:05:09":       {"2025-06-01 14:05:09", second},
		"1 June 2025":               {"2025-06-01", day},
		"June 1st, 2025 14:05":      {"2025-06-01 14:05", minute},
		"1 Jun":                     {"2025-06-01", day},
		"24 December":               {"2024-12-24", day},
		"last week":                 {"last week", unknown},
		"last night":                {"last night", unknown},
		"2025-06-01T14:05:09-03:00": {"2025-06-01 14:05:09", second},
	} {
		m, err := ParseMoment(typed, wednesday)
		require.NoError(t, err, typed)
		require.Equal(t, want.precision, m.Precision, typed)
		require.Equal(t, want.printed, FormatMoment(m, nil), typed)
		if rfc3339Form.MatchString(typed) {
			require.Empty(t, m.Said)
			continue
		}
		require.Equal(t, typed, m.Said)
		if want.precision != unknown {
			require.EqualValues(t, 120, m.OffsetMinutes)
		} else {
			require.Zero(t, m.UnixSeconds)
		}
	}
	for typed, words := range map[string]string{
		"":                   "empty",
		"before lunch":       "not a time that is understood",
		"Mondayish":          "not a time that is understood",
		"tomorrow":           "not a time that is understood",
		"14:05":              "not come yet today; say yesterday 14:05, or today 14:05",
		"Wednesday":          "today is Wednesday; say today, or last Wednesday",
		"next Monday":        "wrong side of today",
		"06/01/2025":         "day or month first",
		"1.6.2025":           "day or month first",
		"2025-02-30":         "no day 2025-02-30",
		"30 February":        "no day 2025-02-30",
		"yesterday 25:00":    "hours run to 23",
		"yesterday 13:05pm":  "hours run to 23",
		"yesterday 23:59:60": "leap second cannot be kept",
		"yesterday 14":       "not a time that is understood",
		"12.31":              "not a time that is understood",
		"2025-06-01T24:00":   "hours run to 23",
	} {
		_, err := ParseMoment(typed, wednesday)
		require.ErrorContains(t, err, words, typed)
	}
}

func TestMomentsToCome(t *testing.T) {
	t.Parallel()
	for typed, printed := range map[string]string{
		"tomorrow":       "2025-06-05",
		"tomorrow 8:00":  "2025-06-05 08:00",
		"Friday":         "2025-06-06",
		"next Wednesday": "2025-06-11",
		"on Monday":      "2025-06-09",
		"in 3 days":      "2025-06-07",
		"in a week":      "2025-06-11",
		"8:00":           "2025-06-05 08:00",
		"14:05":          "2025-06-04 14:05",
		"1 March":        "2026-03-01",
		"next week":      "next week",
	} {
		m, err := ParseDue(typed, wednesday)
		require.NoError(t, err, typed)
		require.Equal(t, printed, FormatMoment(m, nil), typed)
	}
	for _, typed := range []string{"yesterday", "3 days ago", "last Monday"} {
		_, err := ParseDue(typed, wednesday)
		require.Error(t, err, typed)
	}
}

func TestWordsAreKeptOnlyWhenAsked(t *testing.T) {
	t.Parallel()
	_, err := ParseMoment("before lunch", wednesday)
	require.ErrorIs(t, err, ErrNotUnderstood)
	m, err := KeepMoment(" before lunch ", wednesday)
	require.NoError(t, err)
	require.True(t, proto.Equal(&eventv1.Moment{Precision: unknown, Said: "before lunch"}, m))
	_, ok := TimeOf(m)
	require.False(t, ok)
	require.Equal(t, "before lunch", FormatMoment(m, plus2))
	require.Empty(t, FormatRFC3339(m))
	m, err = KeepMoment("yesterday", wednesday)
	require.NoError(t, err)
	require.Equal(t, day, m.Precision)
	for _, impossible := range []string{"2025-02-30", "yesterday 25:00", ""} {
		_, err = KeepMoment(impossible, wednesday)
		require.Error(t, err, impossible)
	}
}

func TestMomentsInAnotherZone(t *testing.T) {
	t.Parallel()
	tokyo := time.FixedZone("", 9*3600)
	m, err := ParseMoment("2025-06-01 23:30", wednesday)
	require.NoError(t, err)
	require.Equal(t, "2025-06-02 06:30", FormatMoment(m, tokyo))
	require.Equal(t, "2025-06-01T23:30:00+02:00", FormatRFC3339(m))
	m, err = ParseMoment("2025-06-01", wednesday)
	require.NoError(t, err)
	require.Equal(t, "2025-06-01", FormatMoment(m, time.FixedZone("", -9*3600)), "the day that was meant")
	require.Equal(t, "2025-06-01", FormatRFC3339(m))
	require.Equal(t, "time not known", FormatMoment(nil, nil))
}

func TestClocksPutForward(t *testing.T) {
	t.Parallel()
	zone, err := time.LoadLocation("Europe/Berlin")
	require.NoError(t, err)
	now := time.Date(2025, 4, 1, 12, 0, 0, 0, zone)
	_, err = ParseMoment("2025-03-30 02:30", now)
	require.ErrorContains(t, err, "put forward")
	m, err := ParseMoment("2025-01-15 12:00", now)
	require.NoError(t, err)
	require.EqualValues(t, 60, m.OffsetMinutes, "the offset of that day, not of today")
}

func TestMomentsRoundTrip(t *testing.T) {
	t.Parallel()
	rapid.Check(t, func(t *rapid.T) {
		zone := time.FixedZone("", 60*rapid.IntRange(-1439, 1439).Draw(t, "offset"))
		at := time.Unix(rapid.Int64Range(-62135596800+86400, 253402300799-86400).Draw(t, "seconds"), rapid.Int64Range(0, 999999999).Draw(t, "nanos")).In(zone)
		m := MomentOf(at, second)
		again, err := ParseRFC3339(FormatRFC3339(m))
		require.NoError(t, err)
		require.True(t, proto.Equal(m, again), "%v %v", m, again)
	})
}

func FuzzParseMoment(f *testing.F) {
	for _, s := range []string{"2025-06-01T14:05:09+02:00", "yesterday 14:05", "last Monday 9:30 am", "3 days ago", "1 June 2025", "23:59:60", "in a week"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, s string) {
		for _, parse := range []func(string, time.Time) (*eventv1.Moment, error){ParseMoment, ParseDue, KeepMoment} {
			m, err := parse(s, wednesday)
			if err != nil {
				continue
			}
			require.NotEqual(t, eventv1.Precision_PRECISION_UNSPECIFIED, m.Precision)
			require.True(t, m.Nanos >= 0 && m.Nanos <= 999999999 && m.OffsetMinutes > -1440 && m.OffsetMinutes < 1440)
			if m.Said != "" {
				require.Equal(t, strings.TrimSpace(s), m.Said)
			}
		}
		if m, err := ParseRFC3339(s); err == nil {
			want, err := time.Parse(time.RFC3339, strings.ToUpper(s))
			require.NoError(t, err)
			got, _ := TimeOf(m)
			require.True(t, want.Equal(got))
		}
	})
}
