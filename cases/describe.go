package cases

import (
	"fmt"
	"strings"

	"knowngood.example/cases/envelope"
	"knowngood.example/cases/notation"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// KindWords is the step's kind in words: 'part fitted'; 'kind 999' when this
// build does not know it.
func (s *Step) KindWords() string {
	if n := envelope.KindName(s.Kind); n != "" {
		return n
	}
	return fmt.Sprintf("kind %d", s.Kind)
}

// Describe says in one line what the entry says: as it was recorded, also when it
// has been struck.
func (c *Case) Describe(s *Step, names Names) string {
	switch {
	case s.Erased():
		return "(erased)"
	case !s.Known:
		return "(not understood here)"
	}
	text := c.tell(s.Event, names)
	if s.Strange {
		text += " (carries fields not understood here; proves nothing)"
	}
	return text
}

// DescribeNow says what stands in the entry's place: what a correction put
// there, or the entry itself. Empty when it was withdrawn or erased.
func (c *Case) DescribeNow(s *Step, names Names) string {
	if s.Says == nil {
		return ""
	}
	return c.tell(s.Says, names)
}

// line joins what is not empty.
type line []string

func (l *line) add(format string, args ...any) {
	for _, a := range args {
		if a == "" {
			return
		}
	}
	*l = append(*l, fmt.Sprintf(format, args...))
}

func (l line) String() string { return strings.Join(l, "; ") }

// Ref names an entry of this case as #12, or by the end of its id when it is not
// here.
func (c *Case) Ref(id string) string {
	if s := c.byID[id]; s != nil {
		return "#" + itoa(s.Seq)
	}
	if id == "" {
		return ""
	}
	return "#…" + notation.ShortID(id)
}

func (c *Case) refs(ids []string) string {
	out := make([]string, len(ids))
	for i, id := range ids {
		out[i] = c.Ref(id)
	}
	return strings.Join(out, ", ")
}

func (c *Case) tell(e *eventv1.Event, names Names) string {
	var l line
	switch k := e.GetKind().(type) {
	case *eventv1.Event_CaseOpened:
		o := k.CaseOpened
		st := State{Vehicle: o.GetVehicle()}
		l.add("%s", st.VehicleWords())
		tellVehicle(&l, o.GetVehicle())
		tellConcern(&l, o.GetConcern())
		l.add("work order %s", o.GetWorkOrder())
		for i, a := range []eventv1.Answer{o.GetCrash(), o.GetFlood(), o.GetRodents()} {
			if a == eventv1.Answer_ANSWER_YES {
				l.add("%s", [...]string{"has had a crash", "has been flooded", "has had rodents"}[i])
			}
		}
		l.add("added equipment: %s", strings.Join(o.GetAddedEquipment(), ", "))
		if o.GetCanBeMoved() == eventv1.Answer_ANSWER_NO {
			l.add("cannot be moved")
		}
		for _, b := range o.GetLeftBehind() {
			l.add("left by an earlier case: %s", strings.TrimSpace(b.GetWhat()+" "+b.GetWhere()))
		}
		if o.GetInvented() {
			l.add("invented for demonstration")
		}
	case *eventv1.Event_ConcernStated:
		tellConcern(&l, k.ConcernStated.GetConcern())
		l.add("said by %s", k.ConcernStated.GetSaidBy())
	case *eventv1.Event_ConcernDuplicated:
		d := k.ConcernDuplicated
		l.add("%s", or(d.GetWhat(), "saw the concern"))
		l.add("%s", tries(d.GetTries(), d.GetFailures()))
		if d.GetUnsafeToRepeat() {
			l.add("not repeated: unsafe")
		}
		if d.GetOnRecord() {
			l.add("film or freeze frame shows it")
		}
		l.add("%s", ConditionWords(d.GetConditions()))
	case *eventv1.Event_ConcernActingUp:
		l.add("%s", or(k.ConcernActingUp.GetWhat(), "acting up now"))
		l.add("%s", ConditionWords(k.ConcernActingUp.GetConditions()))
	case *eventv1.Event_ConcernGoneAway:
		l.add("%s", or(k.ConcernGoneAway.GetWhat(), "gone away"))
		l.add("%s", ConditionWords(k.ConcernGoneAway.GetConditions()))
	case *eventv1.Event_CodesRead:
		r := k.CodesRead
		l.add("%s", or(r.GetModule(), "all modules"))
		switch r.GetAnswer() {
		case eventv1.CodesAnswer_CODES_ANSWER_NONE:
			l.add("no codes")
		case eventv1.CodesAnswer_CODES_ANSWER_DOES_NOT_ANSWER:
			l.add("does not answer")
		}
		for _, code := range r.GetCodes() {
			l.add("%s", strings.Join(words(code.GetCode(), notation.Word(code.GetState()), code.GetSaid(), strings.Join(code.GetFreezeFrame(), ", ")), " "))
		}
		l.add("%s", ConditionWords(r.GetConditions()))
	case *eventv1.Event_CodesCleared:
		l.add("%s", or(k.CodesCleared.GetModule(), "all modules"))
		l.add("%s", k.CodesCleared.GetWhy())
	case *eventv1.Event_EvidenceDisturbed:
		d := k.EvidenceDisturbed
		l.add("%s", notation.Word(d.GetDisturbance()))
		l.add("%s", d.GetModule())
		l.add("supply %s", quantity(d.GetSupply()))
		l.add("%s", remark(d.GetSaid()))
	case *eventv1.Event_PartFitted:
		tellFitted(&l, k.PartFitted)
	case *eventv1.Event_PartRemoved:
		r := k.PartRemoved
		l.add("%s taken out", r.GetComponent())
		l.add("%s", kept(r.GetKept(), "old part"))
		l.add("where: %s", r.GetWhereKept())
		l.add("%s", r.GetWhy())
	case *eventv1.Event_PartPutBack:
		p := k.PartPutBack
		if p.GetReseatedOnly() {
			l.add("%s unplugged and plugged in again", p.GetComponent())
		} else {
			l.add("%s put back", p.GetComponent())
		}
		l.add("undoes %s", c.Ref(p.GetUndoes()))
		l.add("%s", remark(p.GetSaid()))
	case *eventv1.Event_Reading:
		tellReading(&l, k.Reading)
	case *eventv1.Event_Test:
		tellTest(&l, k.Test)
		l.add("made of %s", c.refs(k.Test.GetReadings()))
	case *eventv1.Event_Seen:
		s := k.Seen
		l.add("%s", s.GetWhat())
		l.add("on %s", s.GetComponent())
		l.add("at %s", s.GetPoint())
		l.add("looks %s", map[eventv1.Outcome]string{1: "all right", 2: "bad"}[s.GetOutcome()])
		l.add("%s", notation.Word(s.GetMode()))
		if s.GetOutsideConcern() {
			l.add("outside the concern")
		}
		l.add("told to %s", s.GetTold())
		if len(s.GetPhoto()) > 0 {
			l.add("photo %x", s.GetPhoto()[:min(4, len(s.GetPhoto()))])
		}
	case *eventv1.Event_MeterChecked:
		m := k.MeterChecked
		l.add("%s", instrument(m.GetInstrument()))
		l.add("on %s", m.GetSource())
		l.add("shows %s", quantity(m.GetShown()))
		l.add("%s", notation.Word(m.GetOutcome()))
	case *eventv1.Event_Belief:
		b := k.Belief
		l.add("%s", b.GetStatement())
		if b.GetToldBy() == "" {
			l.add("%s", notation.Word(b.GetBasis()))
		} else {
			l.add("%s by %s", notation.Word(b.GetBasis()), them(b.GetToldBy()))
		}
		l.add("about %s", or(b.GetComponent(), b.GetPoint()))
		if cl := b.GetClaim(); cl != nil {
			l.add("claims: %s", claimWords(cl))
		}
	case *eventv1.Event_BeliefSettled:
		b := k.BeliefSettled
		l.add("%s is %s", c.Ref(b.GetBelief()), map[eventv1.Answer]string{1: "true", 2: "not true", 3: "still not known"}[b.GetHolds()])
		l.add("%s", b.GetHow())
	case *eventv1.Event_CircuitDrawn:
		d := k.CircuitDrawn
		l.add("%s", or(d.GetName(), "circuit"))
		l.add("%s", remark(d.GetSaid()))
		l.add("%s", notation.Word(d.GetBasis()))
		l.add("from %s", d.GetSource())
	case *eventv1.Event_SameAs:
		l.add("%s is the same as %s", k.SameAs.GetOne(), k.SameAs.GetOther())
	case *eventv1.Event_TemporaryOn:
		t := k.TemporaryOn
		if kind := notation.Word(t.GetTemporary()); !strings.HasPrefix(strings.ToLower(t.GetWhat()), kind) && kind != "other" {
			l.add("%s", strings.Join(words(kind, t.GetWhat()), ": "))
		} else {
			l.add("%s", t.GetWhat())
		}
		l.add("at %s", strings.Join(t.GetWhere(), ", "))
		l.add("fused %s", quantity(t.GetFuse()))
		l.add("to undo: %s", t.GetUndo())
	case *eventv1.Event_TemporaryOff:
		l.add("undid %s", c.Ref(k.TemporaryOff.GetTemporary()))
		l.add("%s", remark(k.TemporaryOff.GetSaid()))
		if k.TemporaryOff.GetTemporary() == "" {
			l.add("nothing is entered that this took off")
		}
	case *eventv1.Event_WorkedOn:
		w := k.WorkedOn
		l.add("%s", w.GetArea())
		l.add("%s", strings.Join(w.GetComponents(), ", "))
		l.add("%s", w.GetWhat())
	case *eventv1.Event_MadeSafe:
		m := k.MadeSafe
		l.add("%s", notation.Word(m.GetHazard()))
		l.add("qualified: %s", m.GetQualifiedHow())
		l.add("locked off: %s", notation.Word(m.GetLockedOff()))
		l.add("proven dead: %s", notation.Word(m.GetProvenDead()))
		l.add("tester proven: %s", notation.Word(m.GetTesterProven()))
		l.add("%s", remark(m.GetSaid()))
	case *eventv1.Event_Repair:
		r := k.Repair
		l.add("%s", r.GetComponent())
		l.add("%s", r.GetWhat())
		l.add("%s", notation.Word(r.GetMode()))
		l.add("from %s to %s", r.GetFrom(), r.GetTo())
		l.add("cost %s", money(r.GetCost()))
	case *eventv1.Event_RepairChecked:
		r := k.RepairChecked
		l.add("checked %s", c.refs(r.GetRepairs()))
		l.add("%s", notation.Word(r.GetOutcome()))
		l.add("before %s", c.refs(r.GetBefore()))
		l.add("after %s", c.refs(r.GetAfter()))
		l.add("rescanned: %s", notation.Word(r.GetRescanned()))
		l.add("relearned: %s", notation.Word(r.GetRelearned()))
		l.add("concern tried: %s", notation.Word(r.GetConcernTried()))
		l.add("concern %s", notation.Word(r.GetConcern()))
		l.add("%s", ConditionWords(r.GetConditions()))
		l.add("%s", remark(r.GetSaid()))
	case *eventv1.Event_HandedOff:
		h := k.HandedOff
		l.add("to %s", strings.Join(words(names.Of(h.GetToShop()), names.Of(h.GetToPerson())), ", "))
		l.add("asked: %s", h.GetQuestion())
		l.add("%s", LimitWords(h.GetLimits()))
		l.add("may %s", notation.Word(h.GetAccess()))
	case *eventv1.Event_TakenUp:
		l.add("took up %s", c.Ref(k.TakenUp.GetHandoff()))
		l.add("%s", remark(k.TakenUp.GetSaid()))
	case *eventv1.Event_HandedBack:
		h := k.HandedBack
		l.add("%s", h.GetFound())
		l.add("cause: %s", strings.Join(words(h.GetCause(), notation.Word(h.GetCauseMode())), ", "))
		l.add("proof: %s", h.GetProof())
		l.add("not done: %s", strings.Join(h.GetNotDone(), ", "))
		l.add("left open: %s", strings.Join(h.GetLeftOpen(), ", "))
		l.add("old parts: %s", h.GetOldParts())
	case *eventv1.Event_Approval:
		a := k.Approval
		if a.GetRefused() {
			l.add("%s refused %s", or(a.GetWho(), "somebody"), money(a.GetUpTo()))
		} else {
			l.add("%s agreed to %s in all", or(a.GetWho(), "somebody"), or(money(a.GetUpTo()), "it"))
		}
		l.add("%s", a.GetWhat())
		l.add("%s", a.GetHow())
	case *eventv1.Event_TimeSpent:
		l.add("%s min", itoa(uint64(k.TimeSpent.GetMinutes())))
		l.add("%s", k.TimeSpent.GetWhat())
		l.add("charged %s", money(k.TimeSpent.GetCharge()))
	case *eventv1.Event_Note:
		l.add("%s", k.Note.GetText())
		l.add("about %s", strings.Join(k.Note.GetAbout(), ", "))
	case *eventv1.Event_Attachment:
		a := k.Attachment
		l.add("%s, %s, %s bytes, SHA-256 %s", a.GetName(), or(a.GetMediaType(), "type not given"), itoa(a.GetSize()), notation.ShortHash(a.GetSha256()))
		l.add("belongs to %s", c.Ref(a.GetEntry()))
		if by := c.FilesErased[string(a.GetSha256())]; by != nil {
			l.add("the file was erased, see #%d", by.Seq)
		}
	case *eventv1.Event_Correction:
		x := k.Correction
		target := c.byID[x.GetEntry()]
		if len(x.GetReplacement()) == 0 {
			l.add("withdrew %s", c.Ref(x.GetEntry()))
		} else if target != nil {
			l.add("%s now reads: %s", c.Ref(x.GetEntry()), or(c.tell(replaced(target, x.GetReplacement()), names), "something not understood here"))
		}
		l.add("%s", x.GetWhy())
	case *eventv1.Event_Closed:
		l.add("%s", closeWords(k.Closed.GetOutcome()))
		l.add("%s", remark(k.Closed.GetSaid()))
	case *eventv1.Event_Reopened:
		l.add("%s", or(k.Reopened.GetWhy(), "no reason given"))
	case *eventv1.Event_CheckDue:
		l.add("%s", moment(k.CheckDue.GetDue()))
		l.add("%s", k.CheckDue.GetWhat())
	case *eventv1.Event_CameBack:
		l.add("%s", map[eventv1.Answer]string{1: "with the same concern", 2: "with a different concern", 3: "not known whether with the same concern"}[k.CameBack.GetSameConcern()])
		l.add("%s", k.CameBack.GetWhat())
	case *eventv1.Event_AccessGranted:
		a := k.AccessGranted
		l.add("%s may %s", strings.Join(words(names.Of(a.GetShop()), names.Of(a.GetPerson())), ", "), notation.Word(a.GetAccess()))
		l.add("by hand-off %s", c.Ref(a.GetHandoff()))
		l.add("until %s", moment(a.GetUntil()))
	case *eventv1.Event_AccessWithdrawn:
		a := k.AccessWithdrawn
		l.add("%s may %s", strings.Join(words(names.Of(a.GetShop()), names.Of(a.GetPerson())), ", "), or(notation.Word(a.GetLeft()), "do nothing")+" from now on")
	case *eventv1.Event_FileErased:
		l.add("the file of %s was erased", c.Ref(k.FileErased.GetEntry()))
		l.add("%s", k.FileErased.GetWhy())
	case *eventv1.Event_Erased:
		l.add("erased %s", c.Ref(k.Erased.GetEntry()))
		l.add("%s", k.Erased.GetWhy())
	case *eventv1.Event_ShopOpened:
		l.add("%s", k.ShopOpened.GetName())
		l.add("counts in %s", k.ShopOpened.GetCurrency())
	case *eventv1.Event_PersonAdded:
		l.add("%s, %s", names.Of(k.PersonAdded.GetPerson()), notation.Word(k.PersonAdded.GetRole()))
	case *eventv1.Event_DeviceAdded:
		l.add("device …%s", notation.ShortID(k.DeviceAdded.GetDevice()))
		l.add("of %s", names.Of(k.DeviceAdded.GetPerson()))
	case *eventv1.Event_DeviceWithdrawn:
		l.add("device …%s", notation.ShortID(k.DeviceWithdrawn.GetDevice()))
		l.add("%s", k.DeviceWithdrawn.GetWhy())
	case *eventv1.Event_RoleGiven:
		l.add("%s, %s", names.Of(k.RoleGiven.GetPerson()), or(notation.Word(k.RoleGiven.GetRole()), "left"))
	case *eventv1.Event_Restored:
		l.add("epoch %s from %s entries", itoa(k.Restored.GetEpoch()), itoa(k.Restored.GetSize()))
	}
	return l.String()
}
