package export

import (
	"fmt"
	"time"

	"knowngood.example/cases/log"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// stand is who stands by an entry as it is here.
type stand struct {
	// fits: the event's bytes are those that the entry names.
	fits bool
	// keyed: the device's key is known; signed: it signed what the entry names.
	keyed, signed bool
	// tree: there is a checkpoint that holds; inTree: the entry is under it.
	tree, inTree bool
}

// says is what follows of who changed it, and since when. The writer's device and the
// server each stand by what only their keys could have made.
func (s stand) says(writer string, e *eventv1.Entry, tree *log.Checkpoint) string {
	taken := "the server took it"
	if m := e.GetRecorded(); m != nil {
		taken += " (" + time.Unix(m.GetUnixSeconds(), 0).UTC().Format(time.RFC3339) + " by its clock)"
	}
	switch {
	case !s.tree:
		return "without a checkpoint that holds, and a proof, nobody can say what the log had here"
	case s.inTree && !s.fits && (s.signed || !s.keyed):
		return fmt.Sprintf("the log stands by other bytes than these: they were changed in this copy, after %s, and neither with its key nor with that of %s", taken, writer)
	case s.inTree && s.keyed && !s.signed:
		return fmt.Sprintf("the log holds it and %s did not sign it: it was put in that name by somebody who could write in the server's log, and not with the key of %s; it says that %s", writer, writer, taken)
	case s.inTree:
		return "the log holds the entry as it is here"
	case s.signed && s.fits:
		return fmt.Sprintf("%s signed these words, and the log, as it stood with %d entries, does not hold the entry: its place, its time or who sent it was changed or made up, not by %s and not with the log's key as it signed then; it says that %s", writer, tree.Size, writer, taken)
	case s.signed:
		return fmt.Sprintf("%s signed other words in this place, and the log does not hold the entry: it was changed by somebody with neither key", writer)
	case s.keyed:
		return fmt.Sprintf("neither the log, as it stood with %d entries, nor %s stands by it: it was changed or made up by somebody with neither key", tree.Size, writer)
	}
	return fmt.Sprintf("the log, as it stood with %d entries, does not hold it", tree.Size)
}

// writer names the device that an entry says wrote it.
func writer(x *Export, e *eventv1.Entry) string {
	for _, d := range x.Head.Devices {
		if d.Device != e.GetDevice() {
			continue
		}
		if d.Person == "" {
			return "the server's own device"
		}
		for _, p := range x.Head.People {
			if p.Person == d.Person {
				return p.Name + "'s device"
			}
		}
	}
	return "device " + e.GetDevice()
}

// Stand holds one entry of a log against its event and its device's key; inTree says
// that it lies under a checkpoint that holds. What does not hold comes with what
// follows from it; nil: all holds. A key of nil is not known, and is no problem here.
func Stand(e *eventv1.Entry, event []byte, key []byte, writer string, tree *log.Checkpoint, inTree bool) []Problem {
	v := &Verified{}
	by := stand{fits: v.event(0, Line{Event: event}, e), keyed: key != nil, tree: tree != nil, inTree: inTree}
	if by.keyed {
		by.signed = v.signed(0, e, key)
	}
	for i := range v.Problems {
		v.Problems[i].Says = by.says(writer, e, tree)
	}
	return v.Problems
}
