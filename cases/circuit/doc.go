// Package circuit is the physics of a wiring path that somebody drew: what a reading
// can show under a fault, what it is likely to show, and what it therefore rules
// out. It knows no protobuf and no case; readings become evidence of package
// suspect.
//
// # The circuit
//
// Elements lie between nodes: wires, contacts, splices, grounds, switches and relay
// contacts, fuses, module outputs, loads, lamps, motors, coils, resistors, diodes.
// Node 0 is the battery's negative post, node 1 the positive one; what lies over
// them at the moment of a reading is given as a span of volts. A module's own 5 V is
// a circuit of its own, whose supply is an element like others.
//
// A Setup is the state while something was read: which contacts were closed, open or
// either, what was unplugged (Gone), what was bridged, whether the battery was off.
// Contacts that a drawn coil closes follow the voltage over it (pulled in from 0.7 of
// the nominal voltage, let go at 0.1; common practice), diodes conduct past their
// knee, fuses do not hold 1.6 times their rating for long (ISO 8820-3, from memory); each
// carries what its loads take with every contact closed, so that what is shorted behind a
// load does not blow it, unless another load is behind that one: a resistor takes more than
// ever where its motor is shorted.
// An instrument is part of the circuit: a voltmeter is 10 megohm between the two
// leads, a filament test lamp 1.5 to 70 ohm. What floats leaks through 30 megohm to
// 30 gigohm to supply and to ground (assumed): that is the ghost voltage. An ohmmeter
// sees filaments a tenth and motors a fifth of what they are hot or turning, and is
// misled by up to a tenth of a volt that a fault still feeds to what it is on. Across a
// component, with neither lead named, volts are one way round or the other (Unsigned).
//
// What is unplugged conducts nothing, but a fuse that blew before stays blown, by a
// fault in it or behind it too, and a chafed plug may touch metal on either side. Near
// what is likeliest, readings with a plug off are offered (unplugged.go): on the harness
// side the volts of a feed with a test lamp from there to the negative post, or of a way to
// ground with one to the positive post; ohms from there to the negative post; and over a
// load that nothing lies beside any more.
//
// Unknown resistances are spans: of wires by length and cross-section (IEC 60228 class
// 5; ASTM B258 for American gauges; copper 0.00393 per kelvin), of contacts and
// grounds by what may drop over one that is well (common practice: under 0.1 to 0.2
// V, a whole side under 0.5 V), of loads by power, current or resistance, 15 % either way;
// a filament's current goes about as the 0.55th power of the voltage, and its power
// holds at 13.5 V of 12 (UN ECE Regulation 37, from memory).
//
// # Solving
//
// Nodes are removed one by one: a star of conductances g1..gm is to its ends the same
// as a mesh of gi gj / (g1+...+gm) (star-mesh transform; for all nodes at once, Kron's
// reduction). All terms are positive, so nothing cancels, an open is 0 and an island
// is seen. Backwards, each voltage is the mean of its neighbours', weighted by the
// conductances. In which order, and what comes to lie where, depends on what lies between
// which nodes and not on how well that conducts: it is worked out once (shape.go) and
// carried out for each fault and bound; from one draw to the next only what lies behind a
// conductance that changed (rework.go). The tests hold it to exact rationals, to a
// second, plain solver and to ngspice.
//
// # Stretches
//
// Elements one behind the other that nothing branches off and no lead touches are one
// stretch to a reading: what is wrong with one of them is wrong with all. Faults with
// the same effect on the same stretch are one class, so that a judgement asks once for
// each pair of classes and not for each pair of faults.
//
// A fault adds ohms in series (open: 100 megohm and more; high resistance: from what
// would drop half a volt at the circuit's own current, up to 100 megohm), puts others
// in their place (shorted, draws too much, seized, wrong part), leads to a post (a
// short: under a tenth of an ohm) or to another conductor, holds a contact closed, or turns
// a diode round. What it does to fuses above it follows. Two in one stretch lie in the order
// of their elements (suspect.Place): a feed that is open before a short to the supply is
// fed, behind it it is not. Where that is not known, as of shorts to a
// neighbour, either order is allowed for; of three with a short nothing is ruled out.
//
// # Neighbours
//
// A wire or a contact may touch another that Element.Neighbours names: to each it is a way
// of being bad of its own (suspect.ShortTo), with a twentieth of the prior for all together
// (assumed). The short joins the two where it lies, anywhere along either, and so is one
// effect whichever of the two is bad: no reading tells a bent pin from the one that it
// touches, and the two share the probability. Within one stretch it passes by what lies
// between. A plug that is off holds its pins apart; what then still touches is a wire's.
// Where one of two wires is gone nobody knows, and nothing is ruled out. Of three faults of
// which one is such a short and another lies where it does, nothing is ruled out either:
// the orders in which they may lie are not gone through. Any fuse may be blown by it; in a
// draw those are through which too much would flow with every contact closed.
//
// A conductor that nobody drew cannot be modelled: what it carries, and through how much, is
// not known. Touching one that is fed is a short to power, one that is grounded a short to
// ground, and anything else is a drawing that is wrong. The same holds of a circuit with a
// supply of its own, and of what is drawn and is no neighbour.
//
// # Outer bounds
//
// Observation.Expect bounds what a reading can show at all. A proof rests on these
// alone, never on samples: samples bound from within and would prove too much.
//
//  1. The mesh of spans: gi gj / sum grows with gi and with gj and falls with every
//     other, so its ends are at those ends; the voltage of the last four nodes is
//     monotone in each of the five conductances left. By induction over the nodes
//     removed, what is computed holds the truth at every point of the spans. It is
//     wide where the conductances of one star count as independent.
//  2. The corners: a voltage rises or falls all the way with each conductance, so its
//     extremes are at corners of all the spans. What is in series or side by side is put
//     together first, with exact and independent ends; where nine or fewer are left, all
//     corners are tried, but for those of conductances of which it follows from what leads
//     where that they work one way (signs.go). Why is told in corner.go. It holds for loops as well. Leaks, and
//     what still gets through an open, are added as what they can move a node by.
//  3. What floats is left to the first. Of a larger mesh stars are taken out, as spans,
//     until nine conductances are left of which nobody knows which way they work.
//  4. How much a load draws depends on what feeds it: begun with all it could draw, each
//     round gives a least voltage over it, and that a narrower resistance. A high
//     resistance is bounded piece by piece, since all of it at once would allow for a
//     load that is starved by much and fed through little.
//  5. What is fed past its fuse, shorted where anything but the posts joins the two, or no
//     longer flows another way, may blow a fuse that it is not below: that one may then be
//     open, unless the loads beyond it take less than it holds (spared.go says why that is
//     enough).
//  6. A known current bounds a drop by itself, where all of it flows through what lies
//     between the leads, one load among it too: what that has goes by the volts that were
//     shown over it, less what the others drop. Two bounds that have nothing in common
//     contradict the fault.
//  7. Ohms are read on what nothing feeds but a fault, and what leaks. By either the meter is
//     misled by as much as it takes for a reading in ohms to be left alone (liveOhms), and a
//     fault may let a coil pull. A coil that something else still feeds holds its contact all
//     the while, so that it may be closed.
//
// A frequency and a duty are a Swing: how far apart the voltages are with outputs driven and
// not. A meter counts from 0.3 to 5 V on (Counts; assumed, and not the same at two points),
// so that one that counted saw 0.3 V at least and one that did not 5 V at most. What floats
// may swing by what it leaks, and so pulses on a loose wire rule out nothing. While outputs
// are driven in pulses a load is as cold, or as slow, as it may be at all.
//
// A reading that lies three standard deviations outside contradicts a hypothesis
// (meter: half a percent and 30 mV, which allows for a black lead's offset). All readings
// with one meter and one black lead share their error, so that two of them are no more
// than one as far as that goes: each by itself must be off by three times as much.
//
// # Scores
//
// Observation.Within is how likely a reading is while the unknown resistances of up to
// two faults lie in a box: at most, and on the whole. The values of each are spread so
// that ten sixteenths lie in the lower three decades (assumed: what is bad is mostly not
// very bad). What is shown at the corners of a box says what is shown between, since it
// rises or falls all the way; with a fault that may blow a fuse it does not, and the
// middle is asked for too. Nothing in a box is likelier than what comes nearest to what was
// read. A judgement parts the box where readings tell its parts from
// each other, so that the likelihood is the mean over sizes of the product over readings:
// one high resistance explains 6, 6, 6 V and not 6, 2, 6. What is foretold is uncertain
// by a tenth of what is dropped on the way (assumed), and by what contacts and wires that
// have more than they mostly have would change of it (beside two faults of which one is
// unknown by decades, no more than beside either of them); a load of which nobody knows what it
// draws may draw anything in each reading anew. What floats may lie anywhere its
// leaks allow; one reading in a hundred says nothing. Something not named seldom has to
// do with a reading on what is drawn; a wrong drawing often has.
//
// What a voltmeter shows between two points that do not float is the difference of two
// voltages that no other reading in the state changes. From the third reading in a state
// on, a draw therefore works out the voltages of all points at once, and all readings
// share it (survey.go).
package circuit
