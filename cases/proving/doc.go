// Package proving measures the judgement against a truth that it did not make. It
// invents circuits and what is wrong with them, lets another solver say what a meter
// would show, and lets the judgement play: reading by reading, until it has found
// what is wrong. What comes of a case is a Record; Table counts the records.
//
// Only the command that measures imports it, and nothing here comes from the solver
// or the bounds of package circuit but the bounds that are held against the truth.
//
// # Settings and dice
//
// All that is drawn follows from Settings and the number of the case; each purpose
// (drawing, vehicle, faults, meter, each single reading) has dice of its own, so that
// three strategies meet the same vehicle with the same fault, and the same reading
// shows the same to each. Fixed before the first run: Cap, 30 readings; OnTo, 10;
// what a gross reading is, below; Wider 1 draws within what is stated, 1.5 half as
// wide again by ratio about the middle.
//
// # Circuits
//
// Of 5 to 40 elements; three tenths chains, three tenths branches, two tenths shared,
// two tenths loops; one in five of 24 V. The shape is drawn first, then the size; a
// chain has 24 at most.
//
//  1. A chain is feed, fuse, switch or module output (on the ground side in a
//     quarter), perhaps a dropping resistor, load, ground, with wires, contacts and
//     splices between.
//  2. Branches are a feed behind one fuse that parts to two to six loads, each with a
//     ground of its own, some with a fuse or a switch of their own. Shared have one
//     ground in common. Loops are either, with a second ground, a second feed or a
//     wire from branch to branch. From ten elements on a third of them have a relay
//     whose coil is drawn, some of these a diode across it.
//  3. Loads are lamps (twice as many as others), motors, heaters. A wire is as thick as
//     its current asks, 8 A for a square millimetre, 0.2 to 4 m long; a fuse the
//     smallest usual one that carries 1.35 times the current, or 2.3 times a motor's.
//  4. What a shop draws is less: lengths are 15 % off, of three wires in ten nobody
//     knows the length, of one in five the gauge, of one load in five what it takes, of
//     15 % of the fuses the rating.
//
// # The vehicle
//
// Each parameter has one value throughout a case (truth.go): wires by length, gauge and
// a temperature from -10 to 90 degrees; contacts, grounds, switches and fuses by
// decades; loads within 12 %; a filament's resistance goes as the 0.42nd to 0.5th
// power of the voltage, down to a tenth; a motor stands still under 0.25 to 0.38 of
// the nominal voltage and then has about a fifth; a fuse blows at 1.1 to 1.55 times
// its rating, the most overloaded first; a contact follows its coil, which pulls in at
// 0.5 to 0.66 and lets go at 0.15 to 0.35 of the nominal voltage; a diode has 0.74 to
// 0.84 V at one ampere. Each piece of wiring that floats leaks from one point of it
// through 30 megohm to 30 gigohm to the supply and to ground. All of that is then
// moved to within what the drawing states (Element.Ohms), or by Wider beyond.
//
// The steady state is solved with the instrument in the circuit, 10 megohm, element by
// element, again and again until loads, relays and fuses go with what flows. What
// never settles is not played.
//
// # Faults
//
// None, one or two of different elements, by the priors of suspect.Default and the
// shares of Circuit.Modes; 'any' is none in a tenth of the cases, one in six tenths, two
// in three tenths. Open is no connection, in three of ten 0.1 to 10 gigohm. A high
// resistance is 1 to 100 times the least that counts (Circuit.LeastHigh: what would
// drop half a volt), in a fifth up to a million times. A short, to a neighbour too, is 2 to 80 milliohm and
// anywhere along the part. A load that draws too much takes 1.6 to 4 times as much,
// a seized motor about five times.
//
// They are drawn again until there is a concern: with everything asked to work, a load
// that is bad itself, or has a thirtieth of the nominal voltage more or less, or takes
// 30 % more or less, than in the same vehicle when all is well; or else, with nothing
// asked to work, a load that has more than three tenths of the nominal voltage and
// should have nothing. Of two faults each must bring one by itself. What would put 400
// A through anything is drawn again: it would burn before anybody measures. The case
// is played in the state in which the concern is there. Without a fault the concern
// was only told, and there is no sighting of it.
//
// Stray adds a resistor of 0.05 to 50 ohm, by decades, between two points. Intermittent
// lets the faults be there in a share of the readings, 0.3 to 0.9; each reading says
// whether the concern was there.
//
// # Readings
//
// What is shown is what is there, times a gain of up to half a percent either way that
// all readings of a case share, plus a noise of 5 mV (15 at most), plus an offset of 15
// mV (35 at most) that all readings with the black lead at the same place share, by
// hundredths of a volt. The supply moves by up to 20 mV from reading to reading; in half
// of the cases somebody wrote it down, in the others the judgement takes the usual span.
//
// A gross reading (a share of Gross) was taken with the red lead at any other point in
// half of them, or has the wrong sign, is ten times or a tenth, or is off by one to
// nine tenths, volts or tens of volts.
//
// A clamp is off by up to 2 % throughout a case and 20 mA from reading to reading. With
// Clamp, each drop is read together with the current, as the advice asks for. Ohms are
// read with every fuse and breaker out, by 0.2 V through 500 ohm, with 0.1 to 0.3 ohm in
// the leads, by tenths of an ohm, nothing above 20 megohm; where more than 50 mV is found
// between the leads it stays a reading in volts.
//
// What is unplugged is taken out of the vehicle, and a fuse that blew before stays blown.
// The short of a contact that is unplugged goes with the half that is chafed: in a third
// of them the one that is drawn first, in a third the other, else it is a bent pin and
// gone. The test lamp of a case has 20 to 65 ohm lit by 12 V, more by the square of a
// higher voltage, and a tenth of that cold.
//
// # Tests
//
// Evidence 'tests' has no drawing: each component may be bad in any way, and tests
// cover sets of components: whether a load works (it, and what nothing goes round
// between it and the posts), whether a point has supply or ground, and of each
// component alone what the table has for its kind but looking and reseating. A test
// fails when something that it covers is bad; a gross error (a share of Gross) turns it
// round: two false passes are enough to prove what is not so. 'mixed' has readings,
// whether a load works, and of each component alone what the table has and readings do
// not take the place of. A fuse that blew fails its test, which a short below it explains as
// well where that is drawn; a new one, or a lead over it, blows again, and tells nothing.
//
// # The player
//
// The problem is put as a case puts it: something not named, not as drawn, each
// element in each of its modes, the concern sighted. Readings to choose from: volts
// at each point that a lead gets at, to the negative post, the drop over each element
// that is neither a wire nor a load, and the current through each load, in the state of
// the concern; with the fuses out, ohms over each load and from behind each fuse to the
// negative post; and with own, at the plugs next to what is likeliest, those with a plug
// off that Circuit.PlugOff and Near offer, a test lamp nowhere that wire joins to a module's
// output. A plug is a contact, or a load that none is at. None twice, but for those taken
// only while the concern was absent, up to three times.
//
//   - own: the first of Judgement.Next.
//   - half: of each suspect of 0.0001 and more, the named ones, the likeliest mode; a
//     reading looks off under it where the likeliest of its outcomes is another than
//     with nothing wrong. Taken is the reading for which the probability of the
//     suspects under which it looks off comes nearest to half of all, cost left out;
//     of equal ones the first as drawn. This is the baseline, and it stays as it is.
//   - random: any that is left. Neither it nor half unplugs anything.
//
// It stops when a part, or that nothing is wrong, is probable to 0.95; at Cap; or when
// nothing tells any more. It is not told how many faults there are. With own it
// then goes on to OnTo readings, by what proves most (Judgement.Clearing), tells most, or
// else any, so that proofs can be counted; nothing but proofs is counted of those. To
// choose from are then also, at each point, the drop from the positive post, and volts with
// the circuit asked the other way round and with the fuses out; drops with their currents over
// feeds, returns and loads (Circuit.Clamps); and, where what was found is no load, all of
// these, volts and currents with a jumper of 10 to 50 milliohm over it, of a coil over the
// contact that it moves.
//
// What is advised is what tells or proves most for each minute, and the figures count
// tests. OneCost plays it with all tests at one cost.
//
// With a stray path what counts is what the judgement would accuse: it stops only when it is
// narrowed to a part (Judgement.NarrowedTo: a test on that part alone failed) or says that it
// is not as drawn. Own takes that test as soon as a part is probable to 0.95: the drop over it
// with its current, or the volts over a load.
//
// # Figures
//
//   - Faulty modes proven good: after every reading, on to OnTo, each proof is held
//     against what is truly there, a fuse that blew counted as open. Each fault counts
//     once. The bound is one-sided.
//   - True readings outside: the true voltage, without the meter's error, lies outside
//     what Observation.Expect says can be under what is truly there.
//   - Sound modes proven: of all modes of elements on which nothing is wrong, when it was
//     found and after OnTo tests; sum over sum.
//   - Right when found: the true element is first when it stopped at 0.95, of the cases
//     that did; how many those are is told beside. Of two faults either will do: one often
//     hides the other, which a shop finds when the first is mended. A fuse that a short
//     blew will do only with tests alone, which know no drawing: the next one blows as
//     well.
//   - Calibration: after each reading until it stops, the likeliest suspect, and all of
//     0.001 and more, by tenths of what was said; off by the worst tenth that a hundred
//     cases came by, each counted once with the mean of what it said there, since a case
//     that is stuck says the same thirty times. The same with every time counted stands
//     beside, without a goal. Something not named is never there and is counted as said.
//   - Groups: each component has its likeliest mode that brings the concern, all
//     parameters as they usually are (a high resistance ten times the least that
//     counts); two are in one group when no reading to choose from differs by more than
//     0.03 and half a percent (volts, amperes, decades of ohms), the one that founded the
//     group held against each. What floats reads zero. Tests to find one fault over log2
//     of the groups is sum over sum, of the cases that were found.
//   - False accusation: of all cases with a stray path those narrowed to a sound part.
//     Narrowed at all counts those that said it is not as drawn too.
//   - Against half-split: tests over tests, of the cases that both found.
//
// Shares have Clopper and Pearson's exact limits, ratios those of 2,000 bootstrap
// samples of cases.
//
// # Recorded cases
//
// testdata/played holds records that bench judgement --records wrote; a test plays a
// shard of each file again and compares case by case. Where a change of the judgement is
// meant to move them, remove the file and play it anew with its settings, which are its
// first line.
package proving
