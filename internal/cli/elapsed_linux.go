package cli

import "golang.org/x/sys/unix"

// sinceBoot goes on while the computer sleeps, as CLOCK_MONOTONIC does not on Linux (clock_gettime(2)).
const sinceBoot = unix.CLOCK_BOOTTIME
