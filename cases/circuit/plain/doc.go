// Package plain is a second solver of direct-current circuits, for holding the
// first against. It shares nothing with it: no code, no way of solving, no idea of
// stretches or spans. Only tests, and a command that measures, may import it.
//
// It is modified nodal analysis (C. Ho, A. Ruehli and P. Brennan, IEEE Transactions
// on Circuits and Systems 22, 1975) as any textbook has it, kept plain so that it
// can be seen to be right:
//
//  1. The unknowns are the voltage of every node but node 0, which is at 0 volts,
//     and the current through every voltage source.
//  2. For each node, what flows out through its elements adds up to nothing; for
//     each source, the voltage between its ends is what it says.
//  3. Newton's method: what is left over in 2 at the present voltages, element by
//     element, divided by the matrix of slopes, is the step. What is bent (lamps,
//     diodes) is taken as its tangent at the voltage of the step before.
//  4. The division is Gaussian elimination with partial pivoting, dense, in
//     float64.
//
// Step 3 is taken also where everything is straight. A matrix whose diagonal adds a
// short of 10,000 siemens to a leak of 30 gigohm has lost most of the leak; what is
// left over element by element has not, so a few steps bring it back.
//
// A node that nothing joins with node 0 has no voltage: it is listed, and its
// voltage is not a number. Where a node hangs on nothing but a diode that blocks,
// Solve returns an error. Nothing is guessed.
package plain
