package web

import (
	"net/http"
	"net/url"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// TestOpen: a case is opened from the page as the command opens it, once, and what earlier
// cases left on the vehicle is copied in.
func TestOpen(t *testing.T) {
	b := newBay(t)
	form := url.Values{
		"form": {"open"}, "case": {newID()}, "id": {newID()}, "concern": {"no charge light"}, "make": {"Quillon"}, "model": {"Tarn"}, "year": {"2011"}, "plate": {"KX-204"},
		"odometer": {"182000 km"}, "system": {"24"}, "high-voltage": {"no"}, "onset": {"yesterday"}, "just-before": {"a bumper was replaced"}, "frequency": {"always"},
		"works": {"lamps, horn"}, "does-not-work": {"gauge"}, "added": {"trailer socket"}, "crash": {"not known"}, "rodents": {"yes"}, "invented": {"1"}, "by": {"night porter"}, "when": {"yesterday 9:30"},
	}
	code, got := b.post("/open", form)
	require.Equal(t, http.StatusOK, code, got)
	require.Equal(t, form.Get("case"), got["case"])
	b.stream = form.Get("case")
	e := b.last().Says
	o := e.GetCaseOpened()
	require.Equal(t, b.who.Shop, o.GetShop())
	require.EqualValues(t, 24, o.GetVehicle().GetSystemVolts())
	require.EqualValues(t, 2011, o.GetVehicle().GetYear())
	require.Equal(t, "182000", o.GetVehicle().GetOdometer().GetDigits())
	require.Equal(t, eventv1.Answer_ANSWER_NO, o.GetVehicle().GetHighVoltage())
	require.Equal(t, eventv1.Answer_ANSWER_NOT_KNOWN, o.GetCrash())
	require.Equal(t, []string{"lamps", "horn"}, o.GetConcern().GetWorks())
	require.Equal(t, "yesterday", o.GetConcern().GetOnset().GetSaid())
	require.Equal(t, "night porter", e.GetBy())
	require.Less(t, e.GetHappened().GetUnixSeconds(), time.Now().Add(-9*time.Hour).Unix())
	require.True(t, o.GetInvented())

	code, got = b.post("/open", form)
	require.Equal(t, http.StatusOK, code, got)
	require.EqualValues(t, 1, b.head(), "sent twice it is one case")
	form.Set("id", newID())
	code, got = b.post("/open", form)
	require.Equal(t, http.StatusUnprocessableEntity, code, got)
	require.EqualValues(t, 1, b.head())

	code, got = b.says("jumper from alt.B to batt+, fused 10 A")
	require.Equal(t, http.StatusOK, code, got)
	form.Set("case", newID())
	form.Set("plate", "kx-204")
	code, got = b.post("/open", form)
	require.Equal(t, http.StatusOK, code, got)
	b.stream = form.Get("case")
	require.Len(t, b.last().Says.GetCaseOpened().GetLeftBehind(), 1, "the jumper is on the vehicle still")
	require.Equal(t, 3, strings.Count(b.get("/"), "<h3>"))
}

// TestOpenNot: what cannot be opened says which field and why, keeps nothing, and leaves
// what was typed where it was typed, also without a script.
func TestOpenNot(t *testing.T) {
	b := newBay(t)
	whole := url.Values{"form": {"open"}, "concern": {"x"}, "make": {"Quillon"}, "model": {"Tarn"}, "system": {"12"}}
	for _, c := range []struct{ field, said, says string }{
		{"concern", " ", "the customer's words"},
		{"high-voltage", "perhaps", "yes, no, not known"},
		{"odometer", "far", "182000 km"},
		{"year", "MMXI", "no whole number"},
		{"system", "13", "12, 24 or 48"},
		{"onset", "2026-02-30", "onset"},
		{"vin", "1", "vin"},
		{"when", "whenever", "when"},
		{"case", "mine", "id"},
	} {
		form := url.Values{}
		for k, v := range whole {
			form[k] = v
		}
		form.Set(c.field, c.said)
		code, got := b.post("/open", form)
		require.Equal(t, http.StatusUnprocessableEntity, code, "%s: %v", c.field, got)
		require.Contains(t, got["error"], c.says)
		r, text := b.plainly("/open", form)
		require.Equal(t, http.StatusUnprocessableEntity, r.StatusCode)
		require.Contains(t, text, `value="Quillon"`)
		require.Contains(t, text, `role="alert"`)
	}
	code, got := b.post("/open", url.Values{"form": {"open"}, "concern": {"x"}, "system": {"12"}})
	require.Equal(t, http.StatusUnprocessableEntity, code)
	require.Contains(t, got["error"], "VIN, a plate, or make and model")

	whole.Set("year", "2031")
	code, got = b.post("/open", whole)
	require.Equal(t, http.StatusConflict, code, got)
	r, text := b.plainly("/open", whole)
	require.Equal(t, http.StatusConflict, r.StatusCode)
	require.Contains(t, text, `name="yes"`, "it can be said to be right")
	require.Equal(t, 1, strings.Count(b.get("/"), "<h3>"), "nothing was opened")
	whole.Set("yes", "1")
	r, _ = b.plainly("/open", whole)
	require.Equal(t, http.StatusSeeOther, r.StatusCode)
	require.Equal(t, 2, strings.Count(b.get("/"), "<h3>"))
}
