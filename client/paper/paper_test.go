package paper_test

import (
	"bytes"
	"compress/zlib"
	"fmt"
	"io"
	"path/filepath"
	"regexp"
	"strconv"
	"strings"
	"testing"
	"time"
	"unicode/utf16"

	"github.com/rogpeppe/go-internal/txtar"
	"github.com/stretchr/testify/require"

	"knowngood.example/cases/brief"
	"knowngood.example/cases/scenario"
	"knowngood.example/client/paper"
)

var made = time.Date(2026, 11, 30, 9, 0, 0, 0, time.UTC)

var (
	stream = regexp.MustCompile(`(?s)<<[^>]*?(/Filter /FlateDecode)?[^>]*?/Length (\d+)[^>]*>>\s*stream\r?\n`)
	shown  = regexp.MustCompile(`(?s)\(((?:\\.|[^\\()])*)\) ?Tj`)
)

// texts are what a PDF shows, page by page, in the order in which it is set. Characters
// stand in it as UTF-16, which the table for reading them back must say as well.
func texts(t testing.TB, pdf []byte) (pages []string) {
	t.Helper()
	require.True(t, bytes.HasPrefix(pdf, []byte("%PDF-")))
	require.Contains(t, string(pdf), "/ToUnicode", "the text can be copied out of it")
	for _, at := range stream.FindAllSubmatchIndex(pdf, -1) {
		n, err := strconv.Atoi(string(pdf[at[4]:at[5]]))
		require.NoError(t, err)
		data := pdf[at[1] : at[1]+n]
		if at[2] >= 0 {
			z, err := zlib.NewReader(bytes.NewReader(data))
			if err != nil {
				continue
			}
			data, err = io.ReadAll(z)
			require.NoError(t, err)
		}
		var page []string
		for _, m := range shown.FindAllSubmatch(data, -1) {
			page = append(page, decoded(m[1]))
		}
		if len(page) > 0 {
			pages = append(pages, strings.Join(page, " "))
		}
	}
	return pages
}

func decoded(b []byte) string {
	var raw []byte
	for i := 0; i < len(b); i++ {
		if b[i] == '\\' {
			i++
			if b[i] == 'r' {
				raw = append(raw, '\r')
				continue
			}
		}
		raw = append(raw, b[i])
	}
	var units []uint16
	for i := 0; i+1 < len(raw); i += 2 {
		units = append(units, uint16(raw[i])<<8|uint16(raw[i+1]))
	}
	return string(utf16.Decode(units))
}

var foot = regexp.MustCompile(`page \d+ of \S+$`)

// words of a page without its foot and the signs before lines.
func words(pages []string) string {
	var out []string
	for _, p := range pages {
		for _, w := range strings.Fields(foot.ReplaceAllString(p, "")) {
			if w != "\u2022" && w != "!" {
				out = append(out, w)
			}
		}
	}
	return strings.Join(out, "")
}

// plain is the same of the plain text.
func plain(d *brief.Document) string {
	var out []string
	for _, w := range strings.Fields(d.Text()) {
		if w != "-" && w != "!" && strings.Trim(w, "=") != "" {
			out = append(out, w)
		}
	}
	return strings.Join(out, "")
}

// TestSameFacts: what stands in the PDF of each invented case is what stands in the text,
// word by word, and nothing else.
func TestSameFacts(t *testing.T) {
	t.Parallel()
	documents, one := 0, 0
	for _, folder := range []string{"judged", "drawn"} {
		files, err := filepath.Glob(filepath.Join("..", "..", "testdata", folder, "*.txtar"))
		require.NoError(t, err)
		require.Greater(t, len(files), 10)
		some := files[:8]
		if testing.Short() {
			some = files[:2]
		}
		for _, f := range some {
			a, err := txtar.ParseFile(f)
			require.NoError(t, err)
			s, err := scenario.Read(string(a.Files[0].Data))
			require.NoError(t, err)
			c, err := s.Case()
			require.NoError(t, err)
			j := c.Judge(nil)
			for _, d := range []*brief.Document{brief.Brief(j, s.Names), brief.HandBack(j, s.Names), brief.Customer(j, s.Names)} {
				pdf, err := paper.PDF(d, made)
				require.NoError(t, err)
				pages := texts(t, pdf)
				require.Equal(t, plain(d), words(pages), "%s: %s", f, d.Title)
				documents++
				if len(pages) == 1 {
					one++
				}
			}
		}
	}
	t.Logf("%d of %d documents on one page", one, documents)
	require.NotZero(t, one)
}

// TestPages: a short page is one, a long one has as many as it needs, each numbered, and
// the same document is the same file.
func TestPages(t *testing.T) {
	t.Parallel()
	short := &brief.Document{Title: "Brief", Sections: []brief.Section{{Title: "Found", Lines: []brief.Line{{Text: "a splice"}}}}}
	pdf, err := paper.PDF(short, made)
	require.NoError(t, err)
	again, err := paper.PDF(short, made)
	require.NoError(t, err)
	require.Equal(t, pdf, again)
	require.Len(t, texts(t, pdf), 1)

	long := &brief.Document{Title: "Brief", Cautions: []string{"mind the fan"}}
	for i := range 30 {
		s := brief.Section{Title: fmt.Sprint("Section ", i)}
		for k := range 12 {
			s.Lines = append(s.Lines, brief.Line{Text: strings.Repeat("what was read and where, ", 4) + fmt.Sprint(k), Entries: []uint64{uint64(k + 1)}})
		}
		long.Sections = append(long.Sections, s)
	}
	pdf, err = paper.PDF(long, made)
	require.NoError(t, err)
	pages := texts(t, pdf)
	require.Greater(t, len(pages), 3)
	require.Equal(t, plain(long), words(pages))
	for i, p := range pages {
		require.Regexp(t, fmt.Sprintf("page %d of", i+1), p)
		last := strings.TrimSpace(foot.ReplaceAllString(p, ""))
		require.NotRegexp(t, `Section \d+$`, last, "a heading at the foot of a page")
	}
}

// TestLetters: ohm, micro, minus and accents are letters; what the type has not is said by
// its number, and nothing breaks it.
func TestLetters(t *testing.T) {
	t.Parallel()
	d := &brief.Document{Title: "Ω Ω µ μ − – ° é ñ ü ø ß č ż Ж λ €"}
	pdf, err := paper.PDF(d, made)
	require.NoError(t, err)
	require.Equal(t, plain(d), words(texts(t, pdf)))

	d = &brief.Document{Title: "継 \U0001F697 \x07 (a) \\(b\\) \u202ex {pages} \xff", Sections: []brief.Section{{Title: "(", None: strings.Repeat("W", 500)}}}
	pdf, err = paper.PDF(d, made)
	require.NoError(t, err)
	got := words(texts(t, pdf))
	for _, want := range []string{"[U+7D99]", "[U+1F697]", "[U+0007]", "(a)", `\(b\)`, "[U+202E]x", strings.Repeat("W", 500)} {
		require.Contains(t, got, want)
	}
}

func BenchmarkPDF(b *testing.B) {
	a, err := txtar.ParseFile(filepath.Join("..", "..", "testdata", "drawn", "07-two-faults.txtar"))
	require.NoError(b, err)
	s, err := scenario.Read(string(a.Files[0].Data))
	require.NoError(b, err)
	c, err := s.Case()
	require.NoError(b, err)
	d := brief.Brief(c.Judge(nil), s.Names)
	var pdf []byte
	for b.Loop() {
		if pdf, err = paper.PDF(d, made); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(len(pdf)), "bytes")
}
