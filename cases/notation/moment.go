package notation

import (
	"errors"
	"fmt"
	"regexp"
	"strings"
	"time"

	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// ErrNotUnderstood: the words say no time that this package can read. What was
// said can still be kept (KeepMoment).
var ErrNotUnderstood = errors.New("not a time that is understood here")

const (
	second  = eventv1.Precision_PRECISION_SECOND
	minute  = eventv1.Precision_PRECISION_MINUTE
	day     = eventv1.Precision_PRECISION_DAY
	unknown = eventv1.Precision_PRECISION_UNKNOWN

	// clockSlack is how far ahead of now a bare time may be before it is asked
	// about: clocks differ by minutes.
	clockSlack = 5 * time.Minute
)

// MomentOf is a time to the second (or as precise as said), with its offset.
func MomentOf(t time.Time, p eventv1.Precision) *eventv1.Moment {
	_, offset := t.Zone()
	m := &eventv1.Moment{UnixSeconds: t.Unix(), OffsetMinutes: int32(offset / 60), Precision: p}
	if p == second {
		m.Nanos = int32(t.Nanosecond())
	}
	return m
}

// TimeOf is the moment as a time in the offset it was entered in; false when it
// is not known.
func TimeOf(m *eventv1.Moment) (time.Time, bool) {
	if m == nil || m.GetPrecision() == unknown || m.GetPrecision() == eventv1.Precision_PRECISION_UNSPECIFIED {
		return time.Time{}, false
	}
	zone := time.UTC
	if o := int(m.GetOffsetMinutes()); o != 0 {
		zone = time.FixedZone("", o*60)
	}
	return time.Unix(m.GetUnixSeconds(), int64(m.GetNanos())).In(zone), true
}

var rfc3339Form = regexp.MustCompile(`^(\d{4}-\d\d-\d\d)[Tt](\d\d):(\d\d):(\d\d)(\.\d+)?([Zz]|[+-]\d\d:\d\d)$`)

// ParseRFC3339 reads a date and time by RFC 3339, section 5.6, and nothing else.
// It refuses what time.Parse takes beyond it: a comma before the fraction, an
// hour of one digit, an offset of 24 hours or 60 minutes and more, and a
// fraction of more than nine digits, of which digits would be lost. A leap
// second (23:59:60) is refused, since a moment counts without them.
func ParseRFC3339(text string) (*eventv1.Moment, error) {
	f := rfc3339Form.FindStringSubmatch(text)
	if f == nil {
		return nil, fmt.Errorf("%q: %w; write it as 2025-06-01T14:05:09+02:00", clip(text), ErrNotUnderstood)
	}
	if f[4] == "60" {
		return nil, fmt.Errorf("%q is a leap second, which cannot be kept; write second 59 or the next minute", text)
	}
	if len(f[5]) > 10 {
		return nil, fmt.Errorf("%q has more than nine decimals of a second; leave the rest out", clip(text))
	}
	if zone := f[6]; len(zone) == 6 && (zone[1:3] > "23" || zone[4:6] > "59") {
		return nil, fmt.Errorf("%q: offset %s is out of range; offsets run from -23:59 to +23:59", text, zone)
	}
	t, err := time.Parse(time.RFC3339, strings.ToUpper(text))
	if err != nil {
		return nil, fmt.Errorf("%q: %s", text, outOfRange(err))
	}
	return MomentOf(t, second), nil
}

// outOfRange takes the words of the standard library that are of use.
func outOfRange(err error) string {
	var p *time.ParseError
	if errors.As(err, &p) && p.Message != "" {
		return strings.TrimPrefix(p.Message, ": ")
	}
	return "no such date or time"
}

// FormatRFC3339 prints a moment for machines in the offset it was entered in:
// RFC 3339 when it is known to the minute or better, the date alone when to the
// day, and nothing when it is not known.
func FormatRFC3339(m *eventv1.Moment) string {
	t, ok := TimeOf(m)
	switch {
	case !ok:
		return ""
	case m.GetPrecision() == day:
		return t.Format(time.DateOnly)
	}
	return t.Format(time.RFC3339Nano)
}

// FormatMoment prints a moment for people, in zone, or as entered when zone is
// nil, as precisely as it is known. A day stays the day that was meant,
// whatever the zone. What is not known prints as what was said.
func FormatMoment(m *eventv1.Moment, zone *time.Location) string {
	t, ok := TimeOf(m)
	switch {
	case !ok && m.GetSaid() != "":
		return m.GetSaid()
	case !ok:
		return "time not known"
	case m.GetPrecision() == day:
		return t.Format(time.DateOnly)
	}
	if zone != nil {
		t = t.In(zone)
	}
	if m.GetPrecision() == minute {
		return t.Format("2006-01-02 15:04")
	}
	return t.Format(time.DateTime)
}

// ParseMoment reads when something happened: RFC 3339, '2025-06-01', '2025-06-01
// 14:05', '1 June 2025', 'now', '14:05', '2:05 pm', 'today 14:05', 'yesterday',
// 'Monday', 'last Monday 9:30', '3 days ago', 'last week'. What has no offset is
// in now's zone; weekdays and bare dates are the last that have been. Words are
// kept in said. 'last week' and the like are understood but say no day: their
// precision is unknown.
func ParseMoment(text string, now time.Time) (*eventv1.Moment, error) {
	return parseMoment(text, now, false)
}

// ParseDue reads when something is to happen: as ParseMoment, but weekdays and
// bare times are the next to come, and there is 'tomorrow' and 'in 3 days'.
func ParseDue(text string, now time.Time) (*eventv1.Moment, error) {
	return parseMoment(text, now, true)
}

// KeepMoment is ParseMoment, but what it does not understand is kept as said,
// with its precision unknown. What is understood and cannot be, as 30 February,
// is still refused.
func KeepMoment(text string, now time.Time) (*eventv1.Moment, error) {
	m, err := ParseMoment(text, now)
	if errors.Is(err, ErrNotUnderstood) && strings.TrimSpace(text) != "" {
		return &eventv1.Moment{Precision: unknown, Said: strings.TrimSpace(text)}, nil
	}
	return m, err
}

func parseMoment(text string, now time.Time, ahead bool) (*eventv1.Moment, error) {
	said := strings.TrimSpace(text)
	if rfc3339Form.MatchString(said) {
		return ParseRFC3339(said)
	}
	p := momentParser{now: now, ahead: ahead, said: said}
	m, err := p.parse(strings.Fields(strings.ToLower(spellSpaces.Replace(said))))
	if err != nil {
		return nil, fmt.Errorf("%q: %w", clip(said), err)
	}
	m.Said = said
	return m, nil
}
