package notation

import (
	"fmt"
	"strings"
)

// Severity of a doubt about something that can nevertheless be kept.
type Severity int

// Fine: no doubt. Warning: worth a remark. Error: almost surely mistyped; ask to
// look again.
const (
	Fine Severity = iota
	Warning
	Error
)

// VIN is a vehicle identification number of 17 characters.
type VIN struct {
	// Text in upper case.
	Text string
	// Check is what character 9 should be by 49 CFR 565.15(c): '0' to '9' or 'X'.
	Check byte
}

const (
	vinLength = 17
	// Model year codes of 49 CFR 565.15, table VII, from 1980 and again from 2010.
	vinYears = "ABCDEFGHJKLMNPRSTVWXY123456789"
)

// ParseVIN reads a VIN, in either case, with spaces and hyphens passed over. It
// refuses another length than 17 and characters that no VIN has, among them I, O
// and Q. Whether the check digit fits is for Doubt to say.
func ParseVIN(text string) (VIN, error) {
	s := strings.ToUpper(strings.NewReplacer(" ", "", "-", "", "\u00A0", "").Replace(text))
	sum := 0
	for i, r := range s {
		value := vinValue(r)
		switch {
		case r == 'I' || r == 'O' || r == 'Q':
			return VIN{}, fmt.Errorf("%q: character %d is %c, which no VIN has, since it looks like a digit; is it %c?", clip(text), i+1, r, map[rune]rune{'I': '1', 'O': '0', 'Q': '0'}[r])
		case value < 0:
			return VIN{}, fmt.Errorf("%q: character %d is %q; a VIN has the digits and the letters but I, O and Q", clip(text), i+1, r)
		case i < vinLength:
			sum += value * vinWeight(i)
		}
	}
	if len(s) != vinLength {
		return VIN{}, fmt.Errorf("%q has %d characters; a VIN has 17; an older chassis number goes into a note", clip(text), len(s))
	}
	return VIN{Text: s, Check: "0123456789X"[sum%11]}, nil
}

// vinValue is a character's value by 49 CFR 565.15, table III; -1 when it has
// none.
func vinValue(r rune) int {
	switch {
	case r >= '0' && r <= '9':
		return int(r - '0')
	case r >= 'A' && r <= 'H':
		return int(r-'A') + 1
	case r >= 'J' && r <= 'N':
		return int(r-'J') + 1
	case r == 'P' || r == 'R':
		return int(r-'P') + 7
	case r >= 'S' && r <= 'Z':
		return int(r-'S') + 2
	}
	return -1
}

// vinWeight is the weight of a place by 49 CFR 565.15, table IV; the check digit
// itself weighs nothing.
func vinWeight(i int) int {
	return [vinLength]int{8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2}[i]
}

// Fits reports whether character 9 is the check digit.
func (v VIN) Fits() bool { return v.Text[8] == v.Check }

// NorthAmerica reports whether the VIN was given out there: it begins with 1 to
// 5 (ISO 3780). There the check digit is law.
func (v VIN) NorthAmerica() bool { return v.Text[0] >= '1' && v.Text[0] <= '5' }

// Doubt says what is wrong with a VIN whose check digit does not fit: an Error in
// North America, elsewhere, where makers need not give one, a Warning.
func (v VIN) Doubt() (Severity, string) {
	if v.Fits() {
		return Fine, ""
	}
	if v.NorthAmerica() {
		return Error, fmt.Sprintf("VIN %s: the check digit in place 9 is %c and should be %c; look at the plate again", v.Text, v.Text[8], v.Check)
	}
	return Warning, fmt.Sprintf("VIN %s: place 9 is %c; were it a check digit it would be %c; not every maker outside North America gives one", v.Text, v.Text[8], v.Check)
}

// ModelYears are the years that place 10 may stand for (49 CFR 565.15, table
// VII), the earlier first; none when it stands for no year. Of a light vehicle
// (car, or multipurpose vehicle or truck of at most 4,536 kg) place 7 tells which:
// a digit until 2009, a letter from 2010. Makers outside North America need not
// keep to it.
func (v VIN) ModelYears(light bool) []int {
	i := strings.IndexByte(vinYears, v.Text[9])
	if i < 0 {
		return nil
	}
	years := []int{1980 + i, 2010 + i}
	if !light {
		return years
	}
	if v.Text[6] >= '0' && v.Text[6] <= '9' {
		return years[:1]
	}
	return years[1:]
}
