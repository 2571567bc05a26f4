package table

import (
	"bytes"
	"fmt"
	"strconv"

	"go.yaml.in/yaml/v3"
)

// Text returns the profile as the YAML that ParseProfile reads, without what is the default.
func (p Profile) Text() ([]byte, error) {
	root := mapped()
	root.word("delimiter", p.Delimiter)
	root.word("encoding", p.Encoding)
	if p.SkipLines != 0 {
		root.add("skip_lines", &yaml.Node{Kind: yaml.ScalarNode, Tag: "!!int", Value: strconv.Itoa(p.SkipLines)})
	}
	root.word("decimal", p.Decimal)
	root.word("grouping", p.Grouping)
	clock := mapped()
	clock.word("zone", p.Time.Zone)
	if len(p.Time.Format) > 0 {
		list := &yaml.Node{Kind: yaml.SequenceNode, Style: yaml.FlowStyle}
		for _, f := range p.Time.Format {
			list.Content = append(list.Content, quotedText(f))
		}
		clock.add("format", list)
	}
	clock.word("ambiguous", p.Time.Ambiguous)
	root.texts("time", clock)
	root.texts("columns", textsOf(p.Columns))
	values := mapped()
	for _, field := range sortedKeys(p.Values) {
		values.texts(field, textsOf(p.Values[field]))
	}
	root.texts("values", values)
	root.texts("constant", textsOf(p.Constant))
	if len(root.Content) == 0 {
		return []byte("# The file is written as this program writes files.\n"), nil
	}
	var b bytes.Buffer
	e := yaml.NewEncoder(&b)
	e.SetIndent(2)
	if err := e.Encode(root.Node); err != nil {
		return nil, fmt.Errorf("write the profile: %w", err)
	}
	return b.Bytes(), e.Close()
}

// mapping is a YAML mapping that is being written.
type mapping struct{ *yaml.Node }

func mapped() mapping { return mapping{&yaml.Node{Kind: yaml.MappingNode}} }

func (m mapping) add(key string, value *yaml.Node) {
	m.Content = append(m.Content, quotedText(key), value)
}

func (m mapping) word(key, value string) {
	if value != "" {
		m.add(key, quotedText(value))
	}
}

// texts adds a mapping unless it is empty.
func (m mapping) texts(key string, of mapping) {
	if len(of.Content) > 0 {
		m.add(key, of.Node)
	}
}

func textsOf(texts map[string]string) mapping {
	m := mapped()
	for _, key := range sortedKeys(texts) {
		m.add(key, quotedText(texts[key]))
	}
	return m
}

// quotedText is a text that stays one although it looks like a number, a word for yes, or nothing.
func quotedText(text string) *yaml.Node {
	n := new(yaml.Node)
	n.SetString(text)
	if text == "" {
		n.Style = yaml.DoubleQuotedStyle
	}
	return n
}
