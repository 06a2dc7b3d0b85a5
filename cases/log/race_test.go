//go:build race

package log_test

// slowed: under the race detector everything takes ten times as long, and the
// detector has nothing to find in the files that the damage tests change.
const slowed = true
