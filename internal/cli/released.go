//go:build !dev

package cli

import "github.com/spf13/cobra"

// developing adds what a development build has (-tags dev); a released one has none of it.
func (a servingCommands) developing(*cobra.Command) {}
