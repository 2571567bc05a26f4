package text

// Erased is what a text reads as that was erased.
const Erased = "(erased)"
