package proving

import (
	"cmp"
	"compress/gzip"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"slices"
)

// Write writes records as compressed lines of JSON: the settings first, then the
// records in the order of strategy and case.
func Write(w io.Writer, s Settings, all []Record) error {
	z := gzip.NewWriter(w)
	lines := json.NewEncoder(z)
	if err := lines.Encode(s); err != nil {
		return err
	}
	Sort(all)
	for k := range all {
		if err := lines.Encode(&all[k]); err != nil {
			return err
		}
	}
	return z.Close()
}

// Read reads what Write wrote; of a file that ends too early, what is whole.
func Read(r io.Reader) (Settings, []Record, error) {
	var s Settings
	z, err := gzip.NewReader(r)
	if err != nil {
		return s, nil, fmt.Errorf("no records: %w", err)
	}
	lines := json.NewDecoder(z)
	if err := lines.Decode(&s); err != nil {
		return s, nil, fmt.Errorf("no settings before the records: %w", err)
	}
	var all []Record
	for {
		var one Record
		switch err := lines.Decode(&one); {
		case errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF):
			return s, all, nil
		case err != nil:
			return s, all, fmt.Errorf("record %d: %w", len(all)+1, err)
		}
		all = append(all, one)
	}
}

// Sort puts records in the order of strategy and case.
func Sort(all []Record) {
	slices.SortFunc(all, func(a, b Record) int {
		return cmp.Or(cmp.Compare(slices.Index(Strategies, a.Strategy), slices.Index(Strategies, b.Strategy)), cmp.Compare(a.Case, b.Case))
	})
}
