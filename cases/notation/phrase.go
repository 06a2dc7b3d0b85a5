package notation

import (
	"fmt"
	"regexp"
	"strconv"
	"strings"
	"time"

	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// momentParser reads the words people use for times.
type momentParser struct {
	now   time.Time
	ahead bool
	said  string
}

var (
	dateForm  = regexp.MustCompile(`^(\d{4})-(\d\d)-(\d\d)$`)
	clockForm = regexp.MustCompile(`^(\d{1,2})(?::(\d\d))?(?::(\d\d))?(am|pm)?$`)
	slashForm = regexp.MustCompile(`^\d{1,4}[/.]\d{1,2}([/.]\d{1,4})?$`)
)

func (p momentParser) parse(words []string) (*eventv1.Moment, error) {
	if len(words) == 0 {
		return nil, fmt.Errorf("%w: it is empty", ErrNotUnderstood)
	}
	if len(words) == 1 && words[0] == "now" {
		return MomentOf(p.now, second), nil
	}
	if m, ok, err := p.span(words); ok || err != nil {
		return m, err
	}
	if len(words) == 1 {
		if d, c, ok := strings.Cut(words[0], "t"); ok && dateForm.MatchString(d) && clockForm.MatchString(c) {
			words = []string{d, c}
		}
	}
	date, rest, err := p.date(words)
	if err != nil {
		return nil, err
	}
	if len(rest) > 0 && rest[0] == "at" {
		rest = rest[1:]
	}
	bare := len(rest) == len(words) || len(words) > 0 && words[0] == "at" && len(rest) == len(words)-1
	if len(rest) == 0 {
		if bare {
			return nil, ErrNotUnderstood
		}
		return MomentOf(date, day), nil
	}
	return p.clock(date, rest, bare)
}

// span reads what is counted from now, and what is known only roughly.
func (p momentParser) span(words []string) (*eventv1.Moment, bool, error) {
	text := strings.Join(words, " ")
	switch text {
	case "last week", "last month", "last year", "last night", "this week", "a while ago", "some time ago", "next week", "next month":
		return &eventv1.Moment{Precision: unknown}, true, nil
	case "this morning", "this afternoon", "this evening", "tonight":
		return MomentOf(p.midnight(0), day), true, nil
	}
	n, unit := 0, ""
	switch {
	case len(words) == 3 && words[2] == "ago" && !p.ahead:
		n, unit = count(words[0]), words[1]
		n = -n
	case len(words) == 3 && words[0] == "in" && p.ahead:
		n, unit = count(words[1]), words[2]
	}
	if n == 0 {
		return nil, false, nil
	}
	switch strings.TrimSuffix(unit, "s") {
	case "minute", "min":
		return MomentOf(p.now.Add(time.Duration(n)*time.Minute).Truncate(time.Minute), minute), true, nil
	case "hour", "hr", "h":
		return MomentOf(p.now.Add(time.Duration(n)*time.Hour).Truncate(time.Minute), minute), true, nil
	case "day":
		return MomentOf(p.midnight(n), day), true, nil
	case "week":
		return MomentOf(p.midnight(7*n), day), true, nil
	}
	return nil, false, nil
}

func count(word string) int {
	if word == "a" || word == "an" || word == "one" {
		return 1
	}
	n, err := strconv.Atoi(word)
	if err != nil || n < 0 || n > 10000 {
		return 0
	}
	return n
}

// midnight is the start of the day so many days from now's.
func (p momentParser) midnight(days int) time.Time {
	y, m, d := p.now.Date()
	return time.Date(y, m, d+days, 0, 0, 0, 0, p.now.Location())
}

// date reads a day at the start of words; without one it is today's.
func (p momentParser) date(words []string) (time.Time, []string, error) {
	if words[0] == "on" && len(words) > 1 {
		words = words[1:]
	}
	w := strings.TrimSuffix(words[0], ",")
	switch {
	case w == "today":
		return p.midnight(0), words[1:], nil
	case w == "yesterday" && !p.ahead:
		return p.midnight(-1), words[1:], nil
	case w == "tomorrow" && p.ahead:
		return p.midnight(1), words[1:], nil
	case dateForm.MatchString(w):
		f := dateForm.FindStringSubmatch(w)
		t, err := p.ymd(atoi(f[1]), time.Month(atoi(f[2])), atoi(f[3]))
		return t, words[1:], err
	case slashForm.MatchString(w) && (strings.Contains(w, "/") || strings.Count(w, ".") == 2):
		return time.Time{}, nil, fmt.Errorf("day or month first is not the same everywhere; write the date as 2025-06-01")
	}
	last := (w == "last" || w == "next" || w == "this") && len(words) > 1
	name := w
	if last {
		name = strings.TrimSuffix(words[1], ",")
	}
	if wd, ok := weekday(name); ok {
		t, err := p.weekday(wd, last, w)
		if last {
			return t, words[2:], err
		}
		return t, words[1:], err
	}
	if t, n, err := p.monthDate(words); n > 0 || err != nil {
		return t, words[n:], err
	}
	return p.midnight(0), words, nil
}

func (p momentParser) weekday(wd time.Weekday, named bool, how string) (time.Time, error) {
	diff := int(wd - p.now.Weekday())
	if diff == 0 && !named {
		return time.Time{}, fmt.Errorf("today is %s; say today, or %s", wd, map[bool]string{false: "last " + wd.String(), true: "next " + wd.String()}[p.ahead])
	}
	if named && (how == "last") == p.ahead {
		return time.Time{}, fmt.Errorf("%q lies on the wrong side of today; write the date, as 2025-06-01", how+" "+wd.String())
	}
	if p.ahead && diff <= 0 {
		diff += 7
	} else if !p.ahead && diff >= 0 {
		diff -= 7
	}
	return p.midnight(diff), nil
}

// monthDate reads '1 June 2025', 'June 1, 2025' and both without a year; n is the
// number of words it took.
func (p momentParser) monthDate(words []string) (t time.Time, n int, err error) {
	if len(words) < 2 {
		return t, 0, nil
	}
	dayWord, monthWord := words[0], words[1]
	if _, ok := month(dayWord); ok {
		dayWord, monthWord = monthWord, dayWord
	}
	dayWord = strings.TrimRight(dayWord, ",.")
	for _, suffix := range []string{"st", "nd", "rd", "th"} {
		dayWord = strings.TrimSuffix(dayWord, suffix)
	}
	m, ok := month(monthWord)
	d, err := strconv.Atoi(dayWord)
	if !ok || err != nil || d < 0 {
		return t, 0, nil
	}
	if len(words) > 2 && len(words[2]) == 4 {
		if y, err := strconv.Atoi(words[2]); err == nil && y > 0 {
			t, err = p.ymd(y, m, d)
			return t, 3, err
		}
	}
	y := p.now.Year()
	t, err = p.ymd(y, m, d)
	switch {
	case err != nil:
	case !p.ahead && t.After(p.now):
		t, err = p.ymd(y-1, m, d)
	case p.ahead && t.Before(p.midnight(0)):
		t, err = p.ymd(y+1, m, d)
	}
	return t, 2, err
}

func (p momentParser) ymd(y int, m time.Month, d int) (time.Time, error) {
	t := time.Date(y, m, d, 12, 0, 0, 0, time.UTC)
	if t.Year() != y || t.Month() != m || t.Day() != d {
		return t, fmt.Errorf("there is no day %04d-%02d-%02d", y, int(m), d)
	}
	return time.Date(y, m, d, 0, 0, 0, 0, p.now.Location()), nil
}

// clock reads a time of day on date.
func (p momentParser) clock(date time.Time, words []string, bare bool) (*eventv1.Moment, error) {
	text := strings.Join(words, "")
	if text == "noon" {
		text = "12:00"
	}
	f := clockForm.FindStringSubmatch(strings.NewReplacer("a.m.", "am", "p.m.", "pm").Replace(text))
	if f == nil || f[2] == "" && f[4] == "" {
		return nil, fmt.Errorf("%w; write it as 2025-06-01 14:05, yesterday 14:05, Monday or 3 days ago", ErrNotUnderstood)
	}
	h, m, s := atoi(f[1]), atoi(f[2]), atoi(f[3])
	if f[4] != "" && (h < 1 || h > 12) || h > 23 || m > 59 {
		return nil, fmt.Errorf("there is no time %s; hours run to 23, minutes to 59", text)
	}
	if s > 59 {
		return nil, fmt.Errorf("there is no second %d; seconds run from 0 to 59, and a leap second cannot be kept", s)
	}
	if f[4] != "" {
		h %= 12
		if f[4] == "pm" {
			h += 12
		}
	}
	t := time.Date(date.Year(), date.Month(), date.Day(), h, m, s, 0, date.Location())
	if t.Hour() != h || t.Minute() != m {
		return nil, fmt.Errorf("the clocks were put forward: there was no %02d:%02d on %s", h, m, date.Format(time.DateOnly))
	}
	if bare && !p.ahead && t.After(p.now.Add(clockSlack)) {
		return nil, fmt.Errorf("%02d:%02d has not come yet today; say yesterday %02d:%02d, or today %02d:%02d", h, m, h, m, h, m)
	}
	if bare && p.ahead && t.Before(p.now) {
		t = t.AddDate(0, 0, 1)
	}
	if f[3] != "" {
		return MomentOf(t, second), nil
	}
	return MomentOf(t, minute), nil
}

func atoi(s string) int {
	n, _ := strconv.Atoi(s)
	return n
}

func weekday(name string) (time.Weekday, bool) {
	for d := time.Sunday; d <= time.Saturday; d++ {
		if full := strings.ToLower(d.String()); name == full || len(name) >= 3 && strings.HasPrefix(full, name) {
			return d, true
		}
	}
	return 0, false
}

func month(name string) (time.Month, bool) {
	name = strings.TrimRight(name, ".,")
	for m := time.January; m <= time.December; m++ {
		if full := strings.ToLower(m.String()); name == full || len(name) >= 3 && strings.HasPrefix(full, name) {
			return m, true
		}
	}
	return 0, false
}
