package web

import (
	"errors"
	"fmt"
	"net/http"
	"slices"

	"knowngood.example/cases/check"
	"knowngood.example/cases/envelope"
	"knowngood.example/client"
)

// refusedRow is something that was written down here and that the server did not take.
type refusedRow struct {
	ID, Kind, Text, Why string
}

// tray is what of the case was refused.
func (v *visit) tray(c *Case) ([]refusedRow, error) {
	list, err := v.desk.Refused(v.r.Context(), c.Stream)
	if err != nil {
		return nil, err
	}
	var out []refusedRow
	for _, r := range list {
		row := refusedRow{ID: r.ID, Kind: r.Kind, Why: r.Text}
		if e, err := r.Anew(); err == nil {
			row.Text = c.Describe(stepOf(e), v.who.Names)
		}
		out = append(out, row)
	}
	return out, nil
}

// sayAgain records anew what was refused: the same words, at the place that is next now.
func sayAgain(v *visit) error {
	if err := v.r.ParseForm(); err != nil {
		return err
	}
	list, err := v.desk.Refused(v.r.Context(), v.stream())
	if err != nil {
		return err
	}
	i := slices.IndexFunc(list, func(r client.Refused) bool { return r.ID == v.r.PostForm.Get("refused") })
	if i < 0 {
		return fmt.Errorf("%w: that waits to be done again no more", client.ErrNotFound)
	}
	e, err := list[i].Anew()
	if err != nil {
		return err
	}
	s := spoken{event: e}
	err = v.desk.Case(v.r.Context(), v.stream(), func(c *Case) error {
		if c.Sent < list[i].Head { // the place that is next is not known here
			return errors.New("what came in between is not here yet: do it again once it is shown")
		}
		if check.Transition(envelope.KindOf(e)) {
			v.expects(c, e)
		}
		s.Understood = client.Clean(c.Describe(stepOf(e), v.who.Names))
		return check.Event(e, client.Checks(c.Case, v.Now(), v.who.Currency)).Err()
	})
	if err != nil {
		return v.refused("", impossible{err})
	}
	if err := v.desk.Record(v.r.Context(), e); err != nil {
		return v.refused("", err)
	}
	if err := v.desk.Settled(v.r.Context(), list[i].ID, e.GetId()); err != nil {
		return err
	}
	if !wantsJSON(v.r) {
		http.Redirect(v.w, v.r, "/case/"+v.stream(), http.StatusSeeOther)
		return nil
	}
	return v.told(s)
}
