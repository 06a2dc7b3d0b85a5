// Package paper writes a document as PDF, so that a shop can print or send it without a
// browser. What it says is decided by package brief: words, order and marks are those of
// brief.Document.Text, and nothing is added but page numbers.
//
// # The page
//
// A4, 15 mm of margin, one column. The type is Go Regular and Go Bold (embedded, from
// golang.org/x/image; Bigelow & Holmes, under the licence of that module), which has Latin with all accents, Greek,
// Cyrillic, ohm, micro and minus. A character that it has not is written as its number,
// '[U+7EE7]', so that nothing is left out unseen.
//
// Of the sizes from 10 down to 7.5 points the largest is taken that fits on one page. What fits
// with none of them is set in 9 points on as many pages as it needs, each with its number at
// the foot. A heading is never the last line of a page.
//
// The same document and the same moment give the same bytes. The file says its title and its
// language; it has no tags for a screen reader: the page in the browser and the plain text do.
package paper

import (
	"bytes"
	"fmt"
	"strings"
	"time"
	"unicode"

	"codeberg.org/go-pdf/fpdf"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/sfnt"

	"knowngood.example/cases/brief"
)

const (
	margin  = 15.0 // millimetres
	leading = 1.3
	point   = 25.4 / 72 // of a point in millimetres
	face    = "go"
)

// sizes to try, in points; the last is for what needs more than a page.
var sizes = []float64{10, 9, 8.5, 8, 7.5, 9}

// PDF is the document as a file of that format, made at the moment.
func PDF(d *brief.Document, made time.Time) ([]byte, error) {
	letters, err := sfnt.Parse(goregular.TTF)
	if err != nil {
		return nil, fmt.Errorf("cannot read the type that is built in: %w", err)
	}
	for i, size := range sizes {
		p := &sheet{Fpdf: fpdf.New("P", "mm", "A4", ""), letters: letters, size: size}
		p.begin(d.Title, made)
		p.document(d)
		if p.PageCount() > 1 && i < len(sizes)-1 {
			continue
		}
		var b bytes.Buffer
		if err := p.Output(&b); err != nil {
			return nil, fmt.Errorf("cannot write the PDF: %w", err)
		}
		return b.Bytes(), nil
	}
	return nil, fmt.Errorf("cannot write the PDF: no size of type to try")
}

// sheet is a document while it is set.
type sheet struct {
	*fpdf.Fpdf
	letters *sfnt.Font
	buffer  sfnt.Buffer
	size    float64 // of the type, in points
}

func (p *sheet) begin(title string, made time.Time) {
	p.AddUTF8FontFromBytes(face, "", goregular.TTF)
	p.AddUTF8FontFromBytes(face, "B", gobold.TTF)
	p.SetCatalogSort(true)
	p.SetCreationDate(made)
	p.SetModificationDate(made)
	p.SetProducer("knowngood", true)
	p.SetTitle(p.plain(title), true)
	p.SetLang("en")
	p.SetMargins(margin, margin, margin)
	p.SetAutoPageBreak(true, margin)
	p.AliasNbPages("{pages}")
	p.SetFooterFunc(func() {
		p.SetY(-margin + 4)
		p.SetFont(face, "", 7.5)
		p.CellFormat(0, 4, fmt.Sprintf("page %d of {pages}", p.PageNo()), "", 0, "R", false, 0, "")
	})
	p.AddPage()
}

func (p *sheet) document(d *brief.Document) {
	p.text("B", p.size+3, 0, "", d.Title)
	full := true
	for _, s := range d.Sections {
		if full || len(s.Lines) > 0 {
			p.Ln(p.size * point * 0.6)
		}
		if full = len(s.Lines) > 0; !full {
			p.text("", p.size, 0, "", s.Title+": "+s.None)
			continue
		}
		p.head(s.Title)
		for _, l := range s.Lines {
			p.text("", p.size, 4, "\u2022", l.String())
		}
	}
	if len(d.Cautions) > 0 {
		p.Ln(p.size * point * 0.6)
		p.head("Take care")
		for _, c := range d.Cautions {
			p.text("", p.size, 4, "!", c)
		}
	}
}

// head is a heading with room behind it for a line at least.
func (p *sheet) head(title string) {
	_, height := p.GetPageSize()
	if p.GetY()+3*p.size*point*leading > height-margin {
		p.AddPage()
	}
	p.text("B", p.size+1, 0, "", title)
}

// text sets a paragraph, in by so many millimetres, with a sign before its first line.
func (p *sheet) text(style string, size, in float64, sign, words string) {
	p.SetFont(face, style, size)
	high := size * point * leading
	if sign != "" {
		_, height := p.GetPageSize()
		if p.GetY()+high > height-margin {
			p.AddPage()
		}
		p.SetX(margin)
		p.CellFormat(in, high, sign, "", 0, "L", false, 0, "")
	}
	p.SetLeftMargin(margin + in)
	p.SetX(margin + in)
	p.MultiCell(0, high, p.plain(words), "", "L", false)
	p.SetLeftMargin(margin)
	p.SetX(margin)
}

// plain is text with single spaces; what the type has no letter for stands there as a number.
func (p *sheet) plain(s string) string {
	var b strings.Builder
	for _, r := range strings.Join(strings.Fields(s), " ") {
		g, err := p.letters.GlyphIndex(&p.buffer, r)
		if r == ' ' || err == nil && g != 0 && !unicode.Is(unicode.C, r) {
			b.WriteRune(r)
		} else {
			fmt.Fprintf(&b, "[U+%04X]", r)
		}
	}
	return b.String()
}
