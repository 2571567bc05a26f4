package cli

import (
	"context"
	"errors"
	"fmt"
	"os"
	"time"

	"github.com/spf13/cobra"
)

// Run runs one command and returns its exit code.
func Run(ctx context.Context, args []string, streams Streams, clock func() time.Time) int {
	a := newApp(streams, clock)
	root := a.root()
	root.SetArgs(args)
	err := root.ExecuteContext(ctx)
	if err == nil {
		return a.code
	}
	a.report(err)
	if _, ok := errors.AsType[usageError](err); ok || !a.called {
		return exitUsage
	}
	return exitError
}

func (a *app) root() *cobra.Command {
	root := &cobra.Command{
		Use:   "rinsate",
		Short: "Keep the record of endoscope cleanliness and answer whether a scope may be used",
		Long: `Rinsate keeps, for every reusable flexible endoscope, the record from patient to
ready: uses, reprocessing steps, samples, readings, decisions and holds. From that
record it says what is due, what a reading means, and whether a scope may be used
now, until when, and if not, why not.

` + caution,
		SilenceErrors: true, SilenceUsage: true,
		PersistentPreRunE: func(c *cobra.Command, _ []string) error {
			if err := c.ValidateRequiredFlags(); err != nil {
				return fmt.Errorf("%w\nhint: %s --help", err, c.CommandPath())
			}
			a.called = true
			return nil
		},
		CompletionOptions: cobra.CompletionOptions{HiddenDefaultCmd: false},
	}
	root.SetIn(a.In)
	root.SetOut(a.Out)
	root.SetErr(a.Err)
	root.SetFlagErrorFunc(func(c *cobra.Command, err error) error {
		return fmt.Errorf("%w\nhint: %s --help", err, c.CommandPath())
	})
	root.PersistentFlags().StringVar(&a.data, "data", defaultData(), "data folder (environment: RINSATE_DATA)")
	root.PersistentFlags().StringVar(&a.patientKey, "patient-key", os.Getenv("RINSATE_PATIENT_KEY"),
		"file of the key of the patients' numbers, patients.key of the data folder when empty (environment: RINSATE_PATIENT_KEY)")
	root.PersistentFlags().BoolVar(&a.json, "json", false, "print JSON")
	root.AddGroup(
		&cobra.Group{ID: "day", Title: "The day's work:"},
		&cobra.Group{ID: "numbers", Title: "What the numbers say:"},
		&cobra.Group{ID: "set-up", Title: "Setting up and reading in:"},
		&cobra.Group{ID: "proof", Title: "Proof and care:"},
	)
	add := func(group string, commands ...*cobra.Command) {
		for _, c := range commands {
			c.GroupID = group
			root.AddCommand(c)
		}
	}
	add(
		"day",
		dayCommands{a}.releaseCommand(),
		dayCommands{a}.dueCommand(),
		dayCommands{a}.boardCommand(),
		dayCommands{a}.historyCommand(),
		sampleCommands{a}.protocolCommand(),
		dayCommands{a}.holdCommand(),
		dayCommands{a}.liftCommand(),
		dayCommands{a}.askCommand(),
		dayCommands{a}.clockCommand(),
		dayCommands{a}.attestCommand(),
		dayCommands{a}.voidCommand(),
		dayCommands{a}.correctCommand(),
		dayCommands{a}.finishCommand(),
		eraseCommand(a),
		patientCommands{a}.patientCommand(),
		sampleCommands{a}.checkCommand(),
		sampleCommands{a}.selectCommand(),
		dayCommands{a}.attachCommand(),
		dayCommands{a}.attachmentsCommand(),
		dayCommands{a}.attachmentCommand(),
		dayCommands{a}.handoverCommand(),
	)
	add(
		"numbers",
		numberCommands{a}.trendCommand(),
		numberCommands{a}.signalsCommand(),
		numberCommands{a}.signalCommand(),
		numberCommands{a}.limitsCommand(),
		levelCommands{a}.levelCommand(),
		numberCommands{a}.variationCommand(),
		meterCommands{a}.meterCommand(),
		numberCommands{a}.funnelCommand(),
		numberCommands{a}.failuresCommand(),
	)
	add(
		"set-up",
		servingCommands{a}.demoCommand(),
		servingCommands{a}.serveCommand(),
		setUpCommands{a}.initCommand(),
		setUpCommands{a}.importCommand(),
		setUpCommands{a}.rulesCommand(),
		setUpCommands{a}.fleetCommand(),
		setUpCommands{a}.unrecallCommand(),
		userCommands{a}.userCommand(),
	)
	add(
		"proof",
		proofCommands{a}.ledgerCommand(),
		proofCommands{a}.backupCommand(),
		proofCommands{a}.restoreCommand(),
		proofCommands{a}.doctorCommand(),
		proofCommands{a}.versionCommand(),
		proofCommands{a}.manCommand(),
	)
	servingCommands{a}.developing(root)
	hintArgs(root)
	return root
}
