// Command snapshot records what the program answers about a fixed invented hospital, and compares two
// such records. It is for whoever moves code: before and after, the answers must be the same, but for
// words that were renamed on purpose.
//
//	go run ./scripts/snapshot record DIR
//	go run ./scripts/snapshot compare DIR_OLD DIR_NEW [--renames FILE]
//
// Everything in a record is text, one entry a file, packed with gzip. Nothing of it belongs in the
// repository. Read recorder.record first.
package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"syscall"
	"time"
	_ "time/tzdata" // the invented hospital has a zone, wherever this runs

	"github.com/spf13/cobra"
)

// errDiffers ends a comparison that found differences; they are printed already.
var errDiffers = errors.New("the records differ")

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), syscall.SIGINT, syscall.SIGTERM)
	err := command(os.Stdout, os.Stderr).ExecuteContext(ctx)
	stop()
	if err != nil {
		fmt.Fprintln(os.Stderr, "snapshot: "+err.Error())
		os.Exit(1)
	}
}

// command is the whole command line.
func command(out, talk io.Writer) *cobra.Command {
	root := &cobra.Command{Use: "snapshot", Short: "Record what the program answers, and compare two records", SilenceErrors: true, SilenceUsage: true}
	root.AddCommand(recordCommand(talk), compareCommand(out))
	return root
}

// usualToday is where the invented hospital's data end, and the time at which everything is asked.
const usualToday = "2026-03-18T14:00:00+01:00"

func recordCommand(talk io.Writer) *cobra.Command {
	r := recorder{talk: talk}
	var today, like, renames string
	c := &cobra.Command{
		Use: "record DIR", Short: "Record the answers of this commit in a new folder",
		Args: cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) (err error) {
			if r.today, err = time.Parse(time.RFC3339, today); err != nil {
				return fmt.Errorf("--today: %w\nhint: write it like %s", err, usualToday)
			}
			if r.out, err = newFolder(args[0]); err != nil {
				return err
			}
			if like != "" {
				if r.like, err = addressesOf(like, renames); err != nil {
					return err
				}
			}
			return r.record(c.Context())
		},
	}
	c.Flags().StringVar(&today, "today", usualToday, "when the data end, and the time at which everything is asked")
	c.Flags().IntVar(&r.cycles, "cycles", 3000, "size of the invented hospital's past")
	c.Flags().Uint64Var(&r.seed, "seed", 0, "seed of the invented hospital (0: the usual one)")
	c.Flags().IntVar(&r.instants, "instants", 5000, "at how many scope-instants the release is asked")
	c.Flags().IntVar(&r.most, "most", 25, "follow at most so many addresses of a route, for each person")
	c.Flags().StringVar(&like, "like", "", "also ask for every address of this earlier record")
	c.Flags().StringVar(&renames, "renames", usualRenames, "words that were renamed since that record")
	return c
}

func compareCommand(out io.Writer) *cobra.Command {
	var renames string
	c := comparer{out: out}
	command := &cobra.Command{
		Use: "compare DIR_OLD DIR_NEW", Short: "Print what differs between two records; exit 1 when anything does",
		Args: cobra.ExactArgs(2),
		RunE: func(_ *cobra.Command, args []string) (err error) {
			if c.renames, err = readRenames(renames); err != nil {
				return err
			}
			before, err := readEntries(args[0])
			if err != nil {
				return err
			}
			after, err := readEntries(args[1])
			if err != nil {
				return err
			}
			if found := c.compare(before, after); found > 0 {
				return errDiffers
			}
			return nil
		},
	}
	command.Flags().StringVar(&renames, "renames", usualRenames, "table of renamed words, applied to the old record")
	command.Flags().BoolVar(&c.full, "full", false, "print the difference of every entry, not each change once")
	return command
}
