package review

import (
	"fmt"
	"slices"

	"knowngood.example/cases"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// A test that worked the circuit and passed with the concern absent counts as
// trying the concern; codes read again count as a rescan.
func fixNotChecked() Rule {
	return Rule{
		Slug:     "fix-not-checked",
		Doctrine: "A fix is checked under the conditions of the concern, and by reading the codes again where codes were read.",
		Severity: LookNow,
		check: func(c *sheet) []Finding {
			end := c.Closed
			if end == nil || end.Says.GetClosed().GetOutcome() != eventv1.CloseOutcome_CLOSE_OUTCOME_FIXED_AND_CHECKED {
				return nil
			}
			last := lastChange(c.Case, end)
			after := slices.DeleteFunc(slices.Clone(c.Jobs()), func(s *cases.Step) bool { return last != nil && s.Job < last.Job || s.Job > end.Job })
			f := Finding{Entries: seqs(last, end)}
			var missing, clears []string
			if i := lastIndex(after, func(s *cases.Step) bool { return concernGone(s) || concernThere(s) }); i >= 0 && concernThere(after[i]) {
				f.Entries = append(f.Entries, after[i].Seq)
				missing = append(missing, fmt.Sprintf("%s found the concern still there", refs(after[i])))
				clears = append(clears, "find out why it is still there, or reopen the case")
			} else if !slices.ContainsFunc(after, concernGone) {
				missing = append(missing, "the concern was not tried again under its own conditions")
				clears = append(clears, "try the concern "+conditions(c.Case))
			}
			if read := codesHeld(c.Case, last); read != nil && !slices.ContainsFunc(after, rescanned) {
				f.Entries = append(f.Entries, read.Seq)
				missing = append(missing, fmt.Sprintf("the codes read in %s were not read again", refs(read)))
				clears = append(clears, "read the codes again")
			}
			if len(missing) == 0 {
				return nil
			}
			since := ""
			if last != nil {
				since = fmt.Sprintf(", after the last change (%s),", refs(last))
			}
			f.Why = fmt.Sprintf("The case was closed as fixed (%s), but as far as the record goes%s %s.", refs(end), since, list(missing))
			f.Clears = upper(list(clears)) + "."
			return []Finding{f}
		},
	}
}

func conditions(c *cases.Case) string {
	for _, s := range slices.Backward(c.Concerns) {
		if w := concern(s).GetConditions(); w != "" {
			return fmt.Sprintf("as it was stated (%s)", w)
		}
	}
	return "under the conditions in which it happens"
}

// lastChange is the last part fitted, put back or repaired before the end.
func lastChange(c *cases.Case, end *cases.Step) *cases.Step {
	var last *cases.Step
	for _, s := range c.Jobs()[:end.Job] {
		if s.Says.GetPartFitted() != nil || s.Says.GetPartPutBack() != nil || s.Says.GetRepair() != nil {
			last = s
		}
	}
	return last
}

// concernGone reports whether the concern was tried and stayed away.
func concernGone(s *cases.Step) bool {
	const absent = eventv1.Presence_PRESENCE_ABSENT
	if r := s.Says.GetRepairChecked(); r != nil {
		return r.GetConcernTried() == yes && !concernThere(s)
	}
	t := s.Says.GetTest()
	return t.GetManner() == eventv1.TestManner_TEST_MANNER_FUNCTION && t.GetOutcome() == pass && t.GetConcern() == absent
}

// concernThere reports whether it was there.
func concernThere(s *cases.Step) bool {
	if r := s.Says.GetRepairChecked(); r.GetOutcome() == fail && r.GetConcernTried() == yes {
		return true
	}
	return presence(s) == eventv1.Presence_PRESENCE_PRESENT
}

// codesHeld is the last reading, before the change, of a module that held codes.
func codesHeld(c *cases.Case, change *cases.Step) *cases.Step {
	for _, s := range slices.Backward(c.Codes) {
		if len(s.Says.GetCodesRead().GetCodes()) > 0 && (change == nil || s.Job < change.Job) {
			return s
		}
	}
	return nil
}

func rescanned(s *cases.Step) bool {
	read := s.Says.GetCodesRead()
	return s.Says.GetRepairChecked().GetRescanned() == yes || read != nil && read.GetAnswer() != eventv1.CodesAnswer_CODES_ANSWER_DOES_NOT_ANSWER
}

func lastIndex(steps []*cases.Step, ok func(*cases.Step) bool) int {
	for i, s := range slices.Backward(steps) {
		if ok(s) {
			return i
		}
	}
	return -1
}
