package acceptance

import (
	"reflect"
	"slices"
	"strings"

	"proofhouse/internal/acceptance/spec"
	"proofhouse/internal/acceptance/words"
)

// EvidenceSchema returns the JSON Schema (2020-12) of evidence.json, as values for encoding/json. It is made from the
// Go types and the catalogue, so that it cannot fall behind them.
func EvidenceSchema() map[string]any {
	g := &schemaMaker{defs: map[string]any{}}
	s := g.of(reflect.TypeFor[Evidence]())
	out := map[string]any{
		"$schema":     "https://json-schema.org/draft/2020-12/schema",
		"$id":         "proofhouse:evidence/1",
		"title":       "Evidence of one inspection",
		"description": "What an inspection leaves behind. Its RFC 8785 form is what is hashed, stored and signed.",
		"$ref":        s["$ref"],
		"$defs":       g.defs,
	}
	return out
}

type schemaMaker struct{ defs map[string]any }

// words are the values of string types that are lists of words.
var wordsOf = map[reflect.Type][]string{
	reflect.TypeFor[Outcome]():        {string(Pass), string(Warn), string(Fail), string(NotEvaluated), string(NotApplicable)},
	reflect.TypeFor[Verdict]():        {string(VerdictPass), string(VerdictFail), string(VerdictNotEvaluated)},
	reflect.TypeFor[spec.Tier]():      {string(spec.Background), string(spec.MidGround), string(spec.Hero), string(spec.CloseUp)},
	reflect.TypeFor[words.Kind]():     words.Kinds(),
	reflect.TypeFor[spec.Milestone](): {string(spec.BlockOut), string(spec.Sculpt), string(spec.GameMesh), string(spec.Maps), string(spec.Final)},
}

// fieldNotes are what the schema says of fields beyond their type.
var fieldNotes = map[string]map[string]any{
	"Evidence.schema":      {"const": "proofhouse/evidence/1"},
	"Engine.commit":        {"description": "SHA-256 of the engine's sources and Go version: equal digests give equal evidence.", "pattern": "^[0-9a-f]{64}$"},
	"SpecRef.digest":       {"description": "SHA-256 of the resolved spec's canonical JSON.", "pattern": "^[0-9a-f]{64}$"},
	"Input.sha256":         {"description": "Of what arrived; empty where the file could not be read.", "pattern": "^([0-9a-f]{64})?$"},
	"Input.bytes":          {"minimum": 0},
	"PicRef.sha256":        {"description": "Over size and raw pixels of a PNG, over the bytes of a GLB.", "pattern": "^[0-9a-f]{64}$"},
	"Finding.follows_from": {"description": "Check of the headline finding that explains this one; the numbers are measured as if that were mended."},
	"Finding.says":         {"description": "The sentence as data: codes of the message catalogue with their arguments."},
	"Finding.does":         {"description": "The remedy as data."},
	"Finding.blocks":       {"description": "Whether the outcome counts for the verdict."},
	"Finding.where":        {"maxItems": maxPlaces},
	"Exempt.area_share":    {"minimum": 0},
}

func (g *schemaMaker) of(t reflect.Type) map[string]any {
	if words := wordsOf[t]; words != nil {
		return map[string]any{"enum": words}
	}
	switch t.Kind() {
	case reflect.Pointer:
		return g.of(t.Elem())
	case reflect.String:
		return map[string]any{"type": "string"}
	case reflect.Bool:
		return map[string]any{"type": "boolean"}
	case reflect.Int, reflect.Int64:
		return map[string]any{"type": "integer"}
	case reflect.Float64:
		return map[string]any{"type": "number"}
	case reflect.Slice:
		return map[string]any{"type": "array", "items": g.of(t.Elem())}
	case reflect.Array:
		return map[string]any{"type": "array", "items": g.of(t.Elem()), "minItems": t.Len(), "maxItems": t.Len()}
	case reflect.Map:
		return map[string]any{"type": "object", "additionalProperties": g.of(t.Elem())}
	}
	if _, there := g.defs[t.Name()]; !there {
		g.defs[t.Name()] = map[string]any{} // so that a type may hold itself
		g.defs[t.Name()] = g.object(t)
	}
	return map[string]any{"$ref": "#/$defs/" + t.Name()}
}

func (g *schemaMaker) object(t reflect.Type) map[string]any {
	props := map[string]any{}
	var needed []string
	for i := range t.NumField() {
		name, options, _ := strings.Cut(t.Field(i).Tag.Get("json"), ",")
		s := g.of(t.Field(i).Type)
		for k, v := range fieldNotes[t.Name()+"."+name] {
			s[k] = v
		}
		props[name] = s
		if !strings.Contains(options, "omitempty") {
			needed = append(needed, name)
		}
	}
	out := map[string]any{"type": "object", "properties": props, "additionalProperties": false}
	if needed != nil {
		slices.Sort(needed)
		out["required"] = needed
	}
	return out
}
