//go:build !race

package log_test

const slowed = false
