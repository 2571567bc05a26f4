package web

// setUpMayOpen is about the set-up; see mayOpen.
var setUpMayOpen = map[string]string{}

// setUpExamples are the pages about the set-up; see examples.
func (b *site) setUpExamples() []example {
	b.Helper()
	return []example{}
}
