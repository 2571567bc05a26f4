//go:build race

package web

// raced says that the race detector watches. The tests that need a browser are left out then: a browser is
// not watched by it, and they take long. scripts/test.sh runs the package a second time without it.
const raced = true
