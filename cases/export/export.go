package export

import (
	"bufio"
	"bytes"
	"encoding/base64"
	"encoding/json"
	"errors"
	"fmt"
	"io"

	"google.golang.org/protobuf/encoding/protojson"

	"knowngood.example/cases/envelope"
)

// maxLine is the longest line that is read: an event of 64 KiB, three times over.
const maxLine = 1 << 20

// Head is the first line.
type Head struct {
	Version int    `json:"knowngood_export"`
	Log     string `json:"log,omitempty"`
	Case    string `json:"case"`
	// Entries the file was written with, so that one cut short is noticed.
	Entries    int      `json:"entries"`
	LogKey     string   `json:"log_key,omitempty"`
	Checkpoint string   `json:"checkpoint,omitempty"`
	Devices    []Device `json:"devices,omitempty"`
	Shops      []Shop   `json:"shops,omitempty"`
	People     []Person `json:"people,omitempty"`
}

// Device with the key that its signatures fit.
type Device struct {
	Device string `json:"device"`
	Key    []byte `json:"key"`
	Person string `json:"person,omitempty"`
	// Held: the server holds its key, for a tablet. Nobody signs this.
	Held bool `json:"held_by_server,omitempty"`
}

// Shop and its name.
type Shop struct {
	Shop string `json:"shop"`
	Name string `json:"name"`
}

// Person and their name.
type Person struct {
	Person string `json:"person"`
	Name   string `json:"name"`
	Shop   string `json:"shop,omitempty"`
	Role   string `json:"role,omitempty"`
	// Left: no longer works there.
	Left bool `json:"left,omitempty"`
}

// Line is one entry.
type Line struct {
	Entry     []byte          `json:"entry"`
	Event     []byte          `json:"event,omitempty"`
	Signature []byte          `json:"signature,omitempty"`
	Proof     [][]byte        `json:"proof,omitempty"`
	View      json.RawMessage `json:"view,omitempty"`
}

// Export is a case with its entries by seq.
type Export struct {
	Head  Head
	Lines []Line
}

// Problem is something that does not hold, at a line counted from 1.
type Problem struct {
	Line int
	What string
	// Says is what follows from it, where anything does: who stands by what is there,
	// by whom it cannot have been changed, and since when.
	Says string
}

func (p Problem) Error() string { return fmt.Sprintf("line %d: %s", p.Line, p.What) }

// View is an event as protojson; nil when it cannot be shown so.
func View(event []byte) json.RawMessage {
	if len(event) == 0 {
		return nil
	}
	o, err := envelope.Open(event)
	if err != nil {
		return nil
	}
	b, err := protojson.Marshal(o.Event)
	if err != nil {
		return nil
	}
	// protojson varies its spaces from build to build on purpose.
	var out bytes.Buffer
	if json.Compact(&out, b) != nil {
		return nil
	}
	return out.Bytes()
}

// Write writes the lines as they are.
func Write(w io.Writer, x *Export) error {
	head := x.Head
	head.Version = 1
	if head.Entries == 0 {
		head.Entries = len(x.Lines)
	}
	if err := writeLine(w, head); err != nil {
		return err
	}
	for _, l := range x.Lines {
		if err := writeLine(w, l); err != nil {
			return err
		}
	}
	return nil
}

func writeLine(w io.Writer, v any) error {
	b, err := json.Marshal(v)
	if err != nil {
		return fmt.Errorf("cannot write an export line: %w", err)
	}
	if _, err := w.Write(append(b, '\n')); err != nil {
		return fmt.Errorf("cannot write the export: %w", err)
	}
	return nil
}

// Read reads the lines; an error is a Problem that names one. It does not check
// what they say: Verify does.
func Read(r io.Reader) (*Export, error) {
	x := new(Export)
	in := bufio.NewReaderSize(r, 64<<10)
	for n := 1; ; n++ {
		line, err := ReadLine(in)
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			return nil, Problem{Line: n, What: err.Error()}
		}
		if n == 1 {
			if err := json.Unmarshal(line, &x.Head); err != nil {
				return nil, Problem{Line: n, What: "not an export: " + jsonSays(err)}
			}
			if x.Head.Version != 1 {
				return nil, Problem{Line: n, What: fmt.Sprintf("not an export this program reads: the first line must say \"knowngood_export\":1 and says %d", x.Head.Version)}
			}
			continue
		}
		if len(line) == 0 {
			continue
		}
		var l Line
		if err := json.Unmarshal(line, &l); err != nil {
			return nil, Problem{Line: n, What: "not an entry of an export: " + jsonSays(err)}
		}
		if len(l.Entry) == 0 {
			return nil, Problem{Line: n, What: "it has no \"entry\": this is no line of an export (hand-written lines go through 'knowngood import')"}
		}
		x.Lines = append(x.Lines, l)
	}
	if x.Head.Version == 0 {
		return nil, Problem{Line: 1, What: "the file is empty: an export begins with a line that says \"knowngood_export\":1"}
	}
	return x, nil
}

// ReadLine reads one line without its end, io.EOF when there is none; a line of
// more than 1 MiB is refused.
func ReadLine(r *bufio.Reader) ([]byte, error) {
	var line []byte
	for {
		part, err := r.ReadSlice('\n')
		line = append(line, part...)
		switch {
		case len(line) > maxLine:
			return nil, fmt.Errorf("longer than %d bytes", maxLine)
		case errors.Is(err, bufio.ErrBufferFull):
			continue
		case errors.Is(err, io.EOF) && len(line) == 0:
			return nil, io.EOF
		case err != nil && !errors.Is(err, io.EOF):
			return nil, fmt.Errorf("cannot be read: %w", err)
		}
		return bytes.TrimSpace(line), nil
	}
}

func jsonSays(err error) string {
	var syntax *json.SyntaxError
	var typed *json.UnmarshalTypeError
	var b64 base64.CorruptInputError
	switch {
	case errors.As(err, &syntax):
		return fmt.Sprintf("column %d: %v", syntax.Offset, err)
	case errors.As(err, &typed):
		return fmt.Sprintf("field %q cannot hold a %s", typed.Field, typed.Value)
	case errors.As(err, &b64):
		return fmt.Sprintf("a field is no base64: %v", err)
	default:
		return err.Error()
	}
}

// Views fills in what can be read of each line.
func (x *Export) Views() {
	for i := range x.Lines {
		x.Lines[i].View = View(x.Lines[i].Event)
	}
}
