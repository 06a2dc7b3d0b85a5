package web

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"net/http"
	"strings"
	"sync"
	"time"
)

// beat is how often something is sent where nothing happens, so that a lost
// connection is noticed.
const beat = 15 * time.Second

// live tells what happens for as long as the page is open.
func live(v *visit) error {
	h := v.w.Header()
	h.Set("Content-Type", "text/event-stream; charset=utf-8")
	control := http.NewResponseController(v.w)
	if err := control.SetWriteDeadline(time.Time{}); err != nil && !errors.Is(err, http.ErrNotSupported) {
		return err
	}
	var mu sync.Mutex
	send := func(text string) error {
		mu.Lock()
		defer mu.Unlock()
		if _, err := v.w.Write([]byte(text)); err != nil {
			return err
		}
		return control.Flush()
	}
	ctx, cancel := context.WithCancel(v.r.Context())
	defer cancel()
	var beating sync.WaitGroup
	defer beating.Wait()
	defer cancel()
	beating.Go(func() {
		tick := time.NewTicker(beat)
		defer tick.Stop()
		for {
			select {
			case <-ctx.Done():
				return
			case <-tick.C:
				if send(": still here\n\n") != nil {
					cancel()
					return
				}
			}
		}
	})
	cursor := v.r.Header.Get("Last-Event-ID")
	began := false
	tell := func(n News) error {
		var b strings.Builder
		if !began {
			b.WriteString("retry: 1000\n\n")
		}
		began = true
		for i, e := range n.Entries {
			at := ""
			if i == len(n.Entries)-1 { // the cursor lies behind them all
				at = "id: " + n.Cursor + "\n"
			}
			fmt.Fprintf(&b, "event: entry\n%sdata: %s\n\n", at, inJSON(map[string]any{"case": e.Stream, "seq": e.Seq}))
		}
		at := ""
		if n.Cursor != "" {
			at = "id: " + n.Cursor + "\n"
		}
		fmt.Fprintf(&b, "event: state\n%sdata: %s\n\n", at, inJSON(map[string]any{"waiting": n.Waiting, "files": n.Files, "off": n.Off}))
		return send(b.String())
	}
	err := v.desk.Follow(ctx, cursor, tell)
	if err != nil && !began {
		return err // nothing was sent, so it can be said
	}
	return nil
}

func inJSON(v any) string {
	b, err := json.Marshal(v)
	if err != nil {
		return "null" // never: strings and numbers
	}
	return string(b)
}
