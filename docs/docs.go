// Package docs holds the pages of the documentation that the program shows as well, so that there is one text of them.
package docs

import _ "embed"

// Hazards is docs/hazards.md: what can make a wrong answer, what stands against it, and what does not yet.
//
//go:embed hazards.md
var Hazards string
