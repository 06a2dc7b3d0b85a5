package check

import (
	"fmt"

	"google.golang.org/protobuf/proto"

	"knowngood.example/cases/envelope"
	"knowngood.example/cases/notation"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// Field numbers of the kinds that are treated apart.
const (
	kindOpened          = 100
	kindFitted          = 108
	kindRemoved         = 109
	kindReading         = 111
	kindBelief          = 115
	kindTemporaryOn     = 119
	kindRepair          = 123
	kindHandedOff       = 125
	kindTakenUp         = 126
	kindHandedBack      = 127
	kindCorrection      = 132
	kindClosed          = 133
	kindReopened        = 134
	kindAccessGranted   = 160
	kindAccessWithdrawn = 161
	kindErased          = 162
	kindFileErased      = 163
	firstRegisterKind   = 180
	lastRegisterKind    = 199
)

// Transition reports whether an event of the kind changes who has the case or
// how it stands, and therefore demands its place with expect.
func Transition(kind uint32) bool {
	switch kind {
	case kindHandedOff, kindTakenUp, kindHandedBack, kindClosed, kindReopened, kindAccessGranted, kindAccessWithdrawn:
		return true
	}
	return false
}

// Erasable reports whether the bytes of an event of the kind may be erased.
// Openings, access, erasures and register events stay; so does what this build
// does not know, since it cannot tell what would be lost.
func Erasable(kind uint32) bool {
	switch kind {
	case kindOpened, kindAccessGranted, kindAccessWithdrawn, kindErased, kindFileErased:
		return false
	}
	return envelope.KindName(kind) != "" && !registerKind(kind)
}

func registerKind(kind uint32) bool { return kind >= firstRegisterKind && kind <= lastRegisterKind }

// movable reports whether an event of the kind may stand elsewhere in job order
// than where the log took it.
func movable(kind uint32) bool {
	return !Transition(kind) && !registerKind(kind) && kind != kindOpened && kind != kindErased && kind != kindFileErased && kind != kindCorrection
}

// correctable reports whether an event of the kind may be replaced or withdrawn,
// or stand in the place of another. An opening can only be replaced, by an
// opening; a correction can only be withdrawn.
func correctable(kind uint32) bool {
	return !Transition(kind) && !registerKind(kind) && kind != kindErased && kind != kindFileErased
}

// kind checks the member of the oneof that is set.
func (c checker) kind(e *eventv1.Event) {
	m := e.ProtoReflect()
	f := m.WhichOneof(m.Descriptor().Oneofs().ByName("kind"))
	if f == nil {
		if len(m.GetUnknown()) == 0 {
			c.refuse("kind", "is not set", "an event says one thing")
		}
		return
	}
	c = c.sub(string(f.Name()))
	c.walk(m.Get(f).Message())
	switch k := e.GetKind().(type) {
	case *eventv1.Event_CaseOpened:
		c.caseOpened(k.CaseOpened)
	case *eventv1.Event_ConcernStated:
		c.concernStated(k.ConcernStated)
	case *eventv1.Event_ConcernDuplicated:
		c.concernDuplicated(k.ConcernDuplicated)
	case *eventv1.Event_ConcernActingUp, *eventv1.Event_ConcernGoneAway: // saying so is enough
	case *eventv1.Event_CodesRead:
		c.codesRead(k.CodesRead)
	case *eventv1.Event_CodesCleared:
		c.name("module", k.CodesCleared.GetModule())
	case *eventv1.Event_EvidenceDisturbed:
		c.evidenceDisturbed(k.EvidenceDisturbed)
	case *eventv1.Event_PartFitted:
		c.partFitted(k.PartFitted)
	case *eventv1.Event_PartRemoved:
		c.mustName("component", k.PartRemoved.GetComponent(), "name what was taken out, as 'fan motor'")
	case *eventv1.Event_PartPutBack:
		c.partPutBack(k.PartPutBack)
	case *eventv1.Event_Reading:
		c.reading(k.Reading)
	case *eventv1.Event_Test:
		c.test(k.Test)
	case *eventv1.Event_Seen:
		c.seen(k.Seen)
	case *eventv1.Event_MeterChecked:
		c.meterChecked(k.MeterChecked)
	case *eventv1.Event_Belief:
		c.belief(k.Belief)
	case *eventv1.Event_BeliefSettled:
		c.beliefSettled(k.BeliefSettled, len(e.GetBecause()) > 0)
	case *eventv1.Event_CircuitDrawn:
		c.circuitDrawn(k.CircuitDrawn)
	case *eventv1.Event_SameAs:
		c.sameAs(k.SameAs)
	case *eventv1.Event_TemporaryOn:
		c.temporaryOn(k.TemporaryOn)
	case *eventv1.Event_TemporaryOff:
		c.temporaryOff(k.TemporaryOff)
	case *eventv1.Event_WorkedOn:
		c.workedOn(k.WorkedOn)
	case *eventv1.Event_MadeSafe:
		c.madeSafe(k.MadeSafe)
	case *eventv1.Event_Repair:
		c.repair(k.Repair)
	case *eventv1.Event_RepairChecked:
		c.repairChecked(k.RepairChecked)
	case *eventv1.Event_HandedOff:
		c.handedOff(k.HandedOff)
	case *eventv1.Event_TakenUp:
		c.refers("handoff", k.TakenUp.GetHandoff(), Refuse, "a hand-off", kindHandedOff)
	case *eventv1.Event_HandedBack:
		c.handedBack(k.HandedBack)
	case *eventv1.Event_Approval:
		c.approval(k.Approval)
	case *eventv1.Event_TimeSpent:
		c.timeSpent(k.TimeSpent)
	case *eventv1.Event_Note:
		c.needs("text", k.Note.GetText(), "write what is worth keeping")
		c.names("about", k.Note.GetAbout())
	case *eventv1.Event_Attachment:
		c.attachment(k.Attachment)
	case *eventv1.Event_Correction:
		c.correction(k.Correction)
	case *eventv1.Event_Closed:
		if k.Closed.GetOutcome() == eventv1.CloseOutcome_CLOSE_OUTCOME_UNSPECIFIED {
			c.refuse("outcome", "is not set", "say how the case ended: fixed and checked, not found and so on")
		}
	case *eventv1.Event_Reopened:
		c.needs("why", k.Reopened.GetWhy(), "say why it is taken up again")
	case *eventv1.Event_CheckDue:
		c.checkDue(k.CheckDue)
	case *eventv1.Event_CameBack:
		if k.CameBack.GetSameConcern() == eventv1.Answer_ANSWER_UNSPECIFIED {
			c.refuse("same_concern", "is not set", "say whether it is the same concern: yes, no or not known")
		}
	case *eventv1.Event_AccessGranted:
		c.accessGranted(k.AccessGranted)
	case *eventv1.Event_AccessWithdrawn:
		c.accessWithdrawn(k.AccessWithdrawn)
	case *eventv1.Event_Erased:
		c.erased(k.Erased)
	case *eventv1.Event_FileErased:
		c.refers("entry", k.FileErased.GetEntry(), Refuse, "the attachment whose file goes")
		c.digest("sha256", k.FileErased.GetSha256())
		c.needs("why", k.FileErased.GetWhy(), "say why, and not what was erased")
	case *eventv1.Event_ShopOpened:
		c.shopOpened(k.ShopOpened)
	case *eventv1.Event_PersonAdded:
		c.personAdded(k.PersonAdded)
	case *eventv1.Event_DeviceAdded:
		c.deviceAdded(k.DeviceAdded)
	case *eventv1.Event_DeviceWithdrawn:
		c.mustID("device", k.DeviceWithdrawn.GetDevice(), "a device")
	case *eventv1.Event_RoleGiven:
		c.roleGiven(k.RoleGiven)
	case *eventv1.Event_Restored:
		c.restored(k.Restored)
	default:
		c.refuse("", "has no check", "this is a fault in the program")
	}
}

// correction checks what stands instead as if it came by itself.
func (c checker) correction(k *eventv1.Correction) {
	c.needs("why", k.GetWhy(), "say what was wrong with it")
	c.refers("entry", k.GetEntry(), Refuse, "the entry to correct")
	target, known := c.target(k.GetEntry())
	if known && !correctable(target) {
		c.refuse("entry", fmt.Sprintf("'%s' cannot be corrected", envelope.KindName(target)), "undo it with an entry of its own, as reopening or withdrawing")
		return
	}
	if len(k.GetReplacement()) == 0 {
		if known && target == kindOpened {
			c.refuse("replacement", "is empty", "an opening can be replaced but not withdrawn")
		}
		return
	}
	if known && target == kindCorrection {
		c.refuse("replacement", "stands in the place of a correction", "withdraw the correction and correct the entry itself again")
		return
	}
	c.replacement(k.GetReplacement(), target, known)
}

func (c checker) replacement(b []byte, target uint32, known bool) {
	kind, err := envelope.Scan(b)
	if err != nil {
		c.refuse("replacement", err.Error(), "it is a marshalled event of which the kind counts")
		return
	}
	if len(b) > envelope.MaxEvent {
		c.refuse("replacement", fmt.Sprintf("has %d bytes", len(b)), fmt.Sprintf("an event has at most %d", envelope.MaxEvent))
		return
	}
	name := envelope.KindName(kind)
	switch {
	case registerKind(kind), name != "" && (!correctable(kind) || kind == kindCorrection):
		c.refuse("replacement", fmt.Sprintf("'%s' cannot stand in the place of another entry", name), "give it as an entry of its own")
		return
	case known && (kind == kindOpened) != (target == kindOpened):
		c.refuse("replacement", fmt.Sprintf("'%s' cannot stand in the place of '%s'", name, envelope.KindName(target)), "an opening, and only an opening, is replaced by an opening")
		return
	case name == "":
		c.remark("replacement", fmt.Sprintf("is of kind %d, which is not understood here", kind), "it proves nothing")
		return
	}
	e := new(eventv1.Event)
	if err := proto.Unmarshal(b, e); err != nil {
		c.refuse("replacement", err.Error(), "it is a marshalled event of which the kind counts")
		return
	}
	c = c.sub("replacement")
	if shop := e.GetCaseOpened().GetShop(); kind == kindOpened && c.ctx.Owner != "" && shop != c.ctx.Owner {
		c.refuse("case_opened.shop", fmt.Sprintf("is %s, but the case was opened by %s", shop, c.ctx.Owner), "a correction does not give a case to another shop")
	}
	c.happened("happened", e.GetHappened())
	c.who("by", e.GetBy())
	c.placed(e, kind)
	c.kind(e)
}

// target is the kind of an entry; false when it cannot be told, or this build
// does not know the kind.
func (c checker) target(id string) (uint32, bool) {
	if c.ctx.Kind == nil || notation.CheckID(id) != nil {
		return 0, false
	}
	kind, found := c.ctx.Kind(id)
	return kind, found && envelope.KindName(kind) != ""
}

func (c checker) erased(k *eventv1.Erased) {
	c.refers("entry", k.GetEntry(), Refuse, "the entry whose bytes go")
	c.needs("why", k.GetWhy(), "say why, and not what was erased")
	if c.ctx.Kind == nil || notation.CheckID(k.GetEntry()) != nil {
		return
	}
	kind, found := c.ctx.Kind(k.GetEntry())
	if found && !Erasable(kind) {
		name := envelope.KindName(kind)
		if name == "" {
			name = fmt.Sprintf("kind %d, not understood here,", kind)
		}
		c.refuse("entry", name+" cannot be erased", "openings, access and register events stay")
	}
}
