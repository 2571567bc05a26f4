package cli

import "testing"

// The clock that nobody sets goes on, and never back.
func TestElapsed(t *testing.T) {
	t.Parallel()
	first, err := Elapsed()
	if err != nil {
		t.Fatal(err)
	}
	for range 1000 {
		next, err := Elapsed()
		if err != nil || next < first {
			t.Fatalf("%s after %s, %v", next, first, err)
		}
		first = next
	}
	if first <= 0 {
		t.Errorf("the computer has run for %s", first)
	}
}
