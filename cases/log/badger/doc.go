// Package badger keeps a log in a directory, with Badger.
package badger
