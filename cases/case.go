package cases

import (
	eventv1 "knowngood.example/proto/knowngood/event/v1"
)

// Case is the fold of one case's entries: what was recorded, in both orders, and
// what stands. Apply adds entries; everything else only reads.
type Case struct {
	// Stream is the case's id.
	Stream string
	// State is what stands, after corrections, in job order.
	State

	log  []*Step
	jobs []*Step
	byID map[string]*Step
	// byDevice holds the seqs of each device's entries.
	byDevice map[string][]uint64
	// awaited holds ids that a placement or a because names and that are not here
	// yet.
	awaited     map[string]bool
	corrections []*Step // in log order, withdrawn ones too
}

// Step is one entry as the case holds it.
type Step struct {
	Record
	// Seq is the place in log order, Job the place in job order, both from 1.
	Seq uint64
	Job int
	ID  string
	// Kind is the field number of the event's kind.
	Kind uint32
	// Says is what stands of the event: the event itself, or what a correction
	// put in its place. Nil when it was withdrawn or erased, is not understood
	// here, or carries fields this build does not know.
	Says *eventv1.Event
	// By did it, RecordedBy wrote it down, Shop is whom the writer acted for.
	By, RecordedBy, Shop string
	// Because holds the entries it rests on that are here.
	Because []*Step
	// StruckBy is the correction or erasure that struck it; nil while it stands.
	StruckBy *Step
	// Placed: its writer gave it another place in job order. Waiting: the entry
	// it comes after is not here yet, or the placement runs in a circle, so it
	// stands at its log place.
	Placed, Waiting bool
	// Unseen is how many entries of other devices lay before it in the log that
	// its writer had not seen.
	Unseen uint64
}

// Erased reports whether the event's bytes are gone.
func (s *Step) Erased() bool {
	return s.Event == nil || s.StruckBy != nil && s.StruckBy.Kind == kindErased
}

// State is what stands of a case. Slices are in job order.
type State struct {
	// Opening is nil until the opening is here.
	Opening *Step
	// OwnerShop opened the case.
	OwnerShop string
	Vehicle   *eventv1.Vehicle
	// Concerns as stated, the opening first.
	Concerns []*Step
	// Presence holds every time the concern was seen: duplicated, acting up, gone
	// away.
	Presence []*Step
	// Duplicated is the first time somebody saw the concern themselves.
	Duplicated *Step

	Components map[string]*Component
	Points     map[string]*Point

	Fittings    []*Fitting
	Readings    []*Step
	Evidence    []*Evidence
	Seen        []*Step
	Codes       []*Step
	Destroyed   []*Step
	MeterChecks []*Step
	Beliefs     []*Belief
	Temporaries []*Temporary
	Worked      []*Step
	MadeSafe    []*Step
	Repairs     []*Repair
	Checks      []*Step
	Drawings    []*Step
	Handoffs    []*Handoff
	Approvals   []*Step
	Time        []*Step
	Notes       []*Step
	Attachments []*Step
	// FilesErased holds, by SHA-256, what says that the bytes of a file are gone.
	FilesErased map[string]*Step
	ChecksDue   []*Step
	CameBack    []*Step
	// Closings holds closed and reopened; Closed is the closing that stands.
	Closings []*Step
	Closed   *Step
	// Grants is what other shops may do: shop id to access, with the entry.
	Grants map[string]*Grant
	// Strange lists entries that this build does not understand.
	Strange []*Step

	met      []*Component      // in the order in which somebody first spoke of them
	spelt    map[string]string // by name as written, for who folds the case often; nil: not held
	same     map[string]string // component or point key to the key it is joined with
	beliefs  map[*Step]*Belief
	fittings map[*Step]*Fitting
	repairs  map[*Step]*Repair
	on       map[string]*Temporary // by the id that ends it
	workedAt map[string][]*Step    // by the key of what was worked on
	sighted  []*Step               // the concern seen, or tried in vain, in job order
}

// Component is anything that can be good or bad.
type Component struct {
	// Key is the normalised name, Name the first spelling met.
	Key, Name string
	// Lives says since when its evidence counts; the last is the present one.
	Lives []Life
	// ContactsSince is the last time it was unplugged or reseated in its present
	// life: the proofs of its contacts are suspended since.
	ContactsSince *Step
	// Evidence of tests and judged readings that cover it, all lives.
	Evidence []*Evidence
	// Steps that speak of it.
	Steps []*Step

	fitting *Fitting   // what is in now, when its fitting is recorded
	out     *Temporary // taken out with nothing in its place
}

// Life of a component begins when it is fitted, repaired, pierced or removed; the
// first begins with nothing.
type Life struct {
	From *Step
	Why  string
}

// Present is the number of the present life, from 0.
func (c *Component) Present() int { return len(c.Lives) - 1 }

// Point is a place a lead can touch.
type Point struct {
	Key, Name string
	// Seen is what drawings say of it: colour, pin, where; nil when none does.
	Seen *eventv1.PointSeen
	// Basis of that.
	Basis *Step
	Steps []*Step
	// Last is the last reading with a lead here.
	Last *Step
}

// Evidence is a test, or a reading with a pass or fail, as it bears on one
// component.
type Evidence struct {
	Step      *Step
	Component *Component
	// Life of the component it belongs to.
	Life    int
	Outcome eventv1.Outcome
	Covered *eventv1.Covered
	// Alone: it covers exactly this one component, wholly.
	Alone bool
}

// Fitting is one part put in.
type Fitting struct {
	Step      *Step
	Component *Component
	Part      *eventv1.PartFitted
	// Failing holds the failing tests and judged readings on it, or on anything
	// that covers it, earlier in job order and since it was last fitted.
	Failing []*Evidence
	// Damage holds what was seen to be bad on it earlier.
	Damage []*Step
	// After holds tests and judged readings on it since it was fitted.
	After []*Evidence
	// PutBack is when the original went back in, or the borrowed part went home.
	PutBack *Step
	// Credit holds the entries that say this fitting changed something: repair
	// checks, hand-backs, closings and settled beliefs that rest on it.
	Credit []*Step
}

// Belief is something somebody holds to be so.
type Belief struct {
	Step    *Step
	Says    *eventv1.Belief
	About   *Component
	AtPoint *Point
	// Settled is what settled it last; Holds is its answer.
	Settled *Step
	Holds   eventv1.Answer
	// Behind holds the readings, tests and things seen it rests on.
	Behind []*Step
	// ReliedOn holds the entries that rest on it.
	ReliedOn []*Step
}

// Temporary is a change left on the vehicle for now.
type Temporary struct {
	// On is the entry that made it; Off ended it, nil while it is still on.
	On, Off *Step
	Kind    eventv1.TemporaryKind
	What    string
	Where   []string
	Undo    string
	// Earlier names the entry of an earlier case it was left by.
	Earlier *eventv1.LeftBehind
}

// Repair is something mended.
type Repair struct {
	Step      *Step
	Component *Component
	Says      *eventv1.Repair
	// Checks that name it.
	Checks []*Step
}

// Handoff gives the case to another shop or person.
type Handoff struct {
	Step    *Step
	Says    *eventv1.HandedOff
	TakenUp *Step
	Back    *Step
}

// Grant is what a shop may do in the case.
type Grant struct {
	Step   *Step
	Access eventv1.Access
}

const (
	kindCorrection = 132
	kindErased     = 162
	kindSameAs     = 118
)

// Steps in log order.
func (c *Case) Steps() []*Step { return c.log }

// Jobs holds the steps in job order.
func (c *Case) Jobs() []*Step { return c.jobs }

// Head is the last seq that is here; 0 when none is.
func (c *Case) Head() uint64 { return uint64(len(c.log)) }

// Step returns the entry with the seq, nil when it is not here.
func (c *Case) Step(seq uint64) *Step {
	if seq == 0 || seq > c.Head() {
		return nil
	}
	return c.log[seq-1]
}

// ByID returns the entry with the id, nil when it is not here.
func (c *Case) ByID(id string) *Step { return c.byID[id] }
