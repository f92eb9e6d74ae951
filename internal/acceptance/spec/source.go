package spec

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"regexp"
	"sort"
	"strconv"
	"strings"
	"unicode/utf8"

	"gopkg.in/yaml.v3"
)

// readNodes turns a document's bytes into nodes that know their line and column. JSON goes through a reader of its
// own: YAML refuses tabs and surrogate pairs, which JSON allows.
func readNodes(file string, data []byte) (*yaml.Node, Faults) {
	whole := func(msg string) Faults { return Faults{{File: file, Message: msg}} }
	if len(data) > maxBytes {
		return nil, whole(fmt.Sprintf("the document has %d bytes; at most %d are read", len(data), maxBytes))
	}
	if !utf8.Valid(data) {
		return nil, whole("the document is not UTF-8 text")
	}
	if looksLikeJSON.Match(data) {
		return readJSON(file, data)
	}
	return readYAML(file, data)
}

var looksLikeJSON = regexp.MustCompile(`^\s*\{\s*["}]`)

func readYAML(file string, data []byte) (root *yaml.Node, faults Faults) {
	defer func() { // the parser is a library's and the bytes are a stranger's
		if p := recover(); p != nil {
			root, faults = nil, Faults{{File: file, Message: fmt.Sprintf("the document cannot be read as YAML: %v", p)}}
		}
	}()
	dec := yaml.NewDecoder(bytes.NewReader(data))
	var doc yaml.Node
	if err := dec.Decode(&doc); err != nil {
		if errors.Is(err, io.EOF) {
			return nil, Faults{{File: file, Message: "the document is empty"}}
		}
		return nil, Faults{yamlFault(file, err)}
	}
	var second yaml.Node
	if err := dec.Decode(&second); err == nil {
		return nil, Faults{{File: file, Line: second.Line, Col: second.Column, Message: "a second document starts here; a spec is one document"}}
	} else if !errors.Is(err, io.EOF) {
		return nil, Faults{yamlFault(file, err)}
	}
	if len(doc.Content) != 1 {
		return nil, Faults{{File: file, Message: "the document is empty"}}
	}
	return doc.Content[0], nil
}

var yamlLine = regexp.MustCompile(`^yaml: (?:line (\d+): )?`)

func yamlFault(file string, err error) Fault {
	msg := err.Error()
	f := Fault{File: file}
	if m := yamlLine.FindStringSubmatch(msg); m != nil {
		f.Line, _ = strconv.Atoi(m[1])
		if f.Line > 0 {
			f.Col = 1
		}
		msg = msg[len(m[0]):]
	}
	f.Message = "not YAML: " + msg
	return f
}

// jsonReader builds the same nodes from JSON.
type jsonReader struct {
	dec   *json.Decoder
	data  []byte
	lines []int // byte offset of the start of each line
	file  string
}

func readJSON(file string, data []byte) (*yaml.Node, Faults) {
	r := jsonReader{dec: json.NewDecoder(bytes.NewReader(data)), data: data, lines: []int{0}, file: file}
	r.dec.UseNumber()
	for i, b := range data {
		if b == '\n' {
			r.lines = append(r.lines, i+1)
		}
	}
	node, err := r.value(0)
	if err == nil {
		if _, end := r.dec.Token(); !errors.Is(end, io.EOF) {
			err = errors.New("text after the document")
		}
	}
	if err != nil {
		at := int(r.dec.InputOffset())
		var syntax *json.SyntaxError
		if errors.As(err, &syntax) {
			// A fault between tokens is told at its byte, one inside a value after it.
			if int(syntax.Offset) != at {
				at = int(syntax.Offset) - 1
			}
		}
		if errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) {
			err = errors.New("the document ends in the middle")
			at = len(data)
		}
		line, col := r.place(at)
		return nil, Faults{{File: file, Line: line, Col: col, Message: "not JSON: " + err.Error()}}
	}
	return node, nil
}

// place gives line and column of a byte offset, both from 1, columns in characters.
func (r *jsonReader) place(at int) (line, col int) {
	at = max(0, min(at, len(r.data)))
	line = sort.SearchInts(r.lines, at+1)
	return line, 1 + utf8.RuneCount(r.data[r.lines[line-1]:at])
}

// next returns a token and the node at its place.
func (r *jsonReader) next() (json.Token, *yaml.Node, error) {
	at := int(r.dec.InputOffset())
	for at < len(r.data) && strings.IndexByte(" \t\r\n,:", r.data[at]) >= 0 {
		at++
	}
	t, err := r.dec.Token()
	if err != nil {
		return nil, nil, err
	}
	n := &yaml.Node{}
	n.Line, n.Column = r.place(at)
	return t, n, nil
}

// maxJSONDepth bounds nesting; a spec is less than ten deep.
const maxJSONDepth = 64

func (r *jsonReader) value(depth int) (*yaml.Node, error) {
	if depth > maxJSONDepth {
		return nil, fmt.Errorf("more than %d levels deep", maxJSONDepth)
	}
	t, n, err := r.next()
	if err != nil {
		return nil, err
	}
	n.Kind = yaml.ScalarNode
	switch v := t.(type) {
	case nil:
		n.Tag, n.Value = "!!null", "null"
	case bool:
		n.Tag, n.Value = "!!bool", strconv.FormatBool(v)
	case string:
		n.Tag, n.Value = "!!str", v
	case json.Number:
		n.Tag, n.Value = "!!float", string(v)
		if !strings.ContainsAny(string(v), ".eE") {
			n.Tag = "!!int"
		}
	case json.Delim:
		return n, r.children(n, v, depth)
	}
	return n, nil
}

func (r *jsonReader) children(n *yaml.Node, open json.Delim, depth int) error {
	n.Kind, n.Tag = yaml.SequenceNode, "!!seq"
	if open == '{' {
		n.Kind, n.Tag = yaml.MappingNode, "!!map"
	}
	for r.dec.More() {
		child, err := r.value(depth + 1)
		if err != nil {
			return err
		}
		n.Content = append(n.Content, child)
		if n.Kind == yaml.MappingNode {
			if child, err = r.value(depth + 1); err != nil {
				return err
			}
			n.Content = append(n.Content, child)
		}
	}
	_, err := r.dec.Token()
	return err
}
