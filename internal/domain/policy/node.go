package policy

import (
	"fmt"
	"strconv"
	"strings"

	"go.yaml.in/yaml/v3"
)

// document returns the top mapping of a rule set's text.
func document(text []byte) (*yaml.Node, error) {
	var doc yaml.Node
	if err := yaml.Unmarshal(text, &doc); err != nil {
		return nil, err
	}
	if len(doc.Content) == 0 || doc.Content[0].Kind != yaml.MappingNode {
		return nil, fmt.Errorf("the rule set is not a list of keys and values")
	}
	return doc.Content[0], nil
}

// member returns the key and the value of a mapping's member, nil when there is none.
func member(n *yaml.Node, name string) (key, value *yaml.Node) {
	if n == nil || n.Kind != yaml.MappingNode {
		return nil, nil
	}
	for i := 0; i+1 < len(n.Content); i += 2 {
		if n.Content[i].Value == name {
			return n.Content[i], n.Content[i+1]
		}
	}
	return nil, nil
}

// find follows a path of names from a mapping. A part of a list is named by what it is called (see
// called) or by its place, counted from 0.
func find(n *yaml.Node, path []string) *yaml.Node {
	for _, name := range path {
		if n == nil {
			return nil
		}
		switch n.Kind {
		case yaml.MappingNode:
			_, n = member(n, name)
		case yaml.SequenceNode:
			n = part(n, name)
		case yaml.DocumentNode, yaml.ScalarNode, yaml.AliasNode:
			return nil
		}
	}
	return n
}

func part(list *yaml.Node, name string) *yaml.Node {
	for _, p := range list.Content {
		if called(p) == name {
			return p
		}
	}
	if i, err := strconv.Atoi(name); err == nil && i >= 0 && i < len(list.Content) {
		return list.Content[i]
	}
	return nil
}

// called returns what a rule of a list is called: its name, its step, its points, what its route comes after, or its occasion with
// whom it is for; empty for a part that has none of these.
func called(n *yaml.Node) string {
	for _, key := range []string{"name", "step"} {
		if _, v := member(n, key); v != nil {
			return v.Value
		}
	}
	if _, v := member(n, "points"); v != nil {
		return words(v)
	}
	if _, v := member(n, "after"); v != nil {
		return v.Value
	}
	_, when := member(n, "when")
	if when == nil {
		return ""
	}
	var name strings.Builder
	name.WriteString(when.Value)
	for _, key := range []string{"risk", "kinds"} {
		if _, v := member(n, key); v != nil {
			name.WriteString(" " + words(v))
		}
	}
	return name.String()
}

// words joins the texts of a list, or gives the one that there is.
func words(n *yaml.Node) string {
	if n.Kind != yaml.SequenceNode {
		return n.Value
	}
	texts := make([]string, len(n.Content))
	for i, c := range n.Content {
		texts[i] = c.Value
	}
	return strings.Join(texts, ", ")
}
