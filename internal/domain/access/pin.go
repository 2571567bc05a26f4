package access

import (
	"fmt"
	"strings"
)

// The lengths of a PIN, in digits. It is for taking over a shared bench quickly, and never enough
// alone: the badge, or the locked session on that bench, is the other factor.
const (
	ShortestPIN = 4
	LongestPIN  = 8
)

// IsPIN says whether a text has the form of a PIN.
func IsPIN(text string) bool {
	return len(text) >= ShortestPIN && len(text) <= LongestPIN && strings.Trim(text, "0123456789") == ""
}

// CheckPIN refuses what is not a PIN, and one that is guessed first: one digit or one pair repeated, a
// sequence, one that reads the same from both ends, a year, and a run of keys down a keypad.
func CheckPIN(pin string) error {
	if !IsPIN(pin) {
		return fmt.Errorf("%w: a PIN has %d to %d digits and nothing else", ErrArgument, ShortestPIN, LongestPIN)
	}
	if why := trivial(pin); why != "" {
		return fmt.Errorf("%w: the PIN is guessed early: it is %s", ErrArgument, why)
	}
	return nil
}

func trivial(pin string) string {
	text := []rune(pin)
	mirrored := true
	for i := range len(pin) / 2 {
		mirrored = mirrored && pin[i] == pin[len(pin)-1-i]
	}
	switch {
	case period(text) < len(text):
		return "a repetition"
	case sequence(text) == len(text):
		return "a sequence"
	case mirrored:
		return "the same from both ends"
	case len(pin) == 4 && (pin[:2] == "19" || pin[:2] == "20"):
		return "a year"
	case isDate(pin):
		return "a date"
	case strings.Contains("147258369 2580 0852 963852741 1397 7931 159357 357159", pin): // lines, rims and crosses of a keypad
		return "a line on the keypad"
	}
	return ""
}

// isDate says whether six or eight digits read as a day, in one of the usual orders.
func isDate(pin string) bool {
	day := func(dd, mm string) bool { return dd >= "01" && dd <= "31" && mm >= "01" && mm <= "12" }
	year := func(yyyy string) bool { return yyyy[:2] == "19" || yyyy[:2] == "20" }
	switch len(pin) {
	case 6: // 311299, 123199, 991231
		return day(pin[:2], pin[2:4]) || day(pin[2:4], pin[:2]) || day(pin[4:], pin[2:4])
	case 8: // 31121999, 12311999, 19991231
		return (day(pin[:2], pin[2:4]) || day(pin[2:4], pin[:2])) && year(pin[4:]) || year(pin[:4]) && day(pin[6:], pin[4:6])
	}
	return false
}

// The length of what a badge says, in characters.
const (
	shortestBadge = 6
	longestBadge  = 128
)

// CheckBadge refuses what cannot be the text of a badge. It should be random: whoever can guess it
// needs only the PIN.
func CheckBadge(badge string) error {
	if err := checkText(badge); err != nil {
		return fmt.Errorf("badge: %w", err)
	}
	if n := len([]rune(badge)); n < shortestBadge || n > longestBadge || strings.TrimSpace(badge) != badge {
		return fmt.Errorf("%w: a badge's text has %d to %d characters and no space at its ends", ErrArgument, shortestBadge, longestBadge)
	}
	return nil
}
