//go:build dev

package kit

// EndWith makes the pages end when others do, for a program that makes its pages anew while it runs.
func (s *Shell) EndWith(other *Shell) { s.closing, s.EndLive = other.closing, other.EndLive }
