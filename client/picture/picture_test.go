package picture

import (
	"bytes"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/rogpeppe/go-internal/txtar"
	"github.com/stretchr/testify/require"

	"knowngood.example/cases"
	"knowngood.example/cases/circuit"
	"knowngood.example/cases/path"
	"knowngood.example/cases/scenario"
)

var drawings = filepath.Join("..", "..", "testdata", "drawn")

// judged is one of the invented cases with a drawing.
func judged(t testing.TB, file string) *cases.Judged {
	t.Helper()
	a, err := txtar.ParseFile(file)
	require.NoError(t, err)
	s, err := scenario.Read(string(a.Files[0].Data))
	require.NoError(t, err)
	c, err := s.Case()
	require.NoError(t, err)
	return c.Judge(nil)
}

// seen is all text of a picture that is shown, with single spaces.
func seen(t testing.TB, svg []byte) string {
	all, _, _ := marks(t, svg)
	var out []string
	for _, m := range all {
		if m.text {
			out = append(out, m.what)
		}
	}
	return strings.Join(out, " ")
}

// heard is what a screen reader comes by, in its order.
func heard(t testing.TB, svg []byte) (out []string) {
	d := xml.NewDecoder(bytes.NewReader(svg))
	for {
		token, err := d.Token()
		if errors.Is(err, io.EOF) {
			return out
		}
		require.NoError(t, err)
		if x, ok := token.(xml.StartElement); ok && (x.Name.Local == "title" || x.Name.Local == "desc") {
			text, err := d.Token()
			require.NoError(t, err)
			said, _ := text.(xml.CharData)
			out = append(out, string(said))
		}
	}
}

// TestCase: the pictures of every invented case with a drawing show what is known of it, at
// both widths, without overlaps and as it is joined.
func TestCase(t *testing.T) {
	t.Parallel()
	files, err := filepath.Glob(filepath.Join(drawings, "*.txtar"))
	require.NoError(t, err)
	require.Greater(t, len(files), 15)
	kinds := map[NoteKind]int{}
	for _, file := range files {
		j := judged(t, file)
		pictures := Case(j)
		require.Len(t, pictures, len(j.Circuits()), file)
		for i, c := range pictures {
			for _, width := range []int{360, 1280} {
				svg := Of(c, width, nil)
				free(t, file, svg)
				readBack(t, file, c, float64(width))
				shown := seen(t, svg)
				said := strings.Join(heard(t, svg), "\n")
				for _, e := range j.Circuits()[i].Elements {
					require.Contains(t, said, e.GetComponent(), file)
					require.Contains(t, strings.ReplaceAll(shown, " ", ""), strings.ReplaceAll(e.GetComponent()+e.GetColour(), " ", ""))
				}
				for _, n := range notes(c) {
					require.Contains(t, strings.ReplaceAll(shown, " ", ""), strings.ReplaceAll(n.Text+n.More, " ", ""), file)
					require.Contains(t, said, n.Text, file)
					kinds[n.Kind]++
					if n.Kind == Proven { // never without the way, the entries and their conditions
						require.Regexp(t, `^proven not \w`, n.Text, file)
						require.Regexp(t, `^#\d+(, #\d+)* \w`, n.More, file)
					}
				}
				require.NotRegexp(t, `\bgood\b`, shown, file)
			}
		}
		// Every reading with a lead on a drawing stands on it, by its number.
		all := fmt.Sprint(pictures)
		for _, r := range j.Reads() {
			require.Contains(t, all, fmt.Sprintf("#%d %s", r.Step.Seq, cases.ReadingWords(r.Step.Says.GetReading())), file)
		}
	}
	for k := Fits; k <= Trouble; k++ {
		require.NotZero(t, kinds[k], "no case with a note that %ss", k.class())
	}
}

func notes(c Circuit) []Note {
	out := c.Notes
	for _, p := range c.Points {
		out = append(out, p.Notes...)
	}
	for _, e := range c.Elements {
		out = append(out, e.Notes...)
		if e.Suspect != "" {
			out = append(out, Note{Text: "suspect, " + e.Suspect})
		}
	}
	return out
}

// TestStretch: the suspects have their probability, and what is said of them together.
func TestStretch(t *testing.T) {
	t.Parallel()
	c := Case(judged(t, filepath.Join(drawings, "13-parallel-path-fools-ohms.txtar")))[0]
	svg := Of(c, 1280, nil)
	require.Contains(t, seen(t, svg), "The trouble is here (over 99 %): lamp left.")
	require.Contains(t, seen(t, svg), "lamp left 21 W suspect, over 99 % proven bad, open #11")
	require.Equal(t, 1, bytes.Count(svg, []byte(`class="band"`)))
}

// TestOrder: a screen reader comes by everything from plus to minus, branch by branch.
func TestOrder(t *testing.T) {
	t.Parallel()
	c, _, err := Sketch("batt+ > fuse F7 10A > 2 m brown/white > splice S1 > (left.1 > lamp left 21W); lamp right > gnd G3\npoint left.1: brown, pin 2, behind the radiator")
	require.NoError(t, err)
	require.Len(t, c, 1)
	for _, width := range []int{360, 1280} {
		said := heard(t, Of(c[0], width, nil))
		require.Equal(t, "Circuit as drawn", said[0])
		at := -1
		for _, want := range []string{"batt+", "fuse F7; 10 A; from", "brown/white wire; 2 m; from fuse F7 out to splice S1 in", "splice S1;", "left.1; contact; brown; pin 2; behind the radiator; from", "lamp left; 21 W; from", "lamp right; from", "gnd G3; from gnd G3 in to batt-"} {
			found := false
			for i := at + 1; i < len(said) && !found; i++ {
				if strings.HasPrefix(said[i], want) {
					at, found = i, true
				}
			}
			require.True(t, found, "%q does not come behind %q in %q", want, said[max(at, 0)], said)
		}
	}
	require.Contains(t, seen(t, Of(c[0], 360, nil)), "brown, pin 2, behind the radiator")
}

// TestHostile: whatever a name holds, it is text and nothing else.
func TestHostile(t *testing.T) {
	t.Parallel()
	names := []string{
		`</text><script>alert(1)</script>`, `"><image href=x onerror=alert(1)>`, `' onload='alert(1)`, `]]><!--`, `&#60;b&#62;`, "javascript:alert(1)",
		"a\x00b\x1b[31m", "right \u202eto left\u2066", "line\nbreak\u2028", "\xff\xfe", strings.Repeat("z\u0301", 300), "{{.}} ${x}",
	}
	plain := elements(t, Of(hostile([]string{"a", "b", "c", "d", "e", "f", "g", "h", "i", "j", "k", "l"}), 360, func(p string) string { return "?at=" + p }))
	svg := Of(hostile(names), 360, func(p string) string { return "?at=" + p })
	require.Equal(t, plain, elements(t, svg), "names make nothing but text")
	for _, n := range names[:6] {
		require.Contains(t, strings.ReplaceAll(seen(t, svg), " ", ""), strings.ReplaceAll(n, " ", ""))
	}
	require.NotContains(t, string(svg), "\u202e")
	require.NotContains(t, string(svg), "\x00")
	require.NotContains(t, string(svg), ` style="`)
	free(t, "hostile", svg)
	free(t, "no room", Of(hostile(names), 0, nil))
}

func hostile(names []string) Circuit {
	c := Circuit{ID: `x" onload="`, Title: names[0], Description: names[1], Points: []Point{{Name: "batt-"}, {Name: "batt+"}}}
	for i, n := range names {
		c.Points = append(c.Points, Point{Name: n + " here", Says: []string{n}, Notes: []Note{{Text: n, More: n}}})
		c.Elements = append(c.Elements, Element{Name: n, Kind: circuit.Lamp, From: i + 1, To: i + 2, Colour: n, Says: []string{n}, Suspect: n})
	}
	return c
}

// elements counts the elements and attributes of a picture by name, but the texts, of which
// longer names take more.
func elements(t testing.TB, svg []byte) map[string]int {
	out := map[string]int{}
	d := xml.NewDecoder(bytes.NewReader(svg))
	for {
		token, err := d.Token()
		if errors.Is(err, io.EOF) {
			return out
		}
		require.NoError(t, err)
		if x, ok := token.(xml.StartElement); ok && x.Name.Local != "text" {
			out[x.Name.Local]++
			for _, a := range x.Attr {
				out[x.Name.Local+" "+a.Name.Local]++
			}
		}
	}
}

// TestSketch: what a line draws is seen while it is typed, and what is wrong with it is
// told as everywhere.
func TestSketch(t *testing.T) {
	t.Parallel()
	c, warnings, err := Sketch("batt+ > fuse F7 10A > lamp A")
	require.NoError(t, err)
	require.NotEmpty(t, warnings, "it leads nowhere")
	require.Contains(t, seen(t, Of(c[0], 360, nil)), "leads nowhere in the drawing")
	_, _, err = Sketch("batt+ > > lamp A")
	var wrong *path.Error
	require.ErrorAs(t, err, &wrong)
	c, _, err = Sketch("batt+ > fuse F1 > lamp A > gnd G1\nbatt+ > fuse F2 > lamp B > gnd G2")
	require.NoError(t, err)
	require.Len(t, c, 2, "what nothing but a post joins is two circuits")
}

// TestPointsLead: each point that is drawn leads where the page says, and is big enough.
func TestPointsLead(t *testing.T) {
	t.Parallel()
	c, _, err := Sketch("batt+ > fuse F7 10A > bcm.C3-14 > lamp A > gnd G1")
	require.NoError(t, err)
	svg := string(Of(c[0], 360, func(p string) string { return "?read=" + p }))
	for _, p := range []string{"batt+", "fuse F7 in", "fuse F7 out", "bcm.C3-14", "gnd G1 in"} {
		require.Contains(t, svg, `<a href="?read=`+p)
	}
	require.NotContains(t, string(Of(c[0], 360, nil)), "<a ")
}

// TestInBrowser lets a browser lay out the letters, in the widest face that is there, and
// looks for texts that lie on each other or outside.
func TestInBrowser(t *testing.T) {
	t.Parallel()
	browser, err := exec.LookPath("chromium")
	if err != nil {
		t.Skip("no chromium to lay out letters with")
	}
	if testing.Short() {
		t.Skip("takes a browser's start")
	}
	var page strings.Builder
	page.WriteString(`<!DOCTYPE html><meta charset="utf-8"><style>svg text { font-family: "DejaVu Sans", Verdana, sans-serif }</style><body>`)
	n := 0
	for _, shape := range shapes {
		for _, size := range []int{6, 20, 40} {
			c := sketch(uint64(size), shape, size)
			for _, width := range []int{360, 1280} {
				page.Write(Of(c, width, nil))
				n++
			}
		}
	}
	page.WriteString(`<pre id="found"></pre><script>
let out = [], seen = 0;
for (const svg of document.querySelectorAll("svg")) {
  const boxes = [...svg.querySelectorAll("text")].map(t => { const b = t.getBBox(); b.what = t.textContent; return b; });
  const wide = +svg.getAttribute("width");
  seen += boxes.length;
  boxes.forEach((a, i) => {
    if (a.x < 0 || a.x + a.width > wide) out.push(a.what + " lies outside");
    for (const b of boxes.slice(i + 1))
      if (a.x < b.x + b.width && b.x < a.x + a.width && a.y < b.y + b.height - 0.5 && b.y < a.y + a.height - 0.5) out.push(a.what + " lies on " + b.what);
  });
}
document.getElementById("found").textContent = "seen " + seen + "; " + out.length + " wrong: " + out.slice(0, 5).join("; ");
</script>`)
	file := filepath.Join(t.TempDir(), "pictures.html")
	require.NoError(t, os.WriteFile(file, []byte(page.String()), 0o600))
	got, err := exec.Command(browser, "--headless", "--no-sandbox", "--user-data-dir="+t.TempDir(), "--dump-dom", "file://"+file).Output()
	require.NoError(t, err)
	found := regexp.MustCompile(`<pre id="found">(.*?)</pre>`).FindSubmatch(got)
	require.NotNil(t, found, "the page did not run")
	require.Regexp(t, `^seen \d{3,}; 0 wrong: $`, string(found[1]), "%d pictures", n)
}

// BenchmarkSketch draws a line of 40 elements, from text to bytes, as while it is typed.
func BenchmarkSketch(b *testing.B) {
	line := "batt+ > fuse F7 10A > splice S0"
	for i := range 6 {
		line += fmt.Sprintf(" > c%d.1 > 2 m brown > inline %d", i, i)
	}
	line += " > splice S1 > (a.1 > lamp A 21W > a.2); (b.1 > lamp B 21W > b.2); (d.1 > motor D 7A > d.2) > splice S2 > gnd G1"
	c, _, err := Sketch(line)
	require.NoError(b, err)
	n := len(c[0].Elements)
	require.GreaterOrEqual(b, n, 40)
	for b.Loop() {
		c, _, err := Sketch(line)
		if err != nil {
			b.Fatal(err)
		}
		Of(c[0], 360, nil)
	}
	b.ReportMetric(float64(n), "elements")
}

// TestBeforeRepair: what was read across something before it was mended is said to be from
// before, with what mended it, and what was read since is not.
func TestBeforeRepair(t *testing.T) {
	t.Parallel()
	shown := fmt.Sprint(Case(judged(t, filepath.Join(drawings, "12-stale-after-repair.txtar"))))
	for _, says := range []string{
		"{#4 0.05 V drop, red inline 9 in, black inline 9 out: as it should be before it was repaired, #9; ",
		"{#5 0.03 V drop, red inline 9 in, black inline 9 out: as it should be before it was repaired, #9; ",
		"{#6 2.5 V drop, red gnd G12 in, black batt-: not as it should be before it was repaired, #7; ",
		"{#8 0.05 V drop, red gnd G12 in, black batt-: as it should be key on",
	} {
		require.Contains(t, regexp.MustCompile(`\{\d+ #`).ReplaceAllString(shown, "{#"), says)
	}
	require.Equal(t, 3, strings.Count(shown, "before it was"))
}
