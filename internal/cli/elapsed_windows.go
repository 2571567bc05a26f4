package cli

import (
	"time"

	"golang.org/x/sys/windows"
)

// Elapsed is a clock that nobody sets: how long the computer has run, with the time for which it slept
// (GetTickCount64, to 16 ms).
func Elapsed() (time.Duration, error) { return windows.DurationSinceBoot(), nil }
