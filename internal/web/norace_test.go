//go:build !race

package web

// raced says that the race detector watches; see there.
const raced = false
