package main

import (
	"fmt"
	"strings"

	"rsc.io/qr"

	"knowngood.example/cases/join"
	"knowngood.example/client"
)

// quiet is how many light modules a QR code has around it (ISO/IEC 18004).
const quiet = 4

// qrLines is a text as a QR code, two rows of modules a line. A dark module is a
// blank, so that the code stands light on a dark terminal.
func qrLines(text string) ([]string, error) {
	// In capitals a link takes the smaller of the alphabets.
	code, err := qr.Encode(strings.ToUpper(text), qr.M)
	if err != nil {
		return nil, fmt.Errorf("no QR code can hold that: %w", err)
	}
	light := func(x, y int) bool { return !code.Black(x, y) } // outside it is light
	var out []string
	for y := -quiet; y < code.Size+quiet; y += 2 {
		var b strings.Builder
		for x := -quiet; x < code.Size+quiet; x++ {
			upper, lower := light(x, y), light(x, y+1) || y+1 >= code.Size+quiet
			switch {
			case upper && lower:
				b.WriteRune('█')
			case upper:
				b.WriteRune('▀')
			case lower:
				b.WriteRune('▄')
			default:
				b.WriteRune(' ')
			}
		}
		out = append(out, b.String())
	}
	return out, nil
}

// showQR draws the code on a terminal that has room for it, in its own colours, so
// that it is dark on light whatever the terminal's are. Elsewhere it is nothing that
// anybody could scan.
func (a *app) showQR(text string) {
	if !a.show.Terminal {
		return
	}
	lines, err := qrLines(text)
	if err != nil || len(lines) == 0 || len([]rune(lines[0])) > a.show.Width {
		return
	}
	for _, l := range lines {
		if a.show.Color {
			l = "\x1b[97;40m" + l + "\x1b[0m"
		}
		fmt.Fprintln(a.out, l)
	}
}

// tellJoin says how somebody joins: by scanning, by pasting, or by what is read aloud.
func (a *app) tellJoin(who string, l join.Link) {
	fmt.Fprintf(a.out, "\n%s joins with\n  knowngood join %s --name NAME\n", client.Clean(who), l)
	a.showQR(l.String())
	fmt.Fprintf(a.out, "or, read aloud,\n  knowngood join %s --server %s --name NAME\n", l.Code, l.Addresses[0])
}
