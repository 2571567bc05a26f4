// Command rinsate keeps the record of an endoscope's cleanliness from patient to ready, and answers
// whether it may be used.
package main

import (
	"context"
	"os"
	"os/signal"
	"syscall"
	"time"
	_ "time/tzdata" // zones are needed where the system has none, as in a scratch container

	"rinsate/internal/cli"
)

func main() { os.Exit(run(time.Now, cli.Elapsed)) }

// run is the whole program; clock is the only one that it has, but for one that nobody sets, to notice when somebody
// sets the other.
func run(clock func() time.Time, elapsed func() (time.Duration, error)) int {
	ctx, stop := signal.NotifyContext(context.Background(), syscall.SIGINT, syscall.SIGTERM)
	defer stop()
	return cli.Run(ctx, os.Args[1:], cli.Streams{In: os.Stdin, Out: os.Stdout, Err: os.Stderr, Elapsed: elapsed}, clock)
}
