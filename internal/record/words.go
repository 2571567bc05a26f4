package record

import (
	"strings"
)

// listed joins what there is.
func listed(parts ...string) string {
	var there []string
	for _, p := range parts {
		if p != "" {
			there = append(there, p)
		}
	}
	return strings.Join(there, ", ")
}

func named(what, name string) string {
	if name == "" {
		return ""
	}
	return what + " " + name
}

func goesOn(ended bool) string {
	if ended {
		return ""
	}
	return "no end recorded"
}

func orElse(text, otherwise string) string {
	if text == "" {
		return otherwise
	}
	return text
}
