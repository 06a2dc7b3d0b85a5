// Package quick turns one line, as it would be said aloud in the bay, into the
// content of an event.
package quick
