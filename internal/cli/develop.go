//go:build dev

package cli

import (
	"errors"
	"io/fs"
	"os"

	"github.com/spf13/cobra"

	"rinsate/internal/demo"
	"rinsate/internal/desk"
	"rinsate/internal/domain/access"
	"rinsate/internal/identity"
	"rinsate/internal/web"
)

// developing adds what a development build has: a command that serves the invented hospital of a folder,
// building it first where there is none. Whoever has signed in stays so when the program is started again.
func (a servingCommands) developing(root *cobra.Command) {
	var o serving
	var cycles int
	c := &cobra.Command{
		Use: "dev", Short: "Serve the invented hospital of --data, with templates, styles and help as they are in the sources", Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			if _, err := os.Stat(a.data); errors.Is(err, fs.ErrNotExist) {
				if _, err := demo.Build(c.Context(), a.data, demo.Options{Today: a.clock(), Cycles: cycles}); err != nil {
					return err
				}
				if err := a.open(c.Context(), func(d *desk.Desk) error {
					return demo.AddAccounts(c.Context(), identity.NewDoor(d.DB, access.Standard))
				}); err != nil {
					return err
				}
			}
			a.printInvited()
			return a.open(c.Context(), func(d *desk.Desk) error {
				return a.serve(c.Context(), d, o, web.Options{Clock: a.clock, Demo: true, Door: identity.NewDoor(d.DB, access.Standard)})
			})
		},
	}
	c.Flags().StringVar(&o.listen, "listen", usualAddress, "address and port of this computer to serve the pages at")
	c.Flags().IntVar(&cycles, "cycles", 1000, "size of the invented year, when it is built")
	root.AddCommand(c)
}
