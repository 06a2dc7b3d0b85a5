package web

import (
	"fmt"
	"net/http"
	"net/url"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"knowngood.example/cases/export"
	"knowngood.example/client"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// TestForms: each short form makes the line that says the same.
func TestForms(t *testing.T) {
	b := newBay(t)
	code, got := b.says("jumper from fan.C1-1 to batt-, fused 15 A")
	require.Equal(t, http.StatusOK, code, got)
	for _, c := range []struct {
		form url.Values
		line string
		is   func(*eventv1.Event) bool
	}{
		{
			url.Values{"form": {"reading"}, "value": {"10,6"}, "unit": {"V"}, "red": {"S4.in"}, "black": {"S4.out"}, "state": {"running"}, "drop": {"1"}, "should": {"under 0.2 V"}, "outcome": {"fail"}},
			`10,6 V drop at "S4.in" to "S4.out", running, should be under 0.2 V, fail`,
			func(e *eventv1.Event) bool {
				r := e.GetReading()
				return r.GetRed() == "S4.in" && r.GetOutcome() == eventv1.Outcome_OUTCOME_FAIL && r.GetConditions().GetKey() == eventv1.KeyPosition_KEY_POSITION_RUNNING
			},
		},
		{
			url.Values{"form": {"test"}, "did": {"ran the fan from the battery"}, "covers": {"fan motor, fan plug"}, "outcome": {"pass"}},
			`test ran the fan from the battery, covers "fan motor", "fan plug", pass`,
			func(e *eventv1.Event) bool {
				return e.GetTest().GetOutcome() == eventv1.Outcome_OUTCOME_PASS && len(e.GetTest().GetCovers()) == 2
			},
		},
		{
			url.Values{"form": {"fitted"}, "part": {"fan motor"}, "state": {"new"}, "why": {"guess"}, "old": {"old kept"}, "cost": {"240 EUR"}},
			`fit new "fan motor" in, old kept, guess, cost 240 EUR`,
			func(e *eventv1.Event) bool {
				p := e.GetPartFitted()
				return p.GetComponent() == "fan motor" && p.GetCost().GetMinor() == 24000 && p.GetWhy() == eventv1.Why_WHY_GUESS && p.GetOldKept() == eventv1.Answer_ANSWER_YES
			},
		},
		{
			url.Values{"form": {"belief"}, "statement": {"the ground side is good"}, "basis": {"told"}}, "they say the ground side is good",
			func(e *eventv1.Event) bool { return e.GetBelief().GetBasis() == eventv1.Basis_BASIS_TOLD },
		},
		{
			url.Values{"form": {"belief"}, "statement": {"the feed is good"}, "basis": {"assumed"}}, "assume the feed is good",
			func(e *eventv1.Event) bool { return e.GetBelief().GetBasis() == eventv1.Basis_BASIS_ASSUMED },
		},
		{
			url.Values{"form": {"temporary"}, "what": {"cover off left sill"}, "undo": {"six clips"}}, "temp cover off left sill, undo six clips",
			func(e *eventv1.Event) bool { return e.GetTemporaryOn().GetUndo() == "six clips" },
		},
		{
			url.Values{"form": {"undone"}, "entry": {"2"}}, "temp off 2",
			func(e *eventv1.Event) bool { return e.GetTemporaryOff().GetTemporary() != "" },
		},
		{
			url.Values{"form": {"note"}, "text": {"needs it on Friday, # 5"}}, "note needs it on Friday, # 5",
			func(e *eventv1.Event) bool { return e.GetNote().GetText() == "needs it on Friday, # 5" },
		},
	} {
		code, heard := b.post("/case/"+b.stream+"/hear", c.form)
		require.Equal(t, http.StatusOK, code, heard)
		require.Equal(t, c.line, heard["line"])
		code, got := b.post("/case/"+b.stream+"/say", c.form)
		require.Equal(t, http.StatusOK, code, "%s: %v", c.line, got)
		require.True(t, c.is(b.last().Says), "%s: %v", c.line, b.last().Says)
	}
}

// TestDoneByAndWhen: each form takes who did it and when, read as the commands' flags are,
// and says at once how that was understood.
func TestDoneByAndWhen(t *testing.T) {
	b := newBay(t)
	c := "/case/" + b.stream
	mon := time.Now().UTC().AddDate(0, 0, -1)
	for _, form := range []url.Values{
		{"form": {"fitted"}, "part": {"fan motor"}, "state": {"new"}, "why": {"guess"}},
		{"form": {"reading"}, "value": {"12.1"}, "unit": {"V"}, "red": {"fan.C1-2"}, "black": {"batt-"}},
		{"form": {"test"}, "did": {"ran it"}, "covers": {"fan motor"}, "outcome": {"pass"}},
		{"form": {"belief"}, "statement": {"the feed is good"}, "basis": {"assumed"}},
		{"form": {"note"}, "text": {"needs it on Friday, by then"}},
		{"form": {"temporary"}, "what": {"cover off left sill"}},
		{"form": {"draw"}, "path": {fanPath}, "basis": {"traced"}},
	} {
		form.Set("by", "previous shop")
		form.Set("when", "yesterday 9:30")
		form.Set("before", "1")
		code, heard := b.post(c+"/hear", form)
		require.Equal(t, http.StatusOK, code, heard)
		require.Contains(t, heard["understood"], "done by previous shop")
		require.Contains(t, heard["understood"], mon.Format("2 Jan")+" 09:30")
		require.Contains(t, heard["understood"], "before the case was opened")
		code, got := b.post(c+"/say", form)
		require.Equal(t, http.StatusOK, code, got)
		e := b.last().Says
		require.Equal(t, "previous shop", e.GetBy())
		require.Equal(t, mon.Format(time.DateOnly)+"T09:30", time.Unix(e.GetHappened().GetUnixSeconds(), 0).UTC().Format("2006-01-02T15:04"))
		require.True(t, e.GetPlaced().GetBeforeOpening())
		require.Less(t, b.last().Job, int(b.head()), "it stands before the opening")
	}
	head := b.head()
	for field, said := range map[string]string{"by": "Somebody Nobody Knows", "when": "whenever"} {
		code, got := b.post(c+"/say", url.Values{"form": {"note"}, "text": {"x"}, field: {said}})
		require.Equal(t, http.StatusUnprocessableEntity, code, got)
		require.Contains(t, got["error"], field)
	}
	code, got := b.post(c+"/say", url.Values{"form": {"note"}, "text": {"x"}, "when": {"2031-01-01"}})
	require.NotEqual(t, http.StatusOK, code, got)
	require.Equal(t, head, b.head())
}

// TestPeopleByName: whoever is known by name is meant by id, in a field and in a line.
func TestPeopleByName(t *testing.T) {
	b := newBay(t)
	timo := newID()
	known := &client.Names{People: []export.Person{{Person: timo, Name: "Timo"}, {Person: newID(), Name: "Ola"}, {Person: newID(), Name: "Ola"}}}
	v := &visit{Page: b.Page, who: &Who{Known: known}, r: b.request("POST", "/", url.Values{})}
	require.NoError(t, v.r.ParseForm())
	kept, err := b.home.Kept(b.who, b.stream)
	require.NoError(t, err)
	c := &Case{Case: kept.Case}
	e := &eventv1.Event{By: "timo", Kind: &eventv1.Event_Note{Note: &eventv1.Note{Text: "x"}}}
	require.NoError(t, v.holds(c, e))
	require.Equal(t, timo, e.GetBy())
	var wrong *client.Wrong
	require.ErrorAs(t, v.holds(c, &eventv1.Event{By: "Ola", Kind: e.Kind}), &wrong)
	require.Contains(t, wrong.Error(), "two people")
}

// TestNothingTakenOff: something is taken off that nobody entered. It is said so before it
// is written down and after, and is kept as it was typed.
func TestNothingTakenOff(t *testing.T) {
	b := newBay(t)
	code, got := b.post("/case/"+b.stream+"/hear", url.Values{"line": {"jumper off"}})
	require.Equal(t, http.StatusOK, code, got)
	require.Contains(t, fmt.Sprint(got["new"]), "nothing is entered that this takes off")
	code, got = b.says("jumper off")
	require.Equal(t, http.StatusOK, code, got)
	require.Equal(t, "jumper off; nothing is entered that this took off", got["text"])
	require.Equal(t, "jumper off", b.last().Event.GetTyped())
	require.Contains(t, b.get("/case/"+b.stream), "nothing is entered that this took off")

	b.says("jumper on 30-87")
	_, got = b.post("/case/"+b.stream+"/hear", url.Values{"line": {"jumper off"}})
	require.Nil(t, got["new"])
	_, got = b.says("jumper off")
	require.Equal(t, "undid #3", got["text"])
}
