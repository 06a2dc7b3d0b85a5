package main

import (
	"bytes"
	"compress/zlib"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"unicode/utf16"

	"github.com/chromedp/chromedp"
	"github.com/stretchr/testify/require"
)

// pdf prints the page on paper of a size.
func (t *tab) pdf(size chromedp.PaperSize, name string) []byte {
	t.t.Helper()
	b, err := chromedp.Run(t.ctx, chromedp.PrintToPDF(chromedp.PDFPaper(size), chromedp.PDFPreferCSSPageSize(), chromedp.PDFPrintBackground()))
	require.NoError(t.t, err)
	if *shots != "" {
		require.NoError(t.t, os.WriteFile(filepath.Join(*shots, name+".pdf"), b, 0o644))
	}
	return b
}

var (
	pdfObject = regexp.MustCompile(`(?s)(?:^|\n)(\d+) 0 obj\r?\n(.*?)endobj`)
	pdfStream = regexp.MustCompile(`(?s)^(.*?)stream\r?\n`)
	pdfLength = regexp.MustCompile(`/Length (\d+)`)
	pdfFont   = regexp.MustCompile(`(?s)/Type /Font\b.*?/ToUnicode (\d+) 0 R`)
	pdfOwn    = regexp.MustCompile(`/F(\d+) (\d+) 0 R`)
	pdfPages  = regexp.MustCompile(`/Type\s*/Page\b[^s]`)
	pdfShows  = regexp.MustCompile(`(?s)/F(\w+) [\d.]+ Tf|<([0-9A-Fa-f]+)> ?Tj|\(((?:\\.|[^\\()])*)\) ?Tj`)
	pdfRanges = regexp.MustCompile(`(?s)(\d+) beginbf(char|range)(.*?)endbf`)
	pdfNumber = regexp.MustCompile(`<([0-9A-Fa-f]+)>`)
)

// printed is a PDF as far as it is read: how many pages, and what they show, in the order
// in which it is set, without spaces.
type printed struct {
	pages int
	text  string
}

// readPDF reads what a browser printed, whose letters are numbers of a font that says what
// they are, and what package paper wrote, whose letters are UTF-16.
func readPDF(t testing.TB, b []byte) printed {
	t.Helper()
	require.True(t, bytes.HasPrefix(b, []byte("%PDF-")))
	out := printed{pages: len(pdfPages.FindAll(b, -1))}
	streams, fonts := map[string][]byte{}, map[string]string{}
	var shows [][]byte
	for _, o := range pdfObject.FindAllSubmatchIndex(b, -1) {
		number, body := string(b[o[2]:o[3]]), b[o[4]:o[5]]
		if f := pdfFont.FindSubmatch(body); f != nil {
			fonts[number] = string(f[1])
		}
		head := pdfStream.FindSubmatch(body)
		if head == nil || bytes.Contains(head[1], []byte("/Length1")) || bytes.Contains(head[1], []byte("/Image")) {
			continue
		}
		n, err := strconv.Atoi(string(pdfLength.FindSubmatch(head[1])[1]))
		require.NoError(t, err)
		data := b[o[4]+len(head[0]):][:n]
		if bytes.Contains(head[1], []byte("/FlateDecode")) {
			z, err := zlib.NewReader(bytes.NewReader(data))
			require.NoError(t, err)
			data, err = io.ReadAll(z)
			require.NoError(t, err)
		}
		streams[number] = data
		if bytes.Contains(data, []byte(" Tf")) {
			shows = append(shows, data)
		}
	}
	letters := map[string]map[uint16]string{}
	for _, m := range pdfOwn.FindAllSubmatch(b, -1) {
		if unicode, is := fonts[string(m[2])]; is {
			letters[string(m[1])] = readLetters(t, streams[unicode])
		}
	}
	var text strings.Builder
	for _, page := range shows {
		var font map[uint16]string
		for _, m := range pdfShows.FindAllSubmatch(page, -1) {
			switch {
			case len(m[1]) > 0:
				font = letters[string(m[1])]
			case len(m[2]) > 0:
				raw, err := hex.DecodeString(string(m[2]))
				require.NoError(t, err)
				for k := 0; k+1 < len(raw); k += 2 {
					letter, is := font[uint16(raw[k])<<8|uint16(raw[k+1])]
					require.True(t, is, "the font says not which letter %x is", raw[k:k+2])
					text.WriteString(letter)
				}
			default:
				text.WriteString(utf16Text(m[3]))
			}
		}
	}
	out.text = squeezed(text.String())
	return out
}

// readLetters is the table by which letters are read back.
func readLetters(t testing.TB, table []byte) map[uint16]string {
	t.Helper()
	out := map[uint16]string{}
	for _, m := range pdfRanges.FindAllSubmatch(table, -1) {
		var all [][]byte
		for _, x := range pdfNumber.FindAllSubmatch(m[3], -1) {
			raw, err := hex.DecodeString(string(x[1]))
			require.NoError(t, err)
			all = append(all, raw)
		}
		number := func(b []byte) uint16 { return uint16(b[0])<<8 | uint16(b[1]) }
		step := map[string]int{"char": 2, "range": 3}[string(m[2])]
		for k := 0; k+step <= len(all); k += step {
			first, to := number(all[k]), all[k+step-1]
			for i := range number(all[k+step-2]) - first + 1 {
				units := make([]uint16, len(to)/2)
				for u := range units {
					units[u] = number(to[2*u:])
				}
				units[len(units)-1] += i
				out[first+i] = string(utf16.Decode(units))
			}
		}
	}
	return out
}

// utf16Text is a string of a PDF that holds UTF-16.
func utf16Text(b []byte) string {
	var units []uint16
	var raw []byte
	for i := 0; i < len(b); i++ {
		if b[i] == '\\' && i+1 < len(b) {
			i++
			if b[i] == 'r' {
				raw = append(raw, '\r')
				continue
			}
		}
		raw = append(raw, b[i])
	}
	for i := 0; i+1 < len(raw); i += 2 {
		units = append(units, uint16(raw[i])<<8|uint16(raw[i+1]))
	}
	return string(utf16.Decode(units))
}

// squeezed is text without spaces, signs before lines and feet of pages: where a line is
// broken is nobody's business.
func squeezed(s string) string {
	s = regexp.MustCompile(`page \d+ of (?:\{pages\}|\d+)`).ReplaceAllString(s, "")
	return strings.Join(strings.FieldsFunc(s, func(r rune) bool { return r <= ' ' || r == '\u00a0' || r == '\u2022' || r == '\u00ad' }), "")
}

// TestPrinted: what is printed from the browser, on A4 and on Letter, from the light page
// and from the dark one, says what the document says, in its order, and nothing of the page
// around it; so does -o pdf. The documents of a case of thirty entries with a circuit, and of
// the whole demonstration, take one page.
func TestPrinted(t *testing.T) {
	if testing.Short() {
		t.Skip("how pages look and print is no matter of races: without -short it is tried")
	}
	b := newBrowser(t)
	for _, lines := range []int{30, 0} {
		st := newStage(t, lines)
		link := st.page(t, "Mara")
		tb := b.tab(1280)
		tb.open(link)
		for _, name := range []string{"brief", "handback", "customer"} {
			args := []string{strings.Replace(name, "customer", "handback", 1), "--case", st.current[len(st.current)-6:]}
			if name == "customer" {
				args = append(args, "--customer")
			}
			out, err := st.as(t.Context(), "Mara", append(args, "-o", "json")...)
			require.NoError(t, err)
			var doc document
			require.NoError(t, json.Unmarshal(out, &doc))
			file, err := st.as(t.Context(), "Mara", append(args, "-o", "pdf")...)
			require.NoError(t, err)
			written := readPDF(t, file)
			require.Equal(t, 1, written.pages, "%s -o pdf", name)
			facts := inOrderIn(t, doc, written.text, name+" -o pdf")

			tb.open(at(link, "/case/"+st.current+"/"+name))
			for _, scheme := range []string{"light", "dark"} {
				tb.scheme(scheme)
				for size, paper := range map[string]chromedp.PaperSize{"A4": chromedp.PaperA4, "Letter": chromedp.PaperLetter} {
					where := fmt.Sprintf("%s of %d lines on %s, %s", name, lines, size, scheme)
					raw := tb.pdf(paper, fmt.Sprintf("%s-%d-%s-%s", name, lines, size, scheme))
					p := readPDF(t, raw)
					require.Equal(t, 1, p.pages, where)
					require.Equal(t, facts, inOrderIn(t, doc, p.text, where), where)
					for _, around := range []string{"CasePoints", "Replay", "Mara,TinKettleGarage", "PrintPDF", "customer'scopy"} {
						require.NotContains(t, p.text, around, where)
					}
					require.Empty(t, illReadable(t, raw), where)
				}
			}
			tb.scheme("light")
			t.Logf("%s of %d lines: %d facts", name, lines, facts)
		}
	}
}

// inOrderIn finds every fact of the document in what was printed, in order, and counts them.
func inOrderIn(t testing.TB, doc document, text, where string) (facts int) {
	t.Helper()
	for _, s := range doc.Sections {
		for _, l := range s.Lines {
			_, rest, found := strings.Cut(text, squeezed(l.Text))
			require.True(t, found, "%s: %s: %q is missing, or elsewhere; what is left is %.200s", where, s.Title, l.Text, text)
			text = rest
			facts++
		}
	}
	require.NotZero(t, facts, where)
	return facts
}

var pdfPaint = regexp.MustCompile(`(?m)([\d.]+) ([\d.]+) ([\d.]+) rg\b|\b([\d.]+) ([\d.]+) (-?[\d.]+) (-?[\d.]+) re\s+f|<[0-9A-Fa-f]+> Tj`)

// illReadable is what is painted darker than nearly white over more than a hair, and text
// that is pale.
func illReadable(t testing.TB, b []byte) (out []string) {
	t.Helper()
	for _, o := range pdfObject.FindAllSubmatch(b, -1) {
		head := pdfStream.FindSubmatch(o[2])
		if head == nil || !bytes.Contains(head[1], []byte("/FlateDecode")) || bytes.Contains(head[1], []byte("/Length1")) {
			continue
		}
		z, err := zlib.NewReader(bytes.NewReader(o[2][len(head[0]):]))
		require.NoError(t, err)
		data, err := io.ReadAll(z)
		require.NoError(t, err)
		dark, pale := 0.0, 0.0
		for _, m := range pdfPaint.FindAllSubmatch(data, -1) {
			number := func(k int) float64 {
				x, err := strconv.ParseFloat(string(m[k]), 64)
				require.NoError(t, err)
				return x
			}
			switch {
			case len(m[1]) > 0:
				dark, pale = min(number(1), number(2), number(3)), max(number(1), number(2), number(3))
			case len(m[4]) > 0:
				if wide, high := math.Abs(number(6)), math.Abs(number(7)); dark < 0.9 && min(wide, high) > 4 {
					out = append(out, fmt.Sprintf("painted %.2f: %s", dark, m[0]))
				}
			case pale > 0.45:
				out = append(out, fmt.Sprintf("text %.2f", pale))
			}
		}
	}
	return out
}

// TestPrintedLong: a document that needs more than a page goes on, with nothing lost or cut,
// and says as much as -o pdf does.
func TestPrintedLong(t *testing.T) {
	if testing.Short() {
		t.Skip("how pages look and print is no matter of races: without -short it is tried")
	}
	b := newBrowser(t)
	st := newStage(t, 30)
	link := st.page(t, "Ines")
	for i := range 70 {
		_, err := st.as(t.Context(), "Ines", "say", fmt.Sprintf("they say wire %d behind the bumper of the left side was found green and was mended by somebody in spring", i), "--case", st.current[len(st.current)-6:])
		require.NoError(t, err)
	}
	out, err := st.as(t.Context(), "Ines", "brief", "-o", "json", "--case", st.current[len(st.current)-6:])
	require.NoError(t, err)
	var doc document
	require.NoError(t, json.Unmarshal(out, &doc))
	tb := b.tab(1280)
	tb.open(link)
	tb.open(at(link, "/case/"+st.current+"/brief"))
	for size, paper := range map[string]chromedp.PaperSize{"A4": chromedp.PaperA4, "Letter": chromedp.PaperLetter} {
		p := readPDF(t, tb.pdf(paper, "long-"+size))
		require.Greater(t, p.pages, 1)
		require.Greater(t, inOrderIn(t, doc, p.text, size), 120)
		t.Logf("on %d pages of %s", p.pages, size)
	}
	file, err := st.as(t.Context(), "Ines", "brief", "-o", "pdf", "--case", st.current[len(st.current)-6:])
	require.NoError(t, err)
	written := readPDF(t, file)
	require.Greater(t, written.pages, 1)
	inOrderIn(t, doc, written.text, "-o pdf")
}
