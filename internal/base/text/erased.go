package text

// Erased is what a text reads as that was erased.
const Erased = "(erased)"

// Stated says whether a text is there. One that was erased is not: where a text is asked for, it is missing.
func Stated(s string) bool { return s != "" && s != Erased }
