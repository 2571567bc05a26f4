package web

// metersMayOpen is about meters; see mayOpen.
var metersMayOpen = map[string]string{}

// meterExamples are the pages about meters; see examples.
func (b *site) meterExamples() []example {
	b.Helper()
	return []example{}
}
