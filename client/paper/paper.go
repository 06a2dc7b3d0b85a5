// Package paper writes a document as PDF, so that a shop can print or send it without a
// browser. What it says is decided by package brief: words, order and marks are those of
// brief.Document.Text, and nothing is added but page numbers.
//
// # The page
//
// A4, 12 mm of margin, one column or two. The type is Go Regular and Go Bold (embedded, from
// golang.org/x/image; Bigelow & Holmes, under the licence of that module), which has Latin with all accents, Greek,
// Cyrillic, ohm, micro and minus. A character that it has not is written as its number,
// '[U+7EE7]', so that nothing is left out unseen.
//
// Of one column in 10 or 9 points and two in 8.5, 8, 7.5 or 7 the first is taken that fits on
// one page: in two columns less is lost at the ends of lines. What fits with none of them is
// set in two columns of 8 points on as many pages as it needs, each with its number at
// the foot. A heading is never the last line of a column.
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
	margin  = 12.0 // millimetres
	gap     = 5.0  // between two columns
	leading = 1.2
	point   = 25.4 / 72 // of a point in millimetres
	face    = "go"
)

// settings to try, the type in points; the last is for what needs more than a page.
var settings = []struct {
	columns int
	size    float64
}{{1, 10}, {1, 9}, {2, 8.5}, {2, 8}, {2, 7.5}, {2, 7}, {2, 8}}

// PDF is the document as a file of that format, made at the moment.
func PDF(d *brief.Document, made time.Time) ([]byte, error) {
	letters, err := sfnt.Parse(goregular.TTF)
	if err != nil {
		return nil, fmt.Errorf("cannot read the type that is built in: %w", err)
	}
	for i, set := range settings {
		p := &sheet{Fpdf: fpdf.New("P", "mm", "A4", ""), letters: letters, size: set.size, columns: set.columns}
		p.begin(d.Title, made)
		p.document(d)
		if p.PageCount() > 1 && i < len(settings)-1 {
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
	columns int
	at      int     // the column that is being set
	top     float64 // where the columns of this page begin
	in      float64 // how far in the paragraph stands
}

// column goes on in a column, at the height where it is.
func (p *sheet) column(n int) {
	page, _ := p.GetPageSize()
	wide := (page - 2*margin - gap*float64(p.columns-1)) / float64(p.columns)
	left := margin + float64(n)*(wide+gap)
	p.at = n
	p.SetRightMargin(page - left - wide)
	p.SetLeftMargin(left + p.in)
	p.SetX(left + p.in)
}

// full goes on in the next column; true: on the next page.
func (p *sheet) full() bool {
	if p.at+1 < p.columns {
		p.column(p.at + 1)
		p.SetY(p.top)
		return false
	}
	p.top = margin
	p.column(0)
	return true
}

// room goes on where there is room for so many millimetres.
func (p *sheet) room(high float64) {
	_, height := p.GetPageSize()
	if p.GetY()+high > height-margin && p.full() {
		p.AddPage()
		p.column(0)
	}
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
		p.SetY(-margin + 3)
		p.SetFont(face, "", 7.5)
		page, _ := p.GetPageSize()
		p.SetX(margin)
		p.CellFormat(page-2*margin, 4, fmt.Sprintf("page %d of {pages}", p.PageNo()), "", 0, "R", false, 0, "")
	})
	p.SetAcceptPageBreakFunc(p.full)
	p.AddPage()
}

func (p *sheet) document(d *brief.Document) {
	columns := p.columns
	p.columns = 1
	p.text("B", p.size+3, 0, "", d.Title)
	p.columns, p.top = columns, p.GetY()
	p.column(0)
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
	p.room(3 * p.size * point * leading)
	p.text("B", p.size+1, 0, "", title)
}

// text sets a paragraph, in by so many millimetres, with a sign before its first line.
func (p *sheet) text(style string, size, in float64, sign, words string) {
	p.SetFont(face, style, size)
	high := size * point * leading
	p.room(high)
	if sign != "" {
		p.CellFormat(in, high, sign, "", 0, "L", false, 0, "")
	}
	p.in = in
	p.column(p.at)
	p.MultiCell(0, high, p.plain(words), "", "L", false)
	p.in = 0
	p.column(p.at)
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
