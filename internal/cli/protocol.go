package cli

import (
	"fmt"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"rinsate/internal/base/fault"
	"rinsate/internal/desk"
)

func (a sampleCommands) protocolCommand() *cobra.Command {
	return &cobra.Command{
		Use: "protocol TAG [POINT]", Short: "Show how the points of a scope are sampled, step by step",
		Long: `Show how the sampling points of a scope are sampled: what must be at hand, the steps in
their order with volumes and lengths, what makes a sample invalid, and the clocks.`,
		Args: cobra.RangeArgs(1, 2),
		RunE: func(c *cobra.Command, args []string) error {
			return a.view(c, func(v desk.View) error {
				guide, err := v.Day().Guide(args[0])
				if err != nil {
					return err
				}
				if len(args) == 2 {
					guide.Points = slices.DeleteFunc(guide.Points, func(p desk.GuidePoint) bool { return string(p.Kind) != args[1] })
					if len(guide.Points) == 0 {
						return &fault.Error{
							Code:    fault.NotFound,
							Message: fmt.Sprintf("scope %s has no sampling point %q", args[0], args[1]),
							Hint:    "see its points with: rinsate protocol " + args[0],
						}
					}
				}
				if a.json {
					return a.printJSON(guide)
				}
				a.printGuide(guide)
				return nil
			})
		},
	}
}

func (a sampleCommands) printGuide(g desk.Guide) {
	fmt.Fprintf(a.Out, "%s, model %s (%s)\n", g.Scope, g.Model, g.Kind)
	for _, p := range g.Points {
		when := "on demand"
		if p.Routine {
			when = "in every cleaning verification"
		}
		if p.NotApplicable != "" {
			when = "not applicable: " + p.NotApplicable
		}
		a.heading("%s, %s", p.Kind, when)
		if p.NotApplicable != "" {
			continue
		}
		if p.Area > 0 {
			fmt.Fprintf(a.Out, "area %.1f cm²", float64(p.Area))
			if p.DeadVolume > 0 {
				fmt.Fprintf(a.Out, ", holds %.1f mL", float64(p.DeadVolume))
			}
			fmt.Fprintln(a.Out)
		}
		fmt.Fprintf(a.Out, "at hand: %s\n", strings.Join(p.Protocol.AtHand, "; "))
		for i, act := range p.Protocol.Acts {
			quantities := act.Quantities()
			if quantities != "" {
				quantities = " [" + quantities + "]"
			}
			fmt.Fprintf(a.Out, "  %d. %s%s\n", i+1, act.Do, quantities)
			if act.Invalid != "" {
				fmt.Fprintf(a.Out, "     void if: %s\n", act.Invalid)
			}
		}
		for _, c := range p.Clocks {
			fmt.Fprintf(a.Out, "  clock: %s within %s after it was %s\n", c.Name, c.Within, c.From)
		}
		fmt.Fprintf(a.Out, "  shake the activated device for at least %s\n", g.Shake)
		unverified := ""
		if !p.Protocol.Verified {
			unverified = " [not verified by the facility]"
		}
		fmt.Fprintf(a.Out, "  source: %s%s\n", p.Protocol.Citation, unverified)
	}
	for _, w := range g.Warnings {
		fmt.Fprintf(a.Out, "\nwarning: %s\n", w)
	}
	fmt.Fprintln(
		a.Out,
		"\nThe instructions of the scope's and the kit's manufacturers override these steps. Wear gloves,\na fluid-resistant gown and eye protection.",
	)
}
