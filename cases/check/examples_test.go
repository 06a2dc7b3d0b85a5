package check_test

import (
	"bytes"
	"fmt"
	"slices"
	"strings"

	"google.golang.org/protobuf/proto"

	"knowngood.example/cases/check"
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// Invented throughout. ids are numbers in the form of a UUIDv7.
func id(n int) string { return fmt.Sprintf("01970000-0000-7000-8000-%012x", n) }

// Entries that the examples refer to.
const (
	theReading = 200 + iota
	theBelief
	theTemporary
	theFitting
	theHandOff
	theRepair
	theNote
	theOpening
	theClosing
	theGrant
	theErasure
	theCorrection
	theRegister
	theFuture
	theMissing
)

var kinds = map[string]uint32{
	id(theReading): 111, id(theBelief): 115, id(theTemporary): 119, id(theFitting): 108, id(theHandOff): 125, id(theRepair): 123, id(theNote): 130,
	id(theOpening): 100, id(theClosing): 133, id(theGrant): 160, id(theErasure): 162, id(theCorrection): 132, id(theRegister): 181, id(theFuture): 150,
}

// context knows the entries above.
func context() check.Context {
	return check.Context{
		Now: now, SystemVolts: 12, Currency: "EUR", Owner: id(5),
		Kind: func(id string) (uint32, bool) { k, ok := kinds[id]; return k, ok },
	}
}

// event makes an event with everything an envelope holds.
func event(set func(*eventv1.Event)) *eventv1.Event {
	e := &eventv1.Event{
		Id: id(1), Stream: id(2), Device: id(3), DeviceSeq: 2, Prev: bytes.Repeat([]byte{0xAB}, 32), ObservedThrough: 7,
		Happened: moment(1750000000), By: "previous shop", RecordedBy: id(4), Salt: bytes.Repeat([]byte{0x5A}, 16),
	}
	set(e)
	if check.Transition(kindOf(e)) {
		e.Expect = proto.Uint64(8)
	}
	return e
}

func kindOf(e *eventv1.Event) uint32 {
	m := e.ProtoReflect()
	if f := m.WhichOneof(m.Descriptor().Oneofs().ByName("kind")); f != nil {
		return uint32(f.Number())
	}
	return 0
}

func moment(seconds int64) *eventv1.Moment {
	return &eventv1.Moment{UnixSeconds: seconds, OffsetMinutes: 120, Precision: eventv1.Precision_PRECISION_MINUTE, Said: "yesterday evening"}
}

func quantity(digits, unit string) *eventv1.Quantity {
	return &eventv1.Quantity{Digits: digits, Unit: unit, Sense: eventv1.Sense_SENSE_EXACTLY}
}

func money(minor int64) *eventv1.Money { return &eventv1.Money{Minor: minor, Currency: "EUR"} }

func conditions() *eventv1.Conditions {
	return &eventv1.Conditions{
		Key: eventv1.KeyPosition_KEY_POSITION_RUNNING, Commanded: eventv1.Command_COMMAND_ON, Unplugged: []string{"temperature switch"},
		Jumped: []string{"relay K2 30-87"}, Loaded: []string{"headlamp bulb 55 W"}, Supply: quantity("13.9", "V"),
		Current: quantity("11", "A"), Temperature: quantity("96", "Cel"), Said: "in the sun",
	}
}

func instrument() *eventv1.Instrument {
	return &eventv1.Instrument{Kind: eventv1.InstrumentKind_INSTRUMENT_KIND_METER, Name: "meter 2"}
}

func shouldBe() *eventv1.Expectation {
	return &eventv1.Expectation{Low: quantity("12", "V"), High: quantity("12.9", "V"), Said: "as at the battery", Source: "common practice"}
}

func covered(name string) []*eventv1.Covered {
	return []*eventv1.Covered{{Component: name, Extent: eventv1.Extent_EXTENT_WHOLE, Modes: []eventv1.FaultMode{eventv1.FaultMode_FAULT_MODE_OPEN}}}
}

func concern() *eventv1.Concern {
	return &eventv1.Concern{
		Statement: "cooling fan does not run", Conditions: "hot, standing", Onset: moment(1749000000), JustBefore: "a bumper was replaced",
		Frequency: "always", Works: []string{"fan on high speed"}, DoesNotWork: []string{"fan on low speed"},
	}
}

func replacement(set func(*eventv1.Event)) []byte {
	e := &eventv1.Event{Happened: moment(1750000000), By: "customer"}
	set(e)
	b, err := proto.MarshalOptions{Deterministic: true}.Marshal(e)
	if err != nil {
		panic(err)
	}
	return b
}

func note(text string) []byte {
	return replacement(func(e *eventv1.Event) { e.Kind = &eventv1.Event_Note{Note: &eventv1.Note{Text: text}} })
}

// bad is a change to an example and the refusal it must bring.
type bad struct {
	change       func(*eventv1.Event)
	field, words string
}

// example of a kind: accepted as it is, refused with each change.
type example struct {
	good *eventv1.Event
	bad  []bad
}

const (
	pass = eventv1.Outcome_OUTCOME_PASS
	fail = eventv1.Outcome_OUTCOME_FAIL
	yes  = eventv1.Answer_ANSWER_YES
	no   = eventv1.Answer_ANSWER_NO
	open = eventv1.FaultMode_FAULT_MODE_OPEN
)

func digest() []byte { return bytes.Repeat([]byte{0xD1}, 32) }

// examples has one of every kind, with every field set.
func examples() map[string]example {
	long := strings.Repeat("x", 30000)
	all := make(map[string]example)
	add := func(name string, set func(*eventv1.Event), bad ...bad) {
		all[name] = example{good: event(set), bad: bad}
	}

	add("case_opened", func(e *eventv1.Event) {
		e.Kind = &eventv1.Event_CaseOpened{CaseOpened: &eventv1.CaseOpened{
			Shop: id(5), Concern: concern(), WorkOrder: "W-118", Crash: no, Flood: no, Rodents: eventv1.Answer_ANSWER_NOT_KNOWN,
			AddedEquipment: []string{"trailer socket"}, CanBeMoved: yes, Customer: id(6), Invented: true,
			Vehicle: &eventv1.Vehicle{
				Vin: "11111111111111111", Make: "invented", Model: "van", Year: 2001, Engine: "2.0 diesel", Odometer: quantity("123456", "km"),
				SystemVolts: 12, HighVoltage: no, Plate: "XX 100",
			},
			LeftBehind: []*eventv1.LeftBehind{{
				Stream: id(7), Entry: id(8), What: "jumper", Where: "relay K2 30-87", Undo: "take it out", Kind: eventv1.LeftKind_LEFT_KIND_TEMPORARY,
			}},
		}}
		e.Happened = nil
	},
		bad{func(e *eventv1.Event) { e.GetCaseOpened().Shop = "" }, "case_opened.shop", "id of the shop"},
		bad{func(e *eventv1.Event) { e.GetCaseOpened().Shop = "my shop" }, "case_opened.shop", "not a UUID"},
		bad{func(e *eventv1.Event) { e.GetCaseOpened().Vehicle = nil }, "case_opened.vehicle", "VIN, a plate"},
		bad{func(e *eventv1.Event) { e.GetCaseOpened().Vehicle.Vin = "1111111111111111" }, "case_opened.vehicle.vin", "17"},
		bad{func(e *eventv1.Event) { e.GetCaseOpened().Vehicle.Vin = "1111111111111111O" }, "case_opened.vehicle.vin", "no VIN has"},
		bad{func(e *eventv1.Event) { e.GetCaseOpened().Vehicle.Vin = "1g4ah59h45g118341" }, "case_opened.vehicle.vin", "write 1G4AH59H45G118341"},
		bad{func(e *eventv1.Event) { e.GetCaseOpened().Vehicle.Year = 31 }, "case_opened.vehicle.year", "four digits"},
		bad{func(e *eventv1.Event) { e.GetCaseOpened().Vehicle.SystemVolts = 13 }, "case_opened.vehicle.system_volts", "12, 24 or 48"},
		bad{func(e *eventv1.Event) { e.GetCaseOpened().Vehicle.Odometer = quantity("5", "V") }, "case_opened.vehicle.odometer", "km or mi"},
		bad{func(e *eventv1.Event) { e.GetCaseOpened().Vehicle.Odometer = quantity("-5", "km") }, "case_opened.vehicle.odometer", "cannot be"},
		bad{func(e *eventv1.Event) { e.GetCaseOpened().Concern = nil }, "case_opened.concern.statement", "what the customer says"},
		bad{func(e *eventv1.Event) { e.GetCaseOpened().Concern.Onset.Nanos = -1 }, "case_opened.concern.onset.nanos", "out of range"},
		bad{func(e *eventv1.Event) { e.GetCaseOpened().Customer = "Erika" }, "case_opened.customer", "kept elsewhere"},
		bad{func(e *eventv1.Event) { e.GetCaseOpened().LeftBehind[0].Entry = "" }, "case_opened.left_behind[0].entry", "earlier case"},
		bad{func(e *eventv1.Event) { e.GetCaseOpened().LeftBehind[0].What = " " }, "case_opened.left_behind[0].what", "left on the vehicle"},
		bad{func(e *eventv1.Event) { e.GetCaseOpened().LeftBehind[0].Kind = 0 }, "case_opened.left_behind[0].kind", "temporary"},
		bad{func(e *eventv1.Event) { e.GetCaseOpened().AddedEquipment = []string{""} }, "case_opened.added_equipment[0]", "leave it out"},
		bad{func(e *eventv1.Event) {
			e.Placed = &eventv1.Placement{Where: &eventv1.Placement_BeforeOpening{BeforeOpening: true}}
		}, "placed", "stands where the log takes it"},
	)
	add("concern_stated", func(e *eventv1.Event) {
		e.Kind = &eventv1.Event_ConcernStated{ConcernStated: &eventv1.ConcernStated{Concern: concern(), SaidBy: "towing driver"}}
	},
		bad{func(e *eventv1.Event) { e.GetConcernStated().Concern = nil }, "concern_stated.concern", "says nothing"},
		bad{func(e *eventv1.Event) { e.GetConcernStated().SaidBy = "Mrs Example" }, "concern_stated.said_by", "names of people"},
	)
	add("concern_duplicated", func(e *eventv1.Event) {
		e.Kind = &eventv1.Event_ConcernDuplicated{ConcernDuplicated: &eventv1.ConcernDuplicated{
			Conditions: conditions(), What: "fan stood still at 104 °C", Tries: 5, Failures: 3, UnsafeToRepeat: true, OnRecord: true,
		}}
	},
		bad{func(e *eventv1.Event) { e.GetConcernDuplicated().Failures = 6 }, "concern_duplicated.failures", "as many tries"},
		bad{func(e *eventv1.Event) { e.GetConcernDuplicated().Conditions.Supply = quantity("5", "A") }, "concern_duplicated.conditions.supply", "voltage"},
		bad{func(e *eventv1.Event) { e.GetConcernDuplicated().Conditions.Current = quantity("5", "V") }, "concern_duplicated.conditions.current", "current"},
		bad{func(e *eventv1.Event) { e.GetConcernDuplicated().Conditions.Temperature = quantity("5", "bar") }, "concern_duplicated.conditions.temperature", "temperature"},
		bad{func(e *eventv1.Event) { e.GetConcernDuplicated().Conditions.Unplugged = []string{"?"} }, "concern_duplicated.conditions.unplugged[0]", "no letter"},
	)
	add("concern_acting_up", func(e *eventv1.Event) {
		e.Kind = &eventv1.Event_ConcernActingUp{ConcernActingUp: &eventv1.ConcernActingUp{Conditions: conditions(), What: "fan stands still"}}
	},
		bad{func(e *eventv1.Event) { e.GetConcernActingUp().What = "a\u202Eb" }, "concern_acting_up.what", "another order"},
	)
	add("concern_gone_away", func(e *eventv1.Event) {
		e.Kind = &eventv1.Event_ConcernGoneAway{ConcernGoneAway: &eventv1.ConcernGoneAway{Conditions: conditions(), What: "fan runs"}}
	},
		bad{func(e *eventv1.Event) { e.GetConcernGoneAway().What = "a\x00b" }, "concern_gone_away.what", "control character"},
	)
	add("codes_read", func(e *eventv1.Event) {
		e.Kind = &eventv1.Event_CodesRead{CodesRead: &eventv1.CodesRead{
			Module: "engine module", Answer: eventv1.CodesAnswer_CODES_ANSWER_CODES, Conditions: conditions(), Instrument: instrument(),
			Codes: []*eventv1.TroubleCode{{Code: "P0480", State: eventv1.CodeState_CODE_STATE_STORED, Said: "fan control", FreezeFrame: []string{"coolant 104 °C"}}},
		}}
	},
		bad{func(e *eventv1.Event) { e.GetCodesRead().Answer = 0 }, "codes_read.answer", "did not answer"},
		bad{func(e *eventv1.Event) { e.GetCodesRead().Answer = eventv1.CodesAnswer_CODES_ANSWER_NONE }, "codes_read.codes", "beside 'none'"},
		bad{func(e *eventv1.Event) { e.GetCodesRead().Answer = eventv1.CodesAnswer_CODES_ANSWER_DOES_NOT_ANSWER }, "codes_read.codes", "has answered"},
		bad{func(e *eventv1.Event) { e.GetCodesRead().Codes = nil }, "codes_read.codes", "there are none"},
		bad{func(e *eventv1.Event) { e.GetCodesRead().Codes[0].Code = "" }, "codes_read.codes[0].code", "as P0480"},
		bad{func(e *eventv1.Event) { e.GetCodesRead().Codes[0].Code = long[:41] }, "codes_read.codes[0].code", "at most 40"},
		bad{func(e *eventv1.Event) { e.GetCodesRead().Codes[0].FreezeFrame = make([]string, 201) }, "codes_read.codes[0].freeze_frame", "at most 200"},
		bad{func(e *eventv1.Event) { e.GetCodesRead().Instrument = &eventv1.Instrument{} }, "codes_read.instrument", "neither what it is nor which"},
	)
	add("codes_cleared", func(e *eventv1.Event) {
		e.Kind = &eventv1.Event_CodesCleared{CodesCleared: &eventv1.CodesCleared{Module: "engine module", Why: "before the road test"}}
	},
		bad{func(e *eventv1.Event) { e.GetCodesCleared().Module = "..." }, "codes_cleared.module", "no letter"},
	)
	add("evidence_disturbed", func(e *eventv1.Event) {
		e.Kind = &eventv1.Event_EvidenceDisturbed{EvidenceDisturbed: &eventv1.EvidenceDisturbed{
			Disturbance: eventv1.Disturbance_DISTURBANCE_MODULE_PROGRAMMED, Module: "engine module", Supply: quantity("12.9", "V"), Said: "charger on",
		}}
	},
		bad{func(e *eventv1.Event) { e.GetEvidenceDisturbed().Disturbance = 0 }, "evidence_disturbed.disturbance", "say what was done"},
		bad{func(e *eventv1.Event) { e.GetEvidenceDisturbed().Supply = quantity("5", "Ohm") }, "evidence_disturbed.supply", "voltage"},
	)
	add("part_fitted", func(e *eventv1.Event) {
		e.Kind = &eventv1.Event_PartFitted{PartFitted: &eventv1.PartFitted{
			Component: "fan relay", State: eventv1.PartState_PART_STATE_BORROWED, Part: "relay, 40 A", PartNumber: "R-40", NumberMatches: yes,
			Supplier: "shelf", Cost: money(1250), Removed: "old relay", OldKept: yes, Why: eventv1.Why_WHY_TRIAL, WhySaid: "to see",
			BorrowedFrom: "horn relay socket", Job: "fan",
		}}
		e.Because = []string{id(theReading)}
		e.Placed = &eventv1.Placement{Where: &eventv1.Placement_BeforeOpening{BeforeOpening: true}}
	},
		bad{func(e *eventv1.Event) { e.GetPartFitted().Component = "" }, "part_fitted.component", "is empty"},
		bad{func(e *eventv1.Event) { e.GetPartFitted().Component = " ? " }, "part_fitted.component", "no letter"},
		bad{func(e *eventv1.Event) { e.GetPartFitted().Component = "fan\nmotor" }, "part_fitted.component", "one line"},
		bad{func(e *eventv1.Event) { e.GetPartFitted().Component = long[:201] }, "part_fitted.component", "at most 200"},
		bad{func(e *eventv1.Event) { e.GetPartFitted().State = eventv1.PartState_PART_STATE_NEW }, "part_fitted.borrowed_from", "not borrowed"},
		bad{func(e *eventv1.Event) { e.GetPartFitted().Cost.Currency = "EURO" }, "part_fitted.cost.currency", "three capital letters"},
		bad{func(e *eventv1.Event) { e.GetPartFitted().Cost.Currency = "XAU" }, "part_fitted.cost.currency", "no minor unit"},
		bad{func(e *eventv1.Event) { e.GetPartFitted().Cost.Minor = -1 }, "part_fitted.cost.minor", "less than nothing"},
		bad{func(e *eventv1.Event) { e.GetPartFitted().Supplier = "\xff" }, "part_fitted.supplier", "UTF-8"},
		bad{func(e *eventv1.Event) { e.GetPartFitted().WhySaid = long }, "part_fitted.why_said", "into a note"},
		bad{func(e *eventv1.Event) { e.Because = []string{"last"} }, "because[0]", "not a UUID"},
		bad{func(e *eventv1.Event) { e.Because = []string{id(1)} }, "because[0]", "the event itself"},
		bad{func(e *eventv1.Event) { e.Because = slices.Repeat([]string{id(theReading)}, 201) }, "because", "has 201 entries"},
		bad{func(e *eventv1.Event) { e.By = "Max" }, "by", "capital letters"},
		bad{func(e *eventv1.Event) { e.By = "tech 2" }, "by", "plain role"},
		bad{func(e *eventv1.Event) { e.By = " customer" }, "by", "space or hyphen"},
		bad{func(e *eventv1.Event) { e.By = strings.Repeat("a", 41) }, "by", "at most 40"},
		bad{func(e *eventv1.Event) { e.Happened.OffsetMinutes = 1440 }, "happened.offset_minutes", "out of range"},
		bad{func(e *eventv1.Event) { e.Happened.Precision = 0 }, "happened.precision", "second, minute or day"},
		bad{func(e *eventv1.Event) { e.Happened.UnixSeconds = 253402300800 }, "happened.unix_seconds", "9999"},
		bad{func(e *eventv1.Event) { e.Happened.Said = "a\u2066b" }, "happened.said", "another order"},
		bad{func(e *eventv1.Event) {
			e.Happened = &eventv1.Moment{Precision: eventv1.Precision_PRECISION_UNKNOWN}
		}, "happened.said", "keep what was said"},
	)
	add("part_removed", func(e *eventv1.Event) {
		e.Kind = &eventv1.Event_PartRemoved{PartRemoved: &eventv1.PartRemoved{Component: "fan motor", Kept: yes, Why: "bench test", WhereKept: "bench 2"}}
	},
		bad{func(e *eventv1.Event) { e.GetPartRemoved().Component = "" }, "part_removed.component", "taken out"},
	)
	add("part_put_back", func(e *eventv1.Event) {
		e.Kind = &eventv1.Event_PartPutBack{PartPutBack: &eventv1.PartPutBack{Component: "horn relay socket", Undoes: id(theFitting), ReseatedOnly: true, Said: "clean"}}
	},
		bad{func(e *eventv1.Event) { e.GetPartPutBack().Component = "" }, "part_put_back.component", "own part again"},
		bad{func(e *eventv1.Event) { e.GetPartPutBack().Undoes = id(theNote) }, "part_put_back.undoes", "is 'note'"},
	)
	add("reading", func(e *eventv1.Event) {
		v := quantity("12.31", "V")
		v.Shape, v.Said = eventv1.Shape_SHAPE_DC, "12,31 V"
		e.Kind = &eventv1.Event_Reading{Reading: &eventv1.Reading{
			Value: v, Red: "bcm.C3-14", Black: "batt- post", At: "at the module", Quantity: "feed", Shown: "steady", Conditions: conditions(),
			Instrument: instrument(), Concern: eventv1.Presence_PRESENCE_PRESENT, ShouldBe: shouldBe(), Outcome: pass, Covers: covered("fuse F7"),
			Tries: 3, Meanwhile: "wiggled", Said: "brown wire",
		}}
		e.Typed = "12,31 V dc bcm.C3-14 to batt- post running pass # brown wire"
	},
		bad{func(e *eventv1.Event) { e.Typed = long }, "typed", "at most 4096"},
		bad{func(e *eventv1.Event) { e.Typed = "a\x1bb" }, "typed", "control character"},
		bad{func(e *eventv1.Event) { e.GetReading().Value, e.GetReading().Shown = nil, "" }, "reading.value", "what was measured"},
		bad{func(e *eventv1.Event) {
			r := e.GetReading()
			r.Red, r.Black, r.At, r.Quantity, r.Covers = "", "", "", "", nil
		}, "reading.red", "where it was read"},
		bad{func(e *eventv1.Event) { e.GetReading().Value = quantity("-5", "Ohm") }, "reading.value", "take the source off"},
		bad{func(e *eventv1.Event) { e.GetReading().Value = quantity("-300", "Cel") }, "reading.value", "colder"},
		bad{func(e *eventv1.Event) { e.GetReading().Value = quantity("-5", "Hz") }, "reading.value", "not less than nothing"},
		bad{func(e *eventv1.Event) {
			e.GetReading().Value, e.GetReading().Quantity = quantity("101", "%"), "duty"
		}, "reading.value", "0 to 100 %"},
		bad{func(e *eventv1.Event) {
			e.GetReading().Value, e.GetReading().Quantity = quantity("-1", "%"), ""
		}, "reading.value", "0 to 100 %"},
		bad{func(e *eventv1.Event) { e.GetReading().Value = quantity("5", "bar") }, "reading.value", "is pressure"},
		bad{func(e *eventv1.Event) { e.GetReading().Value = quantity("5", "km") }, "reading.value", "is length"},
		bad{func(e *eventv1.Event) { e.GetReading().Value.Unit = "volt" }, "reading.value.unit", "did you mean V?"},
		bad{func(e *eventv1.Event) { e.GetReading().Value.Unit = "Volst" }, "reading.value.unit", "did you mean V?"},
		bad{func(e *eventv1.Event) { e.GetReading().Value.Unit = "furlong" }, "reading.value.unit", "UCUM"},
		bad{func(e *eventv1.Event) { e.GetReading().Value.Unit = "" }, "reading.value.unit", "is empty"},
		bad{func(e *eventv1.Event) { e.GetReading().Value.Digits = "12,31" }, "reading.value.digits", "decimal mark"},
		bad{func(e *eventv1.Event) { e.GetReading().Value.Digits = "" }, "reading.value.digits", "not a number"},
		bad{func(e *eventv1.Event) { e.GetReading().Value.Digits = "NaN" }, "reading.value.digits", "not a number"},
		bad{func(e *eventv1.Event) { e.GetReading().Value.Sense = eventv1.Sense_SENSE_OVER_RANGE }, "reading.value.digits", "leave digits empty"},
		bad{func(e *eventv1.Event) { e.GetReading().ShouldBe.Low = quantity("13", "V") }, "reading.should_be.low", "exchange them"},
		bad{func(e *eventv1.Event) { e.GetReading().ShouldBe.High = quantity("13000", "Ohm") }, "reading.should_be.high", "of one kind"},
		bad{func(e *eventv1.Event) {
			e.GetReading().ShouldBe = &eventv1.Expectation{Low: quantity("1", "A")}
		}, "reading.should_be.low", "is current, the value voltage"},
		bad{func(e *eventv1.Event) { e.GetReading().ShouldBe = &eventv1.Expectation{} }, "reading.should_be", "says nothing"},
		bad{func(e *eventv1.Event) { e.GetReading().ShouldBe.High.Sense = eventv1.Sense_SENSE_OVER }, "reading.should_be.high.sense", "no upper limit"},
		bad{func(e *eventv1.Event) { e.GetReading().ShouldBe.Low.Sense = eventv1.Sense_SENSE_UNDER }, "reading.should_be.low.sense", "no lower limit"},
		bad{func(e *eventv1.Event) {
			e.GetReading().ShouldBe.Low = &eventv1.Quantity{Unit: "V", Sense: eventv1.Sense_SENSE_OVER_RANGE}
		}, "reading.should_be.low", "exchange them"},
		bad{func(e *eventv1.Event) { e.GetReading().Failures = 4 }, "reading.failures", "4 failures in 3 tries"},
		bad{func(e *eventv1.Event) { e.GetReading().Covers[0].Component = "" }, "reading.covers[0].component", "would find bad"},
		bad{func(e *eventv1.Event) { e.GetReading().Covers[0].Extent = 0 }, "reading.covers[0].extent", "whole"},
		bad{func(e *eventv1.Event) { e.GetReading().Covers[0].Modes[0] = 0 }, "reading.covers[0].modes[0]", "name the fault"},
		bad{func(e *eventv1.Event) {
			e.GetReading().Instrument.Kind = eventv1.InstrumentKind_INSTRUMENT_KIND_CURRENT_CLAMP
		}, "reading.value", "current"},
		bad{func(e *eventv1.Event) { e.GetReading().Red = long[:201] }, "reading.red", "at most 200"},
	)
	add("test", func(e *eventv1.Event) {
		e.Kind = &eventv1.Event_Test{Test: &eventv1.Test{
			What: "ran the fan from the battery", Manner: eventv1.TestManner_TEST_MANNER_BYPASS, Covers: covered("fan motor"), ShouldBe: shouldBe(),
			Result: "fan ran at full speed", Outcome: pass, Conditions: conditions(), Instrument: instrument(), Concern: eventv1.Presence_PRESENCE_PRESENT,
			Tries: 3, Meanwhile: "heated", Readings: []string{id(theReading)}, ConcernChange: eventv1.ConcernChange_CONCERN_CHANGE_WENT_AND_CAME_BACK, Said: "loud",
		}}
	},
		bad{func(e *eventv1.Event) { e.GetTest().What = "" }, "test.what", "what was done"},
		bad{func(e *eventv1.Event) { e.GetTest().Covers = nil }, "test.covers", "covers nothing proves nothing"},
		bad{func(e *eventv1.Event) { e.GetTest().Outcome = 0 }, "test.outcome", "inconclusive"},
		bad{func(e *eventv1.Event) { e.GetTest().Failures = 4 }, "test.failures", "as many tries"},
		bad{func(e *eventv1.Event) { e.GetTest().Readings[0] = id(theBelief) }, "test.readings[0]", "is 'belief'"},
		bad{func(e *eventv1.Event) { e.GetTest().Readings[0] = "12" }, "test.readings[0]", "not a UUID"},
	)
	add("seen", func(e *eventv1.Event) {
		e.Kind = &eventv1.Event_Seen{Seen: &eventv1.Seen{
			What: "green corrosion in splice S4", Component: "splice S4", Point: "S4", Outcome: fail, Mode: eventv1.FaultMode_FAULT_MODE_HIGH_RESISTANCE,
			OutsideConcern: true, Told: "customer", Photo: digest(),
		}}
	},
		bad{func(e *eventv1.Event) { e.GetSeen().What = "" }, "seen.what", "what was seen"},
		bad{func(e *eventv1.Event) { e.GetSeen().Outcome = pass }, "seen.mode", "looks good"},
		bad{func(e *eventv1.Event) { e.GetSeen().Photo = []byte{1} }, "seen.photo", "32 bytes"},
		bad{func(e *eventv1.Event) { e.GetSeen().Told = "Customer" }, "seen.told", "capital letters"},
	)
	add("meter_checked", func(e *eventv1.Event) {
		e.Kind = &eventv1.Event_MeterChecked{MeterChecked: &eventv1.MeterChecked{Instrument: instrument(), Source: "battery posts", Shown: quantity("12.6", "V"), Outcome: pass}}
	},
		bad{func(e *eventv1.Event) { e.GetMeterChecked().Instrument = nil }, "meter_checked.instrument", "which meter"},
		bad{func(e *eventv1.Event) { e.GetMeterChecked().Source = "" }, "meter_checked.source", "on what"},
		bad{func(e *eventv1.Event) { e.GetMeterChecked().Outcome = 0 }, "meter_checked.outcome", "pass or fail"},
	)
	add("belief", func(e *eventv1.Event) {
		e.Kind = &eventv1.Event_Belief{Belief: &eventv1.Belief{
			Statement: "the feed is good", Basis: eventv1.Basis_BASIS_TOLD, Component: "feed wire", Point: "bcm.C3-14", ToldBy: "previous shop",
			Claim: &eventv1.Claim{Component: "feed wire", Outcome: pass, Mode: open},
		}}
	},
		bad{func(e *eventv1.Event) { e.GetBelief().Statement = "" }, "belief.statement", "held to be so"},
		bad{func(e *eventv1.Event) { e.GetBelief().Basis = 0 }, "belief.basis", "assumed"},
		bad{func(e *eventv1.Event) { e.GetBelief().ToldBy = "Hans" }, "belief.told_by", "plain role"},
		bad{func(e *eventv1.Event) { e.GetBelief().Claim.Component = "" }, "belief.claim.component", "good or bad"},
		bad{func(e *eventv1.Event) { e.GetBelief().Claim.Outcome = eventv1.Outcome_OUTCOME_INCONCLUSIVE }, "belief.claim.outcome", "neither"},
	)
	add("belief_settled", func(e *eventv1.Event) {
		e.Kind = &eventv1.Event_BeliefSettled{BeliefSettled: &eventv1.BeliefSettled{Belief: id(theBelief), Holds: no, How: "0.3 V under load"}}
	},
		bad{func(e *eventv1.Event) { e.GetBeliefSettled().Belief = id(theNote) }, "belief_settled.belief", "should be a belief"},
		bad{func(e *eventv1.Event) { e.GetBeliefSettled().Belief = id(theMissing) }, "belief_settled.belief", "is not here"},
		bad{func(e *eventv1.Event) { e.GetBeliefSettled().Belief = "" }, "belief_settled.belief", "not a UUID"},
		bad{func(e *eventv1.Event) { e.GetBeliefSettled().Holds = eventv1.Answer_ANSWER_NOT_KNOWN }, "belief_settled.holds", "true or not true"},
		bad{func(e *eventv1.Event) { e.GetBeliefSettled().How = "" }, "belief_settled.how", "by what"},
	)
	add("circuit_drawn", func(e *eventv1.Event) {
		e.Kind = &eventv1.Event_CircuitDrawn{CircuitDrawn: &eventv1.CircuitDrawn{
			Name: "fan feed", Said: "batt+ > fuse F7 10A > fan motor", Basis: eventv1.Basis_BASIS_LOOKED_UP, Source: "service information",
			Elements: []*eventv1.Element{{
				Component: "fuse F7", Kind: eventv1.ElementKind_ELEMENT_KIND_FUSE, From: "batt+ post", To: "fan.1", Rating: quantity("10", "A"), Resistance: quantity("5", "mOhm"),
				Power: quantity("1", "W"), Current: quantity("8", "A"), Emf: quantity("0", "V"), Length: quantity("1.5", "m"), Gauge: "1.5 mm2", Colour: "red",
				ClosedWhen: []*eventv1.Conditions{conditions()},
			}, {Kind: eventv1.ElementKind_ELEMENT_KIND_WIRE, From: "fan.1", To: "fan.2"}},
			Points: []*eventv1.PointSeen{{Point: "fan.1", Colour: "red", Pin: "1", Where: "behind the grille", Net: eventv1.NetKind_NET_KIND_POWER}},
		}}
	},
		bad{func(e *eventv1.Event) {
			e.GetCircuitDrawn().Elements, e.GetCircuitDrawn().Points = nil, nil
		}, "circuit_drawn.elements", "draw something"},
		bad{func(e *eventv1.Event) { e.GetCircuitDrawn().Basis = 0 }, "circuit_drawn.basis", "comes from"},
		bad{func(e *eventv1.Event) { e.GetCircuitDrawn().Elements[0].Kind = 0 }, "circuit_drawn.elements[0].kind", "what it is"},
		bad{func(e *eventv1.Event) { e.GetCircuitDrawn().Elements[0].Component = "" }, "circuit_drawn.elements[0].component", "only a wire"},
		bad{func(e *eventv1.Event) { e.GetCircuitDrawn().Elements[1].To = "" }, "circuit_drawn.elements[1].to", "where it ends"},
		bad{func(e *eventv1.Event) { e.GetCircuitDrawn().Elements[1].To = "Fan.1" }, "circuit_drawn.elements[1].to", "between two points"},
		bad{func(e *eventv1.Event) { e.GetCircuitDrawn().Elements[0].Rating = quantity("10", "V") }, "circuit_drawn.elements[0].rating", "current"},
		bad{func(e *eventv1.Event) { e.GetCircuitDrawn().Elements[0].Rating = quantity("-10", "A") }, "circuit_drawn.elements[0].rating", "more than nothing"},
		bad{func(e *eventv1.Event) { e.GetCircuitDrawn().Elements[0].Length = quantity("0", "m") }, "circuit_drawn.elements[0].length", "more than nothing"},
		bad{func(e *eventv1.Event) { e.GetCircuitDrawn().Points[0].Point = "" }, "circuit_drawn.points[0].point", "name the point"},
	)
	add("same_as", func(e *eventv1.Event) {
		e.Kind = &eventv1.Event_SameAs{SameAs: &eventv1.SameAs{One: "bcm.C3-14", Other: "body module C3 pin 14", Points: true}}
	},
		bad{func(e *eventv1.Event) { e.GetSameAs().One = "" }, "same_as.one", "is empty"},
		bad{func(e *eventv1.Event) { e.GetSameAs().Other = " BCM.C3-14." }, "same_as.other", "the same name already"},
	)
	add("temporary_on", func(e *eventv1.Event) {
		e.Kind = &eventv1.Event_TemporaryOn{TemporaryOn: &eventv1.TemporaryOn{
			Temporary: eventv1.TemporaryKind_TEMPORARY_KIND_JUMPER, What: "jumper on relay K2", Where: []string{"relay K2 30", "relay K2 87"}, Undo: "take it out", Fuse: quantity("10", "A"),
		}}
	},
		bad{func(e *eventv1.Event) { e.GetTemporaryOn().What = "" }, "temporary_on.what", "what was changed"},
		bad{func(e *eventv1.Event) { e.GetTemporaryOn().Temporary = 0 }, "temporary_on.temporary", "jumper"},
		bad{func(e *eventv1.Event) { e.GetTemporaryOn().Fuse = quantity("10", "V") }, "temporary_on.fuse", "current"},
	)
	add("temporary_off", func(e *eventv1.Event) {
		e.Kind = &eventv1.Event_TemporaryOff{TemporaryOff: &eventv1.TemporaryOff{Temporary: id(theTemporary), Said: "jumper out"}}
	},
		bad{func(e *eventv1.Event) { e.GetTemporaryOff().Temporary = id(theNote) }, "temporary_off.temporary", "something temporary"},
		bad{func(e *eventv1.Event) {
			e.GetTemporaryOff().Temporary, e.GetTemporaryOff().Said = "", ""
		}, "temporary_off.said", "what was undone"},
	)
	add("worked_on", func(e *eventv1.Event) {
		e.Kind = &eventv1.Event_WorkedOn{WorkedOn: &eventv1.WorkedOn{Area: "front bumper", Components: []string{"fog lamp"}, What: "bumper replaced"}}
	},
		bad{func(e *eventv1.Event) { e.GetWorkedOn().Area, e.GetWorkedOn().Components = "", nil }, "worked_on.area", "where somebody worked"},
	)
	add("made_safe", func(e *eventv1.Event) {
		e.Kind = &eventv1.Event_MadeSafe{MadeSafe: &eventv1.MadeSafe{
			Hazard: eventv1.Hazard_HAZARD_HIGH_VOLTAGE, QualifiedHow: "trained for it", LockedOff: yes, ProvenDead: yes, TesterProven: yes, Said: "plug in the safe",
		}}
	},
		bad{func(e *eventv1.Event) { e.GetMadeSafe().Hazard = 0 }, "made_safe.hazard", "what was made safe"},
		bad{func(e *eventv1.Event) { e.GetMadeSafe().ProvenDead = no }, "made_safe.proven_dead", "not safe"},
	)
	add("repair", func(e *eventv1.Event) {
		e.Kind = &eventv1.Event_Repair{Repair: &eventv1.Repair{
			Component: "splice S4", What: "cut out and soldered", Mode: eventv1.FaultMode_FAULT_MODE_HIGH_RESISTANCE, Cost: money(300), From: "fan.2", To: "ground G2",
		}}
	},
		bad{func(e *eventv1.Event) { e.GetRepair().What = "" }, "repair.what", "what was done"},
		bad{func(e *eventv1.Event) { e.GetRepair().Component, e.GetRepair().To = "", "" }, "repair.component", "two points"},
		bad{func(e *eventv1.Event) { e.GetRepair().To = "" }, "repair.to", "one end"},
	)
	add("repair_checked", func(e *eventv1.Event) {
		e.Kind = &eventv1.Event_RepairChecked{RepairChecked: &eventv1.RepairChecked{
			Repairs: []string{id(theRepair)}, Before: []string{id(theReading)}, After: []string{id(theReading)}, Rescanned: yes, Relearned: no, ConcernTried: yes,
			Conditions: conditions(), Concern: eventv1.Presence_PRESENCE_ABSENT, Outcome: pass, Said: "three heat-ups",
		}}
	},
		bad{func(e *eventv1.Event) { e.GetRepairChecked().Outcome = 0 }, "repair_checked.outcome", "pass, fail"},
		bad{func(e *eventv1.Event) { e.GetRepairChecked().Repairs[0] = id(theNote) }, "repair_checked.repairs[0]", "a repair or fitting"},
		bad{func(e *eventv1.Event) { e.GetRepairChecked().After[0] = id(theNote) }, "repair_checked.after[0]", "a reading"},
	)
	add("handed_off", func(e *eventv1.Event) {
		e.Kind = &eventv1.Event_HandedOff{HandedOff: &eventv1.HandedOff{
			ToShop: id(9), ToPerson: id(10), Question: "why does the fan stand still?", Access: eventv1.Access_ACCESS_WRITE, Checkpoint: []byte("checkpoint"),
			Limits: &eventv1.Limits{Minutes: 120, Money: money(20000), MayCut: no, MayRemove: yes, Said: "call before cutting"},
		}}
	},
		bad{func(e *eventv1.Event) { e.GetHandedOff().ToShop, e.GetHandedOff().ToPerson = "", "" }, "handed_off.to_shop", "to whom"},
		bad{func(e *eventv1.Event) { e.GetHandedOff().ToShop = "the other shop" }, "handed_off.to_shop", "not a UUID"},
		bad{func(e *eventv1.Event) { e.GetHandedOff().Access = 0 }, "handed_off.access", "read or write"},
		bad{func(e *eventv1.Event) { e.GetHandedOff().Limits.Money.Currency = "usd" }, "handed_off.limits.money.currency", "capital letters"},
		bad{func(e *eventv1.Event) { e.GetHandedOff().Checkpoint = make([]byte, 5000) }, "handed_off.checkpoint", "at most"},
		bad{func(e *eventv1.Event) { e.Expect = nil }, "expect", "which place"},
		bad{func(e *eventv1.Event) {
			e.Placed = &eventv1.Placement{Where: &eventv1.Placement_After{After: id(theNote)}}
		}, "placed", "cannot be given for 'handed off'"},
	)
	add("taken_up", func(e *eventv1.Event) {
		e.Kind = &eventv1.Event_TakenUp{TakenUp: &eventv1.TakenUp{Handoff: id(theHandOff), Said: "on my way"}}
	},
		bad{func(e *eventv1.Event) { e.GetTakenUp().Handoff = id(theNote) }, "taken_up.handoff", "a hand-off"},
		bad{func(e *eventv1.Event) { e.Expect = nil }, "expect", "which place"},
	)
	add("handed_back", func(e *eventv1.Event) {
		e.Kind = &eventv1.Event_HandedBack{HandedBack: &eventv1.HandedBack{
			Handoff: id(theHandOff), Found: "corroded splice", Cause: "splice S4", CauseMode: eventv1.FaultMode_FAULT_MODE_HIGH_RESISTANCE, Proof: "3.2 V across it, fan running",
			NotDone: []string{"horn relay not put back"}, LeftOpen: []string{"grille off"}, OldParts: "in the boot", Checkpoint: []byte("checkpoint"),
		}}
	},
		bad{func(e *eventv1.Event) { e.GetHandedBack().Handoff = id(theMissing) }, "handed_back.handoff", "is not here"},
		bad{func(e *eventv1.Event) {
			h := e.GetHandedBack()
			h.Found, h.Cause, h.CauseMode, h.NotDone, h.LeftOpen = "", "", 0, nil, nil
		}, "handed_back.found", "what was found"},
		bad{func(e *eventv1.Event) { e.GetHandedBack().Cause = "" }, "handed_back.cause", "name the component"},
		bad{func(e *eventv1.Event) { e.Expect = nil }, "expect", "which place"},
	)
	add("approval", func(e *eventv1.Event) {
		e.Kind = &eventv1.Event_Approval{Approval: &eventv1.Approval{Who: "customer", UpTo: money(50000), What: "find the cause", How: "by telephone", Refused: true}}
	},
		bad{func(e *eventv1.Event) { e.GetApproval().Who = "" }, "approval.who", "who agreed"},
		bad{func(e *eventv1.Event) { e.GetApproval().UpTo, e.GetApproval().What = nil, "" }, "approval.up_to", "how much"},
	)
	add("time_spent", func(e *eventv1.Event) {
		e.Kind = &eventv1.Event_TimeSpent{TimeSpent: &eventv1.TimeSpent{Minutes: 45, What: "tests", Charge: money(6000)}}
	},
		bad{func(e *eventv1.Event) { e.GetTimeSpent().Minutes = 0 }, "time_spent.minutes", "minutes spent"},
	)
	add("note", func(e *eventv1.Event) {
		e.Kind = &eventv1.Event_Note{Note: &eventv1.Note{Text: "the fan was changed\nin spring", About: []string{"fan motor"}}}
		e.Placed = &eventv1.Placement{Where: &eventv1.Placement_After{After: id(theReading)}}
	},
		bad{func(e *eventv1.Event) { e.GetNote().Text = "\n" }, "note.text", "worth keeping"},
		bad{func(e *eventv1.Event) { e.GetNote().Text = long }, "note.text", "at most 20000"},
		bad{func(e *eventv1.Event) { e.GetNote().About = []string{"!"} }, "note.about[0]", "no letter"},
	)
	add("attachment", func(e *eventv1.Event) {
		e.Kind = &eventv1.Event_Attachment{Attachment: &eventv1.Attachment{Name: "splice.jpg", MediaType: "image/jpeg", Size: 123456, Sha256: digest(), Entry: id(theReading)}}
	},
		bad{func(e *eventv1.Event) { e.GetAttachment().Size = 0 }, "attachment.size", "is 0"},
		bad{func(e *eventv1.Event) { e.GetAttachment().Size = check.MaxFile + 1 }, "attachment.size", "at most 256 MiB"},
		bad{func(e *eventv1.Event) { e.GetAttachment().Sha256 = digest()[:31] }, "attachment.sha256", "has 31 bytes"},
		bad{func(e *eventv1.Event) { e.GetAttachment().Name = "../splice.jpg" }, "attachment.name", "plain file name"},
		bad{func(e *eventv1.Event) { e.GetAttachment().Name = `photos\splice.jpg` }, "attachment.name", "plain file name"},
		bad{func(e *eventv1.Event) { e.GetAttachment().Name = "photos/splice.jpg" }, "attachment.name", "plain file name"},
		bad{func(e *eventv1.Event) { e.GetAttachment().Name = "" }, "attachment.name", "file's name"},
		bad{func(e *eventv1.Event) { e.GetAttachment().MediaType = "jpeg" }, "attachment.media_type", "image/jpeg"},
		bad{func(e *eventv1.Event) { e.GetAttachment().Entry = "x" }, "attachment.entry", "not a UUID"},
	)
	add("correction", func(e *eventv1.Event) {
		e.Kind = &eventv1.Event_Correction{Correction: &eventv1.Correction{Entry: id(theReading), Why: "wrong pin", Replacement: note("read at pin 15")}}
	},
		bad{func(e *eventv1.Event) { e.GetCorrection().Why = "" }, "correction.why", "wrong with it"},
		bad{func(e *eventv1.Event) { e.GetCorrection().Entry = id(theMissing) }, "correction.entry", "is not here"},
		bad{func(e *eventv1.Event) { e.GetCorrection().Entry = id(theClosing) }, "correction.entry", "'closed' cannot be corrected"},
		bad{func(e *eventv1.Event) { e.GetCorrection().Entry = id(theGrant) }, "correction.entry", "cannot be corrected"},
		bad{func(e *eventv1.Event) { e.GetCorrection().Entry = id(theErasure) }, "correction.entry", "cannot be corrected"},
		bad{func(e *eventv1.Event) { e.GetCorrection().Entry = id(theRegister) }, "correction.entry", "cannot be corrected"},
		bad{func(e *eventv1.Event) { e.GetCorrection().Entry = id(theCorrection) }, "correction.replacement", "withdraw the correction"},
		bad{func(e *eventv1.Event) {
			e.GetCorrection().Entry, e.GetCorrection().Replacement = id(theOpening), nil
		}, "correction.replacement", "not withdrawn"},
		bad{func(e *eventv1.Event) { e.GetCorrection().Entry = id(theOpening) }, "correction.replacement", "only an opening"},
		bad{func(e *eventv1.Event) {
			e.GetCorrection().Entry = id(theOpening)
			e.GetCorrection().Replacement = replacement(func(r *eventv1.Event) {
				r.Kind = proto.Clone(all["case_opened"].good).(*eventv1.Event).Kind
				r.GetCaseOpened().Shop = id(9)
			})
		}, "correction.replacement.case_opened.shop", "to another shop"},
		bad{func(e *eventv1.Event) { e.GetCorrection().Replacement = note("") }, "correction.replacement.note.text", "is empty"},
		bad{func(e *eventv1.Event) { e.GetCorrection().Replacement = []byte{0xFF} }, "correction.replacement", "byte 0"},
		bad{func(e *eventv1.Event) {
			e.GetCorrection().Replacement = append(note("a"), note("b")...)
		}, "correction.replacement", ""},
		bad{func(e *eventv1.Event) {
			e.GetCorrection().Replacement = replacement(func(e *eventv1.Event) { e.By = "Max"; e.Kind = &eventv1.Event_Note{Note: &eventv1.Note{Text: "a"}} })
		}, "correction.replacement.by", "capital letters"},
		bad{func(e *eventv1.Event) {
			e.GetCorrection().Replacement = replacement(func(e *eventv1.Event) {
				e.Kind = &eventv1.Event_AccessGranted{AccessGranted: &eventv1.AccessGranted{Shop: id(9), Access: 2}}
			})
		}, "correction.replacement", "entry of its own"},
		bad{func(e *eventv1.Event) {
			e.GetCorrection().Replacement = replacement(func(e *eventv1.Event) {
				e.Kind = &eventv1.Event_PersonAdded{PersonAdded: &eventv1.PersonAdded{Person: id(9), Role: 1}}
			})
		}, "correction.replacement", "entry of its own"},
		bad{func(e *eventv1.Event) {
			e.GetCorrection().Replacement = replacement(func(e *eventv1.Event) {
				e.Kind = &eventv1.Event_Closed{Closed: &eventv1.Closed{Outcome: 1}}
			})
		}, "correction.replacement", "entry of its own"},
		bad{func(e *eventv1.Event) {
			e.GetCorrection().Replacement = replacement(func(e *eventv1.Event) {
				e.Kind = &eventv1.Event_Correction{Correction: &eventv1.Correction{Entry: id(theNote), Why: "x"}}
			})
		}, "correction.replacement", "entry of its own"},
	)
	add("closed", func(e *eventv1.Event) {
		e.Kind = &eventv1.Event_Closed{Closed: &eventv1.Closed{Outcome: eventv1.CloseOutcome_CLOSE_OUTCOME_FIXED_AND_CHECKED, Said: "fan runs"}}
	},
		bad{func(e *eventv1.Event) { e.GetClosed().Outcome = 0 }, "closed.outcome", "how the case ended"},
		bad{func(e *eventv1.Event) { e.Expect = nil }, "expect", "which place"},
	)
	add("reopened", func(e *eventv1.Event) {
		e.Kind = &eventv1.Event_Reopened{Reopened: &eventv1.Reopened{Why: "the fan stands still again"}}
	},
		bad{func(e *eventv1.Event) { e.GetReopened().Why = "" }, "reopened.why", "taken up again"},
		bad{func(e *eventv1.Event) { e.Expect = nil }, "expect", "which place"},
	)
	add("check_due", func(e *eventv1.Event) {
		e.Kind = &eventv1.Event_CheckDue{CheckDue: &eventv1.CheckDue{Due: moment(1760000000), What: "after 200 km"}}
	},
		bad{func(e *eventv1.Event) { e.GetCheckDue().Due, e.GetCheckDue().What = nil, "" }, "check_due.due", "when or after what"},
	)
	add("came_back", func(e *eventv1.Event) {
		e.Kind = &eventv1.Event_CameBack{CameBack: &eventv1.CameBack{SameConcern: no, What: "wiper"}}
	},
		bad{func(e *eventv1.Event) { e.GetCameBack().SameConcern = 0 }, "came_back.same_concern", "same concern"},
	)
	add("access_granted", func(e *eventv1.Event) {
		e.Kind = &eventv1.Event_AccessGranted{AccessGranted: &eventv1.AccessGranted{
			Shop: id(9), Person: id(10), Access: eventv1.Access_ACCESS_READ, Handoff: id(theHandOff), Until: moment(1760000000),
		}}
	},
		bad{func(e *eventv1.Event) { e.GetAccessGranted().Shop = "" }, "access_granted.shop", "a shop"},
		bad{func(e *eventv1.Event) { e.GetAccessGranted().Access = 0 }, "access_granted.access", "read or write"},
		bad{func(e *eventv1.Event) { e.GetAccessGranted().Handoff = id(theNote) }, "access_granted.handoff", "a hand-off"},
		bad{func(e *eventv1.Event) { e.Expect = nil }, "expect", "which place"},
	)
	add("access_withdrawn", func(e *eventv1.Event) {
		e.Kind = &eventv1.Event_AccessWithdrawn{AccessWithdrawn: &eventv1.AccessWithdrawn{Shop: id(9), Person: id(10), Left: eventv1.Access_ACCESS_READ}}
	},
		bad{func(e *eventv1.Event) { e.GetAccessWithdrawn().Shop = "" }, "access_withdrawn.shop", "a shop"},
		bad{func(e *eventv1.Event) { e.GetAccessWithdrawn().Left = eventv1.Access_ACCESS_WRITE }, "access_withdrawn.left", "leaves reading"},
		bad{func(e *eventv1.Event) { e.Expect = nil }, "expect", "which place"},
	)
	add("erased", func(e *eventv1.Event) {
		e.Kind = &eventv1.Event_Erased{Erased: &eventv1.Erased{Entry: id(theNote), Why: "it held a name"}}
	},
		bad{func(e *eventv1.Event) { e.GetErased().Why = "" }, "erased.why", "say why"},
		bad{func(e *eventv1.Event) { e.GetErased().Entry = id(theMissing) }, "erased.entry", "is not here"},
		bad{func(e *eventv1.Event) { e.GetErased().Entry = id(theOpening) }, "erased.entry", "cannot be erased"},
		bad{func(e *eventv1.Event) { e.GetErased().Entry = id(theGrant) }, "erased.entry", "cannot be erased"},
		bad{func(e *eventv1.Event) { e.GetErased().Entry = id(theRegister) }, "erased.entry", "cannot be erased"},
		bad{func(e *eventv1.Event) { e.GetErased().Entry = id(theErasure) }, "erased.entry", "cannot be erased"},
		bad{func(e *eventv1.Event) { e.GetErased().Entry = id(theFuture) }, "erased.entry", "kind 150"},
	)
	add("file_erased", func(e *eventv1.Event) {
		e.Kind = &eventv1.Event_FileErased{FileErased: &eventv1.FileErased{Entry: id(theReading), Sha256: digest(), Why: "a face is in it"}}
	},
		bad{func(e *eventv1.Event) { e.GetFileErased().Why = "" }, "file_erased.why", "say why"},
		bad{func(e *eventv1.Event) { e.GetFileErased().Entry = id(theMissing) }, "file_erased.entry", "is not here"},
		bad{func(e *eventv1.Event) { e.GetFileErased().Sha256 = nil }, "file_erased.sha256", "has 32"},
	)
	add("shop_opened", func(e *eventv1.Event) {
		e.Kind = &eventv1.Event_ShopOpened{ShopOpened: &eventv1.ShopOpened{Name: "Invented Shop One", Currency: "EUR", Invented: true}}
	},
		bad{func(e *eventv1.Event) { e.GetShopOpened().Name = "" }, "shop_opened.name", "know the shop"},
		bad{func(e *eventv1.Event) { e.GetShopOpened().Currency = "" }, "shop_opened.currency", "ISO 4217"},
	)
	add("person_added", func(e *eventv1.Event) {
		e.Kind = &eventv1.Event_PersonAdded{PersonAdded: &eventv1.PersonAdded{Person: id(10), Role: eventv1.Role_ROLE_TECHNICIAN}}
	},
		bad{func(e *eventv1.Event) { e.GetPersonAdded().Person = "Max" }, "person_added.person", "not a UUID"},
		bad{func(e *eventv1.Event) { e.GetPersonAdded().Role = 0 }, "person_added.role", "technician"},
		bad{func(e *eventv1.Event) {
			e.Placed = &eventv1.Placement{Where: &eventv1.Placement_BeforeOpening{BeforeOpening: true}}
		}, "placed", "person added"},
	)
	add("device_added", func(e *eventv1.Event) {
		e.Kind = &eventv1.Event_DeviceAdded{DeviceAdded: &eventv1.DeviceAdded{Device: id(3), PublicKey: digest(), Person: id(10), HeldByServer: true}}
	},
		bad{func(e *eventv1.Event) { e.GetDeviceAdded().PublicKey = digest()[1:] }, "device_added.public_key", "has 32"},
		bad{func(e *eventv1.Event) { e.GetDeviceAdded().Device = "" }, "device_added.device", "a device"},
	)
	add("device_withdrawn", func(e *eventv1.Event) {
		e.Kind = &eventv1.Event_DeviceWithdrawn{DeviceWithdrawn: &eventv1.DeviceWithdrawn{Device: id(3), Why: "lost"}}
	},
		bad{func(e *eventv1.Event) { e.GetDeviceWithdrawn().Device = "" }, "device_withdrawn.device", "a device"},
	)
	add("role_given", func(e *eventv1.Event) {
		e.Kind = &eventv1.Event_RoleGiven{RoleGiven: &eventv1.RoleGiven{Person: id(10), Role: eventv1.Role_ROLE_OWNER, Left: true}}
	},
		bad{func(e *eventv1.Event) { e.GetRoleGiven().Person = "" }, "role_given.person", "a person"},
		bad{func(e *eventv1.Event) { e.GetRoleGiven().Role, e.GetRoleGiven().Left = 0, false }, "role_given.role", "give a role"},
	)
	add("restored", func(e *eventv1.Event) {
		e.Kind = &eventv1.Event_Restored{Restored: &eventv1.Restored{Epoch: 2, Size: 1000, Root: digest()}}
	},
		bad{func(e *eventv1.Event) { e.GetRestored().Epoch = 0 }, "restored.epoch", "count from 1"},
		bad{func(e *eventv1.Event) { e.GetRestored().Root = nil }, "restored.root", "has 32"},
	)
	return all
}
