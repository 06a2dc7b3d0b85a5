package client

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"io"
	"reflect"
	"strings"
)

// Formats that answers come in.
var Formats = []string{"table", "json", "ndjson", "csv"}

// Output is where answers go, and in which format.
type Output struct {
	W      io.Writer
	Format string
	Style
}

// Write writes rows, a slice of structs whose json names are the stable shape:
// json as one array, ndjson as one object a line, csv with the names as its first
// line; or, as a table, what table makes of them.
func (o *Output) Write(rows any, table func() Table) error {
	switch o.Format {
	case "json":
		if reflect.ValueOf(rows).Len() == 0 {
			_, err := io.WriteString(o.W, "[]\n")
			return err
		}
		return o.One(rows)
	case "ndjson":
		for v := reflect.ValueOf(rows); v.Len() > 0; v = v.Slice(1, v.Len()) {
			if err := o.Line(v.Index(0).Interface()); err != nil {
				return err
			}
		}
		return nil
	case "csv":
		return o.csv(reflect.ValueOf(rows))
	default:
		return table().Write(o.W, o.Style)
	}
}

// One writes a value as indented JSON.
func (o *Output) One(v any) error {
	b, err := json.Marshal(v)
	if err != nil {
		return fmt.Errorf("cannot write the answer: %w", err)
	}
	var out bytes.Buffer
	if err := json.Indent(&out, visible(b), "", "  "); err != nil {
		return fmt.Errorf("cannot write the answer: %w", err)
	}
	out.WriteByte('\n')
	_, err = o.W.Write(out.Bytes())
	return err
}

// Line writes a value as one line of JSON.
func (o *Output) Line(v any) error {
	b, err := json.Marshal(v)
	if err != nil {
		return fmt.Errorf("cannot write the answer: %w", err)
	}
	_, err = o.W.Write(append(visible(b), '\n'))
	return err
}

// visible escapes the characters of marshalled JSON that a terminal might obey;
// they can only stand inside strings, so the value stays the same.
func visible(b []byte) []byte {
	if bytes.IndexFunc(b, hidden) < 0 {
		return b
	}
	var out bytes.Buffer
	for _, r := range string(b) {
		if hidden(r) {
			fmt.Fprintf(&out, `\u%04x`, r)
		} else {
			out.WriteRune(r)
		}
	}
	return out.Bytes()
}

func (o *Output) csv(rows reflect.Value) error {
	w := csv.NewWriter(o.W)
	var head []string
	var fields [][]int
	for _, f := range reflect.VisibleFields(rows.Type().Elem()) {
		if f.Anonymous {
			continue // its fields come behind it
		}
		name, _, _ := strings.Cut(f.Tag.Get("json"), ",")
		head, fields = append(head, name), append(fields, f.Index)
	}
	if err := w.Write(head); err != nil {
		return fmt.Errorf("cannot write the answer: %w", err)
	}
	for i := range rows.Len() {
		row := make([]string, len(head))
		for f := range row {
			if row[f] = cell(rows.Index(i).FieldByIndex(fields[f])); o.Terminal {
				row[f] = Clean(row[f])
			}
		}
		if err := w.Write(row); err != nil {
			return fmt.Errorf("cannot write the answer: %w", err)
		}
	}
	w.Flush()
	return w.Error()
}

// cell is a field in CSV; the items of a list are parted by '; '.
func cell(v reflect.Value) string {
	if v.Kind() != reflect.Slice {
		return fmt.Sprint(v.Interface())
	}
	items := make([]string, v.Len())
	for i := range items {
		items[i] = fmt.Sprint(v.Index(i).Interface())
	}
	return strings.Join(items, "; ")
}

// Amount of money in minor units.
type Amount struct {
	Minor    int64  `json:"minor"`
	Currency string `json:"currency"`
}

func (a Amount) String() string { return fmt.Sprintf("%d %s", a.Minor, a.Currency) }
