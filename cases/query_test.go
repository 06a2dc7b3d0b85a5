package cases_test

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"knowngood.example/cases"
	"knowngood.example/cases/scenario"
)

var noon = time.Date(2026, 3, 3, 12, 0, 0, 0, time.UTC)

const queried = opening + `
part-fitted component="fan motor" state=new why=guess
jo@south: reading value="12.4 V" red="fan C1-2" black=batt- outcome=pass covers="fan feed"
reading value="0.9 V drop" red="fan C1-1" black=batt- outcome=fail covers="splice S4"
mara@north: belief statement="the ground is good" basis=assumed component="splice S4" by=customer happened=2026-02-20
note text="fan connector is brown" before-opening
`

func TestQuery(t *testing.T) {
	t.Parallel()
	s := read(t, queried)
	c, err := s.Case()
	require.NoError(t, err)
	for text, want := range map[string][]uint64{
		"":                               {1, 2, 3, 4, 5, 6},
		"kind:reading":                   {3, 4},
		"kind:part-fitted kind:note":     {2, 6},
		"who:jo":                         {3, 4},
		"who:customer":                   {5},
		"shop:north":                     {1, 2, 5, 6},
		"component:'splice s4'":          nil,
		`component:"Splice  S4"`:         {4, 5},
		`point:"fan c1-2"`:               {3},
		"ground":                         {5},
		"fan brown":                      {6},
		"FAN BROWN order:job":            {6},
		"order:job":                      {6, 1, 2, 3, 4, 5},
		"since:4":                        {4, 5, 6},
		"since:#4 until:5":               {4, 5},
		"from:2 through:3":               {2, 3},
		"as-of:3":                        {1, 2, 3},
		"until:2026-02-28":               {5},
		"since:2026-03-02T08:30:00Z":     {4, 6},
		"text:kind:reading":              nil,
		`text:"ground is"`:               {5},
		"who:" + scenario.PersonID("jo"): {3, 4},
		"who:nobody":                     nil,
	} {
		q, err := cases.ParseQuery(text, noon)
		require.NoError(t, err, text)
		var got []uint64
		for _, r := range c.Timeline(q, s.Names) {
			got = append(got, r.Step.Seq)
		}
		require.Equal(t, want, got, text)
	}
}

func TestQueryErrors(t *testing.T) {
	t.Parallel()
	for text, want := range map[string]struct {
		column int
		says   string
	}{
		"fan kidn:reading":     {5, "there is kind, who, shop"},
		"kind:raeding":         {1, "is no kind of entry"},
		"kind:concern":         {1, "could be"},
		`point:"fan`:           {1, "not closed"},
		"Ω since:":             {3, "nothing after the colon"},
		"as-of:0":              {1, "count from 1"},
		"order:clock":          {1, "'log'"},
		"since:soonish":        {1, "soonish"},
		"\xff":                 {1, "UTF-8"},
		"from:-1":              {1, "count from 1"},
		"fan\u3000\t until:x2": {7, "x2"},
	} {
		_, err := cases.ParseQuery(text, noon)
		var qe *cases.QueryError
		require.ErrorAs(t, err, &qe, text)
		require.Equal(t, want.column, qe.Column, text)
		require.Contains(t, qe.What, want.says, text)
	}
}

func FuzzParseQuery(f *testing.F) {
	for _, s := range []string{"", "kind:reading point:\"fan C1-2\" since:12 brown", "as-of:3 order:job", "since:yesterday", "\"", "a:b:c", "who:…abcdef"} {
		f.Add(s)
	}
	s := read(f, queried)
	c, err := s.Case()
	require.NoError(f, err)
	f.Fuzz(func(t *testing.T, text string) {
		q, err := cases.ParseQuery(text, noon)
		if err != nil {
			return
		}
		require.LessOrEqual(t, len(c.Timeline(q, s.Names)), int(c.Head()))
	})
}
