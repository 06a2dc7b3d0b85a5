package check_test

import (
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
	"google.golang.org/protobuf/encoding/protowire"
	"google.golang.org/protobuf/proto"
	"google.golang.org/protobuf/reflect/protoreflect"
	"pgregory.net/rapid"

	"knowngood.example/cases/check"
	"knowngood.example/cases/envelope"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

var now = time.Unix(1750003600, 0)

// Every kind that the vocabulary has must have a check, an example that is
// accepted and one that is refused.
func TestEveryKindHasExamples(t *testing.T) {
	t.Parallel()
	all := examples()
	fields := (*eventv1.Event)(nil).ProtoReflect().Descriptor().Oneofs().ByName("kind").Fields()
	require.Equal(t, fields.Len(), len(all))
	for i := 0; i < fields.Len(); i++ {
		name := string(fields.Get(i).Name())
		x, ok := all[name]
		require.True(t, ok, "no example of %s", name)
		require.EqualValues(t, fields.Get(i).Number(), kindOf(x.good), name)
		require.NotEmpty(t, x.bad, "no refused example of %s", name)
		r := check.Event(x.good, context())
		require.NoError(t, r.Err(), name)
		require.Empty(t, r.Questions(), name)
		require.NoError(t, check.Event(x.good, check.Context{}).Err(), "%s, with nothing known", name)
		for _, b := range x.bad {
			e := proto.Clone(x.good).(*eventv1.Event)
			b.change(e)
			requireFinding(t, check.Event(e, context()), check.Refuse, b.field, b.words)
		}
	}
}

func requireFinding(t *testing.T, r check.Report, severity check.Severity, field, words string) {
	t.Helper()
	for _, f := range r.Findings {
		if f.Severity == severity && f.Field == field && strings.Contains(f.String(), words) {
			return
		}
	}
	require.Failf(t, "not found", "%d %s: ... %s ... among %v", severity, field, words, r.Findings)
}

// Every field of every message must be set in some accepted example, so that
// none is refused by mistake and none is missing from the frozen encodings.
func TestExamplesSetEveryField(t *testing.T) {
	t.Parallel()
	set := make(map[protoreflect.FullName]bool)
	var walk func(m protoreflect.Message)
	walk = func(m protoreflect.Message) {
		m.Range(func(f protoreflect.FieldDescriptor, v protoreflect.Value) bool {
			set[f.FullName()] = true
			switch {
			case f.Message() == nil:
			case f.IsList():
				for i := 0; i < v.List().Len(); i++ {
					walk(v.List().Get(i).Message())
				}
			default:
				walk(v.Message())
			}
			return true
		})
	}
	for _, x := range examples() {
		walk(x.good.ProtoReflect())
	}
	m := examples()["reading"].good
	m.GetReading().Failures, m.GetReading().Outcome = 1, fail
	require.NoError(t, check.Event(m, context()).Err())
	walk(m.ProtoReflect())
	m = examples()["test"].good
	m.GetTest().Failures, m.GetTest().Outcome = 1, fail
	require.NoError(t, check.Event(m, context()).Err())
	walk(m.ProtoReflect())
	m = examples()["note"].good
	m.Happened = &eventv1.Moment{UnixSeconds: 1750000000, Nanos: 5, Precision: eventv1.Precision_PRECISION_SECOND}
	require.NoError(t, check.Event(m, context()).Err())
	walk(m.ProtoReflect())

	seen := make(map[protoreflect.FullName]bool)
	var need func(d protoreflect.MessageDescriptor)
	need = func(d protoreflect.MessageDescriptor) {
		if seen[d.FullName()] {
			return
		}
		seen[d.FullName()] = true
		for i := 0; i < d.Fields().Len(); i++ {
			f := d.Fields().Get(i)
			require.True(t, set[f.FullName()], "%s is set in no example", f.FullName())
			if f.Message() != nil {
				need(f.Message())
			}
		}
	}
	need((*eventv1.Event)(nil).ProtoReflect().Descriptor())
}

// An empty event of any kind, and one with nothing behind its kind, must be
// checked without a panic; what refers to something is refused.
func TestEmptyKinds(t *testing.T) {
	t.Parallel()
	bare := map[string]bool{"concern_duplicated": true, "concern_acting_up": true, "concern_gone_away": true, "codes_cleared": true}
	fields := (*eventv1.Event)(nil).ProtoReflect().Descriptor().Oneofs().ByName("kind").Fields()
	for i := 0; i < fields.Len(); i++ {
		f := fields.Get(i)
		e := new(eventv1.Event)
		e.ProtoReflect().Set(f, e.ProtoReflect().NewField(f))
		err := check.Event(e, context()).Err()
		if bare[string(f.Name())] {
			require.NoError(t, err, f.Name())
			continue
		}
		require.ErrorContains(t, err, string(f.Name())+".")
	}
	require.ErrorContains(t, check.Event(&eventv1.Event{Kind: &eventv1.Event_Note{}}, context()).Err(), "note.text")
	require.ErrorContains(t, check.Event(&eventv1.Event{}, context()).Err(), "kind: is not set")
	require.Error(t, check.Event(nil, context()).Err())
}

func TestAKindFromTheFuturePasses(t *testing.T) {
	t.Parallel()
	b, err := proto.Marshal(event(func(*eventv1.Event) {}))
	require.NoError(t, err)
	b = protowire.AppendBytes(protowire.AppendTag(b, 151, protowire.BytesType), []byte("from the future"))
	o, err := envelope.Open(b)
	require.NoError(t, err)
	r := check.Event(o.Event, context())
	require.NoError(t, r.Err())
	require.Empty(t, r.Remarks())
}

func reading(change func(*eventv1.Reading)) *eventv1.Event {
	e := examples()["reading"].good
	change(e.GetReading())
	return e
}

func TestWhatIsAskedAgain(t *testing.T) {
	t.Parallel()
	plain := func(q *eventv1.Quantity) func(*eventv1.Reading) {
		return func(r *eventv1.Reading) { r.Value, r.ShouldBe, r.Outcome = q, nil, 0 }
	}
	of := func(name string, change func(*eventv1.Event)) *eventv1.Event {
		e := examples()[name].good
		change(e)
		return e
	}
	for _, x := range []struct {
		e            *eventv1.Event
		field, words string
	}{
		{reading(plain(quantity("14000", "V"))), "reading.value", "14000 V on a 12 V system"},
		{reading(plain(quantity("14", "kV"))), "reading.value", "14 kV on a 12 V system"},
		{reading(plain(quantity("-80", "V"))), "reading.value", "on a 12 V system"},
		{reading(plain(quantity("5000", "A"))), "reading.value", "starter"},
		{reading(func(r *eventv1.Reading) { r.Black = "BCM.C3-14" }), "reading.black", "between two points"},
		{reading(func(r *eventv1.Reading) { r.Red = "" }), "reading.red", "where was the red lead"},
		{reading(func(r *eventv1.Reading) { r.Value.Digits = "11.2" }), "reading.outcome", "11.2 V dc is less than 12 V"},
		{reading(func(r *eventv1.Reading) { r.Outcome, r.ShouldBe.Said, r.Tries = fail, "", 0 }), "reading.outcome", "as it should be"},
		{reading(func(r *eventv1.Reading) { r.Failures = 1 }), "reading.outcome", "1 failures"},
		{reading(func(r *eventv1.Reading) { r.Instrument.Kind = eventv1.InstrumentKind_INSTRUMENT_KIND_TEST_LAMP }), "reading.instrument.kind", "test lamp"},
		{reading(func(r *eventv1.Reading) { r.Instrument.Kind = eventv1.InstrumentKind_INSTRUMENT_KIND_LED_TESTER }), "reading.instrument.kind", "led tester"},
		{reading(func(r *eventv1.Reading) { r.Instrument.Kind = eventv1.InstrumentKind_INSTRUMENT_KIND_EYES_AND_HANDS }), "reading.instrument.kind", "eyes and hands"},
		{of("note", func(e *eventv1.Event) { e.Happened = moment(now.Unix() + 301) }), "happened", "lies in the future"},
		{of("note", func(e *eventv1.Event) { e.Happened = moment(0) }), "happened", "long ago"},
		{of("case_opened", func(e *eventv1.Event) { e.GetCaseOpened().Vehicle.Vin = "1G4AH59H55G118341" }), "case_opened.vehicle.vin", "should be 4"},
		{of("case_opened", func(e *eventv1.Event) { e.GetCaseOpened().Vehicle.Year = 2050 }), "case_opened.vehicle.year", "yet to come"},
		{of("case_opened", func(e *eventv1.Event) { e.GetCaseOpened().Vehicle.Odometer = quantity("6000000", "km") }), "case_opened.vehicle.odometer", "farther"},
		{of("case_opened", func(e *eventv1.Event) { e.GetCaseOpened().Concern.Onset = moment(now.Unix() + 9999) }), "case_opened.concern.onset", "future"},
		{of("concern_duplicated", func(e *eventv1.Event) { e.GetConcernDuplicated().Failures = 0 }), "concern_duplicated.failures", "gone away"},
		{of("codes_read", func(e *eventv1.Event) { e.GetCodesRead().Codes[0].Code = "P4480" }), "codes_read.codes[0].code", "0 to 3"},
		{of("part_fitted", func(e *eventv1.Event) { e.GetPartFitted().BorrowedFrom = "" }), "part_fitted.borrowed_from", "stands open"},
		{of("test", func(e *eventv1.Event) { e.GetTest().Outcome = fail }), "test.outcome", "no failure in 3 tries"},
		{of("made_safe", func(e *eventv1.Event) { e.GetMadeSafe().TesterProven = 0 }), "made_safe.tester_proven", "proven tester"},
		{of("made_safe", func(e *eventv1.Event) { e.GetMadeSafe().QualifiedHow = "" }), "made_safe.qualified_how", "qualified"},
		{of("repair_checked", func(e *eventv1.Event) { e.GetRepairChecked().Concern = eventv1.Presence_PRESENCE_PRESENT }), "repair_checked.outcome", "was present"},
		{of("handed_off", func(e *eventv1.Event) { e.GetHandedOff().Question = "" }), "handed_off.question", "find out"},
		{of("part_put_back", func(e *eventv1.Event) { e.GetPartPutBack().Undoes = id(theMissing) }), "part_put_back.undoes", "is not here"},
		{of("temporary_off", func(e *eventv1.Event) { e.GetTemporaryOff().Temporary = id(theMissing) }), "temporary_off.temporary", "is not here"},
		{of("time_spent", func(e *eventv1.Event) { e.GetTimeSpent().Minutes = 2000 }), "time_spent.minutes", "more than a day"},
	} {
		r := check.Event(x.e, context())
		require.NoError(t, r.Err(), x.field)
		requireFinding(t, r, check.AskAgain, x.field, x.words)
		require.Len(t, r.Questions(), 1, "%v", r.Findings)
		require.Equal(t, r.Questions()[0], r.Remarks()[0], "a server takes it with a remark")
	}
}

// The ranges are assumed and wide; a slip of digits or unit falls out of them.
func TestValuesHardlyMet(t *testing.T) {
	t.Parallel()
	at := func(q *eventv1.Quantity) check.Report {
		return check.Event(reading(func(r *eventv1.Reading) {
			r.Value, r.Red, r.Black, r.ShouldBe, r.Outcome, r.Instrument = q, "", "", nil, 0, nil
		}), check.Context{})
	}
	for _, x := range []struct{ unit, met, hardly string }{
		{"V", "400", "1200"}, {"A", "-800", "3500"}, {"Cel", "900", "1500"}, {"[degF]", "-40", "-100"}, {"bar", "2500", "5000"}, {"kPa", "-60", "-150"},
		{"%", "-25", "-2000"}, {"km/h", "250", "600"}, {"N.m", "900", "50000"}, {"kW", "500", "3000"}, {"/min", "180000", "500000"},
	} {
		r := at(quantity(x.met, x.unit))
		require.NoError(t, r.Err(), x)
		require.Empty(t, r.Questions(), x)
		r = at(quantity(x.hardly, x.unit))
		require.NoError(t, r.Err(), x)
		require.Len(t, r.Questions(), 1, x)
	}
	peak := quantity("90000", "V")
	peak.Shape = eventv1.Shape_SHAPE_PEAK
	require.Len(t, at(peak).Questions(), 1)
}

func TestWhatIsNotAsked(t *testing.T) {
	t.Parallel()
	for name, e := range map[string]*eventv1.Event{
		"an ignition coil's peak": reading(func(r *eventv1.Reading) {
			r.Value = &eventv1.Quantity{Digits: "400", Unit: "V", Sense: 1, Shape: eventv1.Shape_SHAPE_PEAK}
			r.ShouldBe, r.Outcome = nil, 0
		}),
		"a value at its limit, within what the display shows": reading(func(r *eventv1.Reading) { r.Value.Digits = "12.0"; r.ShouldBe.Low = quantity("12.04", "V") }),
		"over where an upper limit is missing": reading(func(r *eventv1.Reading) {
			r.Value = &eventv1.Quantity{Unit: "MOhm", Sense: eventv1.Sense_SENSE_OVER_RANGE}
			r.ShouldBe = &eventv1.Expectation{Low: quantity("10", "kOhm")}
		}),
		"under a limit that it may lie below": reading(func(r *eventv1.Reading) {
			r.Value = &eventv1.Quantity{Digits: "20", Unit: "V", Sense: eventv1.Sense_SENSE_UNDER}
		}),
		"about a limit": reading(func(r *eventv1.Reading) {
			r.Value = &eventv1.Quantity{Digits: "11.9", Unit: "V", Sense: eventv1.Sense_SENSE_ABOUT}
		}),
		"a fail that words may explain": reading(func(r *eventv1.Reading) { r.Outcome, r.Tries = fail, 0 }),
		"a fail outside": reading(func(r *eventv1.Reading) {
			r.Value, r.Outcome, r.Tries, r.ShouldBe.Said = quantity("10.1", "V"), fail, 0, ""
		}),
		"a strict limit": reading(func(r *eventv1.Reading) { r.ShouldBe.High.Sense = eventv1.Sense_SENSE_UNDER }),
		"a moment within the clocks' slack": event(func(e *eventv1.Event) {
			e.Happened = moment(now.Unix() + 299)
			e.Kind = &eventv1.Event_Note{Note: &eventv1.Note{Text: "a"}}
		}),
	} {
		r := check.Event(e, context())
		require.NoError(t, r.Err(), name)
		require.Empty(t, r.Questions(), name)
	}
	volts := reading(func(r *eventv1.Reading) { r.Value, r.ShouldBe, r.Outcome = quantity("400", "V"), nil, 0 })
	ctx := context()
	require.Len(t, check.Event(volts, ctx).Questions(), 1)
	ctx.HighVoltage = true
	require.Empty(t, check.Event(volts, ctx).Questions())
	ctx.Now = time.Time{}
	require.Empty(t, check.Event(event(func(e *eventv1.Event) {
		e.Happened = moment(1 << 34)
		e.Kind = &eventv1.Event_Note{Note: &eventv1.Note{Text: "a"}}
	}), ctx).Questions(), "no clock was given")
}

func TestWhatIsRemarked(t *testing.T) {
	t.Parallel()
	of := func(name string, change func(*eventv1.Event)) *eventv1.Event {
		e := examples()[name].good
		change(e)
		return e
	}
	for _, x := range []struct {
		e            *eventv1.Event
		field, words string
	}{
		{of("case_opened", func(e *eventv1.Event) { e.GetCaseOpened().Vehicle.Vin = "WG4AH59H55G118341" }), "case_opened.vehicle.vin", "outside North America"},
		{of("case_opened", func(e *eventv1.Event) { e.GetCaseOpened().Vehicle.Year = 2019 }), "case_opened.vehicle.year", "2001 or 2031"},
		{of("part_fitted", func(e *eventv1.Event) { e.GetPartFitted().Cost = &eventv1.Money{Minor: 5, Currency: "USD"} }), "part_fitted.cost.currency", "not in EUR"},
		{of("part_fitted", func(e *eventv1.Event) { e.GetPartFitted().Why = 0 }), "part_fitted.why", "a guess"},
		{of("note", func(e *eventv1.Event) { e.Because = []string{id(theMissing)} }), "because[0]", "is not here"},
		{of("note", func(e *eventv1.Event) {
			e.Placed = &eventv1.Placement{Where: &eventv1.Placement_After{After: id(theMissing)}}
		}), "placed.after", "is not here"},
		{of("belief", func(e *eventv1.Event) { e.GetBelief().ToldBy = "" }), "belief.told_by", "whose word"},
		{of("test", func(e *eventv1.Event) { e.GetTest().ConcernChange = 0 }), "test.concern_change", "bypass"},
		{reading(func(r *eventv1.Reading) { r.Black = "" }), "reading.black", "two leads"},
		{of("correction", func(e *eventv1.Event) { e.GetCorrection().Replacement = []byte{0xBA, 0x09, 0x00} }), "correction.replacement", "kind 151"},
		{of("check_due", func(e *eventv1.Event) { e.GetCheckDue().Due = moment(1700000000) }), "check_due.due", "has been"},
	} {
		r := check.Event(x.e, context())
		require.NoError(t, r.Err(), x.field)
		require.Empty(t, r.Questions())
		requireFinding(t, r, check.Remark, x.field, x.words)
	}
}

func TestCorrectionsThatAreTaken(t *testing.T) {
	t.Parallel()
	opening := replacement(func(e *eventv1.Event) { e.Kind = examples()["case_opened"].good.Kind; e.Happened = nil })
	for name, k := range map[string]*eventv1.Correction{
		"withdrawn":                        {Entry: id(theReading), Why: "wrong car"},
		"replaced":                         {Entry: id(theReading), Why: "wrong pin", Replacement: note("x")},
		"an opening by an opening":         {Entry: id(theOpening), Why: "wrong VIN", Replacement: opening},
		"a correction withdrawn":           {Entry: id(theCorrection), Why: "it was right"},
		"what is not understood withdrawn": {Entry: id(theFuture), Why: "wrong car"},
	} {
		e := event(func(e *eventv1.Event) { e.Kind = &eventv1.Event_Correction{Correction: k} })
		require.NoError(t, check.Event(e, context()).Err(), name)
	}
}

// By descriptor: a kind that is added must be put into one group or the other.
func TestGroupsOfKinds(t *testing.T) {
	t.Parallel()
	var transitions, kept []string
	for _, k := range envelope.Kinds() {
		if check.Transition(k) {
			transitions = append(transitions, envelope.KindName(k))
		}
		if !check.Erasable(k) {
			kept = append(kept, envelope.KindName(k))
		}
	}
	require.Equal(t, []string{"handed off", "taken up", "handed back", "closed", "reopened", "access granted", "access withdrawn"}, transitions)
	require.Equal(t, []string{"case opened", "access granted", "access withdrawn", "erased", "file erased", "shop opened", "person added", "device added", "device withdrawn", "role given", "restored"}, kept)
	for _, k := range []uint32{0, 1, 150, 199, 5000} {
		require.False(t, check.Transition(k))
		require.False(t, check.Erasable(k), "what is not understood is not erased")
	}
}

func TestRoles(t *testing.T) {
	t.Parallel()
	for _, s := range []string{"customer", "previous shop", "co-driver", "vorige werkstatt", "kfz-meister für öl", "前の店"} {
		require.NoError(t, check.Role(s), s)
	}
	for _, s := range []string{"", " ", "Customer", "customer ", "previous  shop", "-x", "x-", "x1", "x@y", "x.y", "a\nb", "\xff", strings.Repeat("ab ", 14) + "a", "a\u202Eb"} {
		require.Error(t, check.Role(s), "%q", s)
	}
}

// Whatever bytes come, checking neither panics nor takes time out of proportion.
func TestAnyEventCanBeChecked(t *testing.T) {
	t.Parallel()
	all := examples()
	var names []string
	for name := range all {
		names = append(names, name)
	}
	rapid.Check(t, func(t *rapid.T) {
		b, err := proto.Marshal(all[rapid.SampledFrom(names).Draw(t, "kind")].good)
		require.NoError(t, err)
		for i := 0; i < 5; i++ {
			b[rapid.IntRange(0, len(b)-1).Draw(t, "at")] = rapid.Byte().Draw(t, "byte")
		}
		e := new(eventv1.Event)
		if proto.Unmarshal(b, e) == nil {
			_ = check.Event(e, context()).Remarks()
		}
	})
}

// A server checks every event it takes.
func BenchmarkReading(b *testing.B) {
	e, ctx := examples()["reading"].good, context()
	b.ReportAllocs()
	for b.Loop() {
		if check.Event(e, ctx).Err() != nil {
			b.Fatal("refused")
		}
	}
}

// TestNewerBuilds: an event that carries what this build does not know is never
// refused for what it seems to lack.
func TestNewerBuilds(t *testing.T) {
	t.Parallel()
	e := &eventv1.Event{Kind: &eventv1.Event_Test{Test: &eventv1.Test{What: "tried", Manner: 99}}}
	require.NoError(t, check.Event(e, check.Context{}).Err(), "a value of an enum from the future")
	e.GetTest().Manner = eventv1.TestManner_TEST_MANNER_BENCH
	require.Error(t, check.Event(e, check.Context{}).Err(), "the same, all understood: it covers nothing")
	e.GetTest().ProtoReflect().SetUnknown([]byte{0xf8, 0x3f, 0x01}) // field 1023, a varint
	report := check.Event(e, check.Context{})
	require.NoError(t, report.Err(), "a field from the future")
	require.NotEmpty(t, report.Remarks(), "it is said all the same")
}
