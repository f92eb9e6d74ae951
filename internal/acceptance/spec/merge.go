package spec

import "fmt"

// Bounds of inheritance: free choices, far above project, kit, prop.
const (
	maxGenerations = 8
	maxAncestors   = 32
)

// family reads a document's ancestors and lays it over them.
type family struct {
	shape   *shape
	parents Parents
	read    int
	faults  Faults
}

// resolve returns the document's value with everything it extends under it.
func (f *family) resolve(d *Document, line []string) *value {
	refs, at := d.refs()
	var base *value
	for i, ref := range refs {
		fault := func(format string, args ...any) {
			f.faults.add(Fault{File: d.Name, Line: at[i].line, Col: at[i].col, Path: fmt.Sprintf("extends[%d]", i), Message: fmt.Sprintf(format, args...)})
		}
		parent := f.parent(ref, line, fault)
		if parent == nil {
			continue
		}
		over := f.resolve(parent, append(line, parent.Digest))
		if base == nil {
			base = over
		} else {
			base = merge(base, over)
		}
	}
	if base == nil {
		return d.root
	}
	return merge(base, d.root)
}

func (f *family) parent(ref Ref, line []string, fault func(string, ...any)) *Document {
	switch {
	case ref.Revision == 0 && ref.Digest == "":
		fault("%q is not pinned: write revision: or digest:", ref.Spec)
		return nil
	case f.parents == nil:
		fault("%q cannot be found: nothing to look in", ref.Spec)
		return nil
	case len(line) >= maxGenerations:
		fault("%q is more than %d generations away", ref.Spec, maxGenerations)
		return nil
	}
	if f.read++; f.read > maxAncestors {
		fault("the spec has more than %d ancestors", maxAncestors)
		return nil
	}
	data, err := f.parents(ref)
	if err != nil {
		fault("%q cannot be read: %v", ref.Spec, err)
		return nil
	}
	d, err := parse("parent "+ref.String(), "parent "+ref.String(), data, f.shape)
	if err != nil {
		for _, inner := range err.(Faults) {
			f.faults.add(inner)
		}
		return nil
	}
	if ref.Digest != "" && ref.Digest != d.Digest {
		fault("%q is pinned to the bytes %.12s…, but what was found is %.12s…: it has changed", ref.Spec, ref.Digest, d.Digest)
		return nil
	}
	for _, above := range line {
		if above == d.Digest {
			fault("%q extends itself", ref.Spec)
			return nil
		}
	}
	return d
}

// merge lays a document over a parent, key by key. Neither is changed.
func merge(base, over *value) *value {
	out := &value{fields: map[string]*value{}, origin: over.origin, line: over.line, col: over.col}
	put := func(key string, v *value) {
		if _, there := out.fields[key]; !there {
			out.keys = append(out.keys, key)
		}
		out.fields[key] = v
	}
	for _, k := range base.keys {
		put(k, base.fields[k])
	}
	for _, k := range over.keys {
		o, b := over.fields[k], base.fields[k]
		switch {
		case b == nil:
			put(k, o)
		case k == "extends":
			put(k, o)
		case k == "parts" || k == "sets":
			put(k, mergeNamed(b, o, "name"))
		case k == "annotations":
			put(k, mergeNamed(b, o, "suffix"))
		case k == "files":
			put(k, &value{isList: true, items: append(append([]*value(nil), o.items...), b.items...), origin: o.origin, line: o.line, col: o.col})
		case k == "checks":
			put(k, mergeChecks(b, o))
		case k == "conventions" || k == "view":
			put(k, mergeKeys(b, o))
		default:
			put(k, o)
		}
	}
	return out
}

// mergeKeys lays the keys of one object over another's.
func mergeKeys(base, over *value) *value {
	out := &value{fields: map[string]*value{}, origin: over.origin, line: over.line, col: over.col}
	for _, from := range []*value{base, over} {
		for _, k := range from.keys {
			if _, there := out.fields[k]; !there {
				out.keys = append(out.keys, k)
			}
			out.fields[k] = from.fields[k]
		}
	}
	return out
}

// mergeChecks lays check over check, so that a child changes one limit and keeps the others.
func mergeChecks(base, over *value) *value {
	out := mergeKeys(base, over)
	for k := range over.fields {
		if b := base.fields[k]; b != nil {
			merged := mergeKeys(b, over.fields[k])
			// A new mode does not inherit the reason that was given for another one.
			if over.fields[k].get("mode") != nil && over.fields[k].get("reason") == nil {
				delete(merged.fields, "reason")
				merged.keys = without(merged.keys, "reason")
			}
			out.fields[k] = merged
		}
	}
	return out
}

// mergeNamed lays entries over those of the same name; new ones stand first, for the first that matches wins.
func mergeNamed(base, over *value, key string) *value {
	out := &value{isList: true, origin: over.origin, line: over.line, col: over.col}
	known := map[string]*value{}
	for _, b := range base.items {
		known[b.get(key).text] = b
	}
	changed := map[string]*value{}
	for _, o := range over.items {
		name := o.get(key).text
		b := known[name]
		if b == nil {
			out.items = append(out.items, o)
			continue
		}
		m := mergeKeys(b, o)
		if bc, oc := b.get("checks"), o.get("checks"); bc != nil && oc != nil {
			m.fields["checks"] = mergeChecks(bc, oc)
		}
		changed[name] = m
	}
	for _, b := range base.items {
		if m := changed[b.get(key).text]; m != nil {
			b = m
		}
		out.items = append(out.items, b)
	}
	return out
}

func without(keys []string, drop string) []string {
	var out []string
	for _, k := range keys {
		if k != drop {
			out = append(out, k)
		}
	}
	return out
}
