package cli

import "golang.org/x/sys/unix"

// sinceBoot goes on while the computer sleeps, as CLOCK_UPTIME_RAW does not on macOS (clock_gettime(3)).
const sinceBoot = unix.CLOCK_MONOTONIC
