package check

import (
	"fmt"
	"regexp"
	"strings"

	"knowngood.example/cases/notation"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

func (c checker) partFitted(k *eventv1.PartFitted) {
	c.mustName("component", k.GetComponent(), "name what it was fitted as, as 'fan motor'")
	c.name("borrowed_from", k.GetBorrowedFrom())
	borrowed := k.GetState() == eventv1.PartState_PART_STATE_BORROWED
	switch {
	case borrowed && blank(k.GetBorrowedFrom()):
		c.ask("borrowed_from", "is empty", "where does the borrowed part belong? that place stands open now")
	case !borrowed && k.GetBorrowedFrom() != "":
		c.refuse("borrowed_from", "is set for a part that was not borrowed", "say that it was borrowed, or leave it out")
	}
	if k.GetWhy() == eventv1.Why_WHY_UNSPECIFIED {
		c.remark("why", "is not set", "was it a guess, a test, damage seen?")
	}
}

func (c checker) partPutBack(k *eventv1.PartPutBack) {
	c.mustName("component", k.GetComponent(), "name what has its own part again")
	if k.GetUndoes() != "" {
		// It may be of an earlier case, which not everybody can see.
		c.refers("undoes", k.GetUndoes(), AskAgain, "a part fitted or removed", kindFitted, kindRemoved, kindTemporaryOn)
	}
}

func (c checker) temporaryOn(k *eventv1.TemporaryOn) {
	if k.GetTemporary() == eventv1.TemporaryKind_TEMPORARY_KIND_UNSPECIFIED {
		c.refuse("temporary", "is not set", "say what it is: jumper, unplugged, pierced and so on")
	}
	c.needs("what", k.GetWhat(), "say what was changed, as 'jumper on relay K2 30-87'")
	c.names("where", k.GetWhere())
	c.dim("fuse", k.GetFuse(), notation.Current)
	c.positive("fuse", k.GetFuse())
}

func (c checker) temporaryOff(k *eventv1.TemporaryOff) {
	if k.GetTemporary() != "" {
		// It may be of an earlier case, which not everybody can see.
		c.refers("temporary", k.GetTemporary(), AskAgain, "something temporary that is on", kindTemporaryOn, kindFitted, kindRemoved)
		return
	}
	c.needs("said", k.GetSaid(), "say what was undone when it was never entered")
	c.remark("temporary", "names nothing that is on", "if it was entered, say which: 'temp off 12'")
}

func (c checker) workedOn(k *eventv1.WorkedOn) {
	if blank(k.GetArea()) && len(k.GetComponents()) == 0 {
		c.refuse("area", "is empty, and so is components", "say where somebody worked")
	}
	c.names("components", k.GetComponents())
}

func (c checker) madeSafe(k *eventv1.MadeSafe) {
	if k.GetHazard() == eventv1.Hazard_HAZARD_UNSPECIFIED {
		c.refuse("hazard", "is not set", "say what was made safe")
	}
	answers := []struct {
		field  string
		answer eventv1.Answer
	}{{"locked_off", k.GetLockedOff()}, {"proven_dead", k.GetProvenDead()}, {"tester_proven", k.GetTesterProven()}}
	high := k.GetHazard() == eventv1.Hazard_HAZARD_HIGH_VOLTAGE
	for _, a := range answers {
		switch {
		case high && a.answer == eventv1.Answer_ANSWER_NO:
			c.refuse(a.field, "is no", "then it is not safe; follow the maker's service information and licensed practice")
		case high && a.answer != eventv1.Answer_ANSWER_YES:
			c.ask(a.field, "is not said", "high voltage is safe only when locked off and proven dead with a proven tester")
		}
	}
	if blank(k.GetQualifiedHow()) && (high || k.GetHazard() == eventv1.Hazard_HAZARD_AIRBAG) {
		c.ask("qualified_how", "is empty", "how is whoever did it qualified?")
	}
}

func (c checker) repair(k *eventv1.Repair) {
	stretch := k.GetFrom() != "" && k.GetTo() != ""
	switch {
	case k.GetComponent() != "":
		c.name("component", k.GetComponent())
	case !stretch:
		c.refuse("component", "is empty, and so is from or to", "name what was mended, or the two points of the wire")
	}
	c.name("from", k.GetFrom())
	c.name("to", k.GetTo())
	if (k.GetFrom() == "") != (k.GetTo() == "") && k.GetComponent() != "" {
		c.refuse("to", "one end of the wire is missing", "give both from and to, or neither")
	}
	c.needs("what", k.GetWhat(), "say what was done")
}

func (c checker) repairChecked(k *eventv1.RepairChecked) {
	if k.GetOutcome() == eventv1.Outcome_OUTCOME_UNSPECIFIED {
		c.refuse("outcome", "is not set", "say pass, fail or inconclusive")
	}
	for i, id := range k.GetRepairs() {
		c.refers(item("repairs", i), id, Remark, "a repair or fitting", kindRepair, kindFitted)
	}
	for i, id := range k.GetBefore() {
		c.refers(item("before", i), id, Remark, "a reading", kindReading)
	}
	for i, id := range k.GetAfter() {
		c.refers(item("after", i), id, Remark, "a reading", kindReading)
	}
	if k.GetOutcome() == eventv1.Outcome_OUTCOME_PASS && k.GetConcern() == eventv1.Presence_PRESENCE_PRESENT {
		c.ask("outcome", "is pass, but the concern was present", "did it pass?")
	}
}

func (c checker) approval(k *eventv1.Approval) {
	c.needs("who", k.GetWho(), "say who agreed, as 'customer'")
	c.who("who", k.GetWho())
	if k.GetUpTo() == nil && blank(k.GetWhat()) {
		c.refuse("up_to", "is not set, and what is empty", "say up to how much, or what, was agreed or refused")
	}
}

func (c checker) timeSpent(k *eventv1.TimeSpent) {
	switch n := k.GetMinutes(); {
	case n == 0:
		c.refuse("minutes", "is 0", "write the minutes spent")
	case n > 24*60:
		c.ask("minutes", fmt.Sprintf("%d minutes is more than a day", n), "is it minutes?")
	}
}

// mediaType is the form of RFC 6838, section 4.2, without parameters.
var mediaType = regexp.MustCompile(`^[A-Za-z0-9][A-Za-z0-9!#$&^_.+-]{0,126}/[A-Za-z0-9][A-Za-z0-9!#$&^_.+-]{0,126}$`)

// MaxFile is the longest file that may be attached, in bytes.
const MaxFile = 256 << 20

func (c checker) digest(field string, b []byte) {
	if n := len(b); n != digestSize {
		c.refuse(field, fmt.Sprintf("has %d bytes", n), "a SHA-256 has 32")
	}
}

func (c checker) attachment(k *eventv1.Attachment) {
	c.needs("name", k.GetName(), "give the file's name")
	c.name("name", k.GetName())
	if strings.ContainsAny(k.GetName(), `/\`) || strings.HasPrefix(k.GetName(), ".") {
		c.refuse("name", fmt.Sprintf("%q is not a plain file name", clip(k.GetName())), "leave folders and a leading dot out")
	}
	if !mediaType.MatchString(k.GetMediaType()) {
		c.refuse("media_type", fmt.Sprintf("%q is not a media type", clip(k.GetMediaType())), "write it as image/jpeg")
	}
	switch n := k.GetSize(); {
	case n == 0:
		c.refuse("size", "is 0", "an empty file says nothing: attach one with something in it")
	case n > MaxFile:
		c.refuse("size", fmt.Sprintf("is %d bytes", n), fmt.Sprintf("a file has at most %d MiB: cut it, or make it smaller", MaxFile>>20))
	}
	c.digest("sha256", k.GetSha256())
	if k.GetEntry() != "" {
		c.refers("entry", k.GetEntry(), Remark, "an entry of this case")
	}
}
