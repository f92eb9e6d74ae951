package spec

import (
	"bytes"
	"errors"
	"fmt"

	"gopkg.in/yaml.v3"
)

// Overlay lays a part of a spec over a whole one: a mapping goes into the mapping that is there, key by key, and whatever else
// takes the place of what is there. Comments of the whole one stay. Neither is checked against the schema here; what comes
// out is read as any spec is.
func Overlay(document, change []byte) ([]byte, error) {
	base, err := mapping("the spec", document)
	if err != nil {
		return nil, err
	}
	top, err := mapping("the change", change)
	if err != nil {
		return nil, err
	}
	layNodes(base.Content[0], top.Content[0])
	var out bytes.Buffer
	e := yaml.NewEncoder(&out)
	e.SetIndent(2)
	if err := errors.Join(e.Encode(base), e.Close()); err != nil {
		return nil, fmt.Errorf("lay a change over a spec: %w", err)
	}
	return out.Bytes(), nil
}

// mapping reads a document whose top is a mapping. Aliases are refused: what one place changes would change in another.
func mapping(what string, text []byte) (*yaml.Node, error) {
	var n yaml.Node
	if err := yaml.Unmarshal(text, &n); err != nil {
		return nil, fmt.Errorf("%s is no YAML: %w", what, err)
	}
	if n.Kind != yaml.DocumentNode || n.Content[0].Kind != yaml.MappingNode {
		return nil, fmt.Errorf("%s has no keys at its top", what)
	}
	if aliased(&n) {
		return nil, fmt.Errorf("%s has anchors or aliases, which cannot be laid over each other", what)
	}
	return &n, nil
}

func aliased(n *yaml.Node) bool {
	if n.Kind == yaml.AliasNode || n.Anchor != "" {
		return true
	}
	for _, c := range n.Content {
		if aliased(c) {
			return true
		}
	}
	return false
}

func layNodes(base, top *yaml.Node) {
	for i := 0; i+1 < len(top.Content); i += 2 {
		key, value := top.Content[i], top.Content[i+1]
		at := -1
		for j := 0; j+1 < len(base.Content); j += 2 {
			if base.Content[j].Value == key.Value {
				at = j + 1
			}
		}
		switch {
		case at < 0:
			if base.Style&yaml.FlowStyle != 0 && len(base.Content) == 0 {
				base.Style &^= yaml.FlowStyle // {} becomes lines
			}
			base.Content = append(base.Content, key, value)
		case base.Content[at].Kind == yaml.MappingNode && value.Kind == yaml.MappingNode:
			layNodes(base.Content[at], value)
		default:
			base.Content[at] = value
		}
	}
}
