//go:build race

package server

// raceEnabled: everything takes many times as long.
const raceEnabled = true
