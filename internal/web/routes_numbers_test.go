package web

// numbersMayOpen is about charts, alarms and where scatter comes from; see mayOpen.
var numbersMayOpen = map[string]string{}

// numberExamples are the pages about charts, alarms and where scatter comes from; see examples.
func (b *site) numberExamples() []example {
	b.Helper()
	return []example{}
}
