package spec

// JSONSchema returns the JSON Schema (2020-12) of a spec document, as values for encoding/json. It is made from the same
// shapes as the parser. What a schema cannot say stays with the parser: that a pattern compiles, and that no name
// stands twice in parts, sets or annotations.
func JSONSchema(c Catalogue) map[string]any {
	m := &schemaMaker{defs: map[string]any{}}
	s := m.of(documentShape(c))
	s["$defs"] = m.defs
	s["$schema"] = "https://json-schema.org/draft/2020-12/schema"
	s["$id"] = "proofhouse:spec/1"
	s["title"] = "Spec of a prop"
	return s
}

// schemaMaker writes shapes that stand in several places once, under $defs.
type schemaMaker struct{ defs map[string]any }

func (m *schemaMaker) of(s *shape) map[string]any {
	if s.def == "" {
		return m.written(s)
	}
	if m.defs[s.def] == nil {
		m.defs[s.def] = m.written(s)
	}
	return map[string]any{"$ref": "#/$defs/" + s.def}
}

func (m *schemaMaker) written(s *shape) map[string]any {
	out := map[string]any{}
	if s.what != "" {
		out["description"] = s.what
	}
	switch s.form {
	case formText:
		textSchema(s, out)
	case formWord:
		out["enum"] = s.words
	case formNumber, formInteger:
		numberSchema(s, out)
	case formFlag:
		out["type"] = "boolean"
	case formList:
		out["type"] = "array"
		out["items"] = m.of(s.item)
		if s.least > 0 {
			out["minItems"] = s.least
		}
		if s.most > 0 {
			out["maxItems"] = s.most
		}
	case formObject:
		m.object(s, out)
	case formTable:
		out["type"] = "object"
		out["propertyNames"] = map[string]any{"pattern": "^" + tableKeyExpr + "$"}
		out["additionalProperties"] = m.of(s.value)
	case formEither:
		var forms []any
		for _, e := range s.either {
			forms = append(forms, m.of(e))
		}
		out["oneOf"] = forms
	}
	return out
}

func textSchema(s *shape, out map[string]any) {
	out["type"] = "string"
	out["minLength"] = 1
	out["maxLength"] = maxText
	if s.maxLen > 0 {
		out["maxLength"] = s.maxLen
	}
	if s.expr != "" {
		out["pattern"] = "^(?:" + s.expr + ")$"
	}
}

func numberSchema(s *shape, out map[string]any) {
	out["type"] = "number"
	if s.form == formInteger {
		out["type"] = "integer"
	}
	if !s.bounded {
		return
	}
	if s.aboveLow {
		out["exclusiveMinimum"] = s.low
	} else {
		out["minimum"] = s.low
	}
	out["maximum"] = s.high
}

func (m *schemaMaker) object(s *shape, out map[string]any) {
	props := map[string]any{}
	var needed []string
	for _, f := range s.fields {
		props[f.key] = m.of(f.shape)
		if f.needed {
			needed = append(needed, f.key)
		}
	}
	out["type"] = "object"
	out["properties"] = props
	out["additionalProperties"] = false
	if needed != nil {
		out["required"] = needed
	}
	if s.reasonIfNotes {
		out["if"] = map[string]any{"required": []string{"mode"}, "properties": map[string]any{"mode": map[string]any{"const": string(NotAppl)}}}
		out["then"] = map[string]any{"required": []string{"reason"}}
	}
}
