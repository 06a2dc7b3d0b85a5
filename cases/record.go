package cases

import (
	"errors"
	"fmt"

	"google.golang.org/protobuf/proto"

	"knowngood.example/cases/envelope"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// Record is an entry with what its event says.
type Record struct {
	Entry *eventv1.Entry
	// Event is nil once its bytes are erased.
	Event *eventv1.Event
	// Known: this build has the event's kind. Strange: the event carries fields
	// this build does not know; it is shown and proves nothing.
	Known, Strange bool
}

// NewRecord reads an entry's bytes and its event's; event is empty when erased.
// It refuses bytes that do not belong together.
func NewRecord(entry, event []byte) (Record, error) {
	e := new(eventv1.Entry)
	if err := proto.Unmarshal(entry, e); err != nil {
		return Record{}, fmt.Errorf("these bytes are no entry: %w", err)
	}
	if e.GetSeq() == 0 || e.GetId() == "" {
		return Record{}, errors.New("these bytes are no entry: it has no place or no id")
	}
	if len(event) == 0 {
		return Record{Entry: e, Known: envelope.KindName(e.GetKind()) != ""}, nil
	}
	o, err := envelope.Open(event)
	if err != nil {
		return Record{}, fmt.Errorf("entry %d: %w", e.GetSeq(), err)
	}
	if err := envelope.Fits(e, o); err != nil {
		return Record{}, fmt.Errorf("entry %d: %w", e.GetSeq(), err)
	}
	return Record{Entry: e, Event: o.Event, Known: o.Known, Strange: o.Strange}, nil
}
