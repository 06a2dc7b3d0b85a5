package cases_test

import (
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"knowngood.example/cases"
)

// TestGradesKnowOnlyTheirOwn: what the fitter's shop had not seen changes no
// grade, a life that began or a name that came up included.
func TestGradesKnowOnlyTheirOwn(t *testing.T) {
	t.Parallel()
	grade := func(text string) cases.Grade {
		c := fold(t, text)
		j := c.Judge(nil)
		for _, f := range j.Fittings {
			if f.Step.Seq == 3 {
				return j.Graded(f).Grade
			}
		}
		t.Fatal("no fitting")
		return 0
	}
	pointed := "north@north: case-opened concern.statement=dark\ntest manner=function covers=motor outcome=fail\npart-fitted component=motor state=new\n"
	require.Equal(t, cases.PointedTo, grade(pointed))
	for _, later := range []string{
		"jo@south: part-fitted component=motor state=new before-opening",
		"jo@south: part-put-back component=motor after=#2",
		"belief statement=x basis=assumed component=thing",
	} {
		require.Equal(t, cases.PointedTo, grade(pointed+later), later)
	}
	many := pointed
	for i := range 70 {
		many += "belief statement=x basis=assumed component=thing" + strings.Repeat("i", i+1) + "\n"
	}
	require.Equal(t, cases.PointedTo, grade(many))
}

// TestThreeBad: three tests of one part each that failed are three bad parts, also
// once one of them was exchanged.
func TestThreeBad(t *testing.T) {
	t.Parallel()
	c := fold(t, `case-opened concern.statement=dark
test manner=bench covers=motor outcome=fail
test manner=bench covers=relay outcome=fail
test manner=bench covers=plug outcome=fail
part-fitted component=motor state=new`)
	j := c.Judge(nil)
	require.Empty(t, j.Again())
	for _, name := range []string{"relay", "plug"} {
		require.Equal(t, cases.ProvenBad, j.Verdicts(c.Component(name))[0].Standing, name)
	}
	require.Len(t, j.WereBad(c.Component("motor")), 1)
}
