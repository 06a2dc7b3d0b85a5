package server

import (
	"time"

	"knowngood.example/cases/envelope"
)

// comesIn says whether the event may come in as far as its own words go.
func comesIn(o *envelope.Opened, now time.Time) (remarks []string, refusal *Refusal) {
	return nil, nil
}
