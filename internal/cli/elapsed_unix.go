//go:build linux || darwin

package cli

import (
	"time"

	"golang.org/x/sys/unix"
)

// Elapsed is a clock that nobody sets: how long the computer has run, with the time for which it slept.
func Elapsed() (time.Duration, error) {
	var t unix.Timespec
	if err := unix.ClockGettime(sinceBoot, &t); err != nil {
		return 0, err
	}
	return time.Duration(t.Nano()), nil
}
