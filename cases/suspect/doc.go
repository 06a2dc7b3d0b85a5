// Package suspect finds out which faults explain the evidence, how likely each is,
// what is proven, and which test to do next. It knows nothing of how evidence is
// recorded.
//
// # Two scores, never mixed
//
// Probability ranks. The prior of a hypothesis is the product of its faults'
// odds; its likelihood the mean, over the unknown parameters, of the product over
// all evidence, each factor mixed with a hundredth that says nothing. No fault, every
// single fault and every pair of faults in different parts are weighed; threes where
// some failing tests are explained by no pair. Something not named is in every
// problem.
//
// Proof excludes. A fault is proven not to be there when every hypothesis that
// holds it is contradicted, beyond doubt, by evidence of two set-ups or more that
// would not contradict no fault at all. A test of parts contradicts only what it
// covers alone and wholly. Where even the best hypothesis is contradicted, or a
// failure comes only from what is proven good, that evidence is to be read again
// and nothing counts as proven.
//
// # How it stays fast
//
// Evidence to which many faults are alike (Classed) is asked once for each pair of
// classes, and only hypotheses with a fault it knows of are changed. Evidence that can name
// what it touches is not asked about anything else. Of more than 300 faults a pair is held
// as what it is beyond either of its two, so that evidence changes those pairs only of which
// it touches both. Of more than 700 the likeliest are held in pairs, the others singly.
//
// Readings on what is drawn (Drawn) cost more. A hypothesis is asked about, the readings
// that surprise most first, until it is out of the running: what readings not asked yet
// could make of it at most does not bring it back. Of one fault that is what each makes of
// it by itself. Of a pair it is what each makes of either fault, in the blocks that either
// was parted into alone; only a reading that neither explains, though one of them is
// something to it, is asked about both together (pairs.go). Unknown parameters are parted
// into blocks where it matters, and of what a block is parted into only the readings are
// asked again to which that matters (weighing.go). Where one of two faults alone explains a
// reading and the other is nothing to it, by itself and in a look or two beside the first,
// they are not asked about together.
// Pairs are asked about, those first that may hold most, until those not asked to the end
// hold less than a hundredth; the less one can matter beside the best, the less finely.
// One reading more goes on from there.
//
// A pair is contradicted by what contradicts either of its two alone, or both: what speaks
// against the second is asked too. A proof tries first what stood against the one before it, and what a reading
// contradicts is asked once for every judgement that holds the reading.
//
// # What to do next
//
// Next ranks tests by what they tell of the parts that are bad: nine tenths of it of the
// one to go to first, which of those that a hypothesis blames and that are not found
// already is the likeliest, since what is wrong beside it is told better once that one is
// found; a tenth of all of them. Once that is known,
// Clearing ranks them by what they prove of the rest: how much of what each fault wants, by
// itself and beside each other, they would bring.
package suspect
