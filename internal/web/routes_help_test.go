package web

// helpMayOpen is about help; see mayOpen.
var helpMayOpen = map[string]string{}

// helpExamples are the pages about help; see examples.
func (b *site) helpExamples() []example {
	b.Helper()
	return []example{}
}
