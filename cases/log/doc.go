// Package log says how cases are kept: what a log is and does (Log), how its
// entries are bound together and signed (Tree), and how it is followed (Tail).
package log
