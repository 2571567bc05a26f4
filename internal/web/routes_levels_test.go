package web

// levelsMayOpen is about levels; see mayOpen.
var levelsMayOpen = map[string]string{}

// levelExamples are the pages about levels; see examples.
func (b *site) levelExamples() []example {
	b.Helper()
	return []example{}
}
