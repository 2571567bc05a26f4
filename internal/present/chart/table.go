package chart

// Table is a picture told in words: one row for each thing shown, in the order it is drawn.
type Table struct {
	Caption string
	Header  []string
	Rows    [][]string
}

// HTML returns the table as an HTML element, everything escaped, to stand beside the picture or in
// a details element.
func (t Table) HTML() []byte {
	b := []byte(`<table class="ch-table">`)
	if caption := clean(t.Caption); caption != "" {
		b = append(b, "<caption>"...)
		b = appendEscaped(b, caption)
		b = append(b, "</caption>"...)
	}
	b = append(b, "<thead><tr>"...)
	for _, h := range t.Header {
		b = append(b, `<th scope="col">`...)
		b = appendEscaped(b, h)
		b = append(b, "</th>"...)
	}
	b = append(b, "</tr></thead>\n<tbody>"...)
	for _, row := range t.Rows {
		b = append(b, "<tr>"...)
		for _, cell := range row {
			b = append(b, "<td>"...)
			b = appendEscaped(b, cell)
			b = append(b, "</td>"...)
		}
		b = append(b, "</tr>\n"...)
	}
	return append(b, "</tbody></table>\n"...)
}

// appendEscaped appends s, cleaned, for use as text or within double quotes in XML and HTML.
func appendEscaped(b []byte, s string) []byte {
	for _, r := range clean(s) {
		switch r {
		case '&':
			b = append(b, "&amp;"...)
		case '<':
			b = append(b, "&lt;"...)
		case '>':
			b = append(b, "&gt;"...)
		case '"':
			b = append(b, "&#34;"...)
		case '\'':
			b = append(b, "&#39;"...)
		default:
			b = append(b, string(r)...)
		}
	}
	return b
}
