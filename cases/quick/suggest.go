package quick

import (
	"slices"
	"strings"
)

// keywords long enough that one wrong letter does not make another common word.
var keywords = []string{
	"running", "cranking", "driving", "commanded", "unplugged", "jumped", "loaded", "should", "because", "covers", "inconclusive",
	"concern", "yesterday", "before", "supply", "failed", "passed", "ignition", "acting", "black", "accessory",
	"across", "between", "idling", "engine",
}

// nearKeyword is the keyword that key is one slip away from; empty when there
// is none or key is that keyword.
func nearKeyword(key string) string {
	key = strings.TrimRight(key, "?!.'")
	if len(key) < 4 || slices.Contains(keywords, key) || slices.Contains(notSlips, key) {
		return ""
	}
	for _, k := range keywords {
		if key[0] == k[0] && distance(key, k, 1) <= 1 {
			return k
		}
	}
	return ""
}

// notSlips are words in their own right that stand one letter from a keyword.
var notSlips = []string{"cover", "covered", "loader", "load", "blank", "block", "slack", "jumper", "pass", "fail", "fails", "supple", "command", "concerns", "supplies", "bump", "bumped", "engines"}

// runTogether is the keyword that stands inside a longer word; empty when there
// is none.
func runTogether(key string) string {
	for _, k := range []string{"running", "cranking", "commanded", "unplugged", "keyon", "keyoff", "ignition", "idling"} {
		if strings.Contains(key, k) && len(key) > len(k)+1 && !strings.ContainsAny(key, "-.0123456789") {
			return k
		}
	}
	return ""
}

// nearOutcome is the word for an outcome that key is one slip away from.
func nearOutcome(key string) string {
	if len(key) < 3 || slices.Contains([]string{"fall", "foil", "fair", "past", "pads", "paths", "idler", "idles"}, key) {
		return ""
	}
	for _, k := range []string{"pass", "fail", "passed", "failed", "idle"} {
		if key != k && key[0] == k[0] && distance(key, k, 1) == 1 {
			return k
		}
	}
	return ""
}

// distance is the number of slips (a letter more, less, wrong, or two changed
// places) between a and b; limit+1 when it is more than limit.
func distance(a, b string, limit int) int {
	x, y := []rune(a), []rune(b)
	if len(x)-len(y) > limit || len(y)-len(x) > limit {
		return limit + 1
	}
	var before []int
	last := make([]int, len(y)+1)
	for j := range last {
		last[j] = j
	}
	for i := 1; i <= len(x); i++ {
		row := make([]int, len(y)+1)
		row[0] = i
		for j := 1; j <= len(y); j++ {
			cost := 1
			if x[i-1] == y[j-1] {
				cost = 0
			}
			row[j] = min(row[j-1]+1, last[j]+1, last[j-1]+cost)
			if i > 1 && j > 1 && x[i-1] == y[j-2] && x[i-2] == y[j-1] {
				row[j] = min(row[j], before[j-2]+1)
			}
		}
		before, last = last, row
	}
	return min(last[len(y)], limit+1)
}
