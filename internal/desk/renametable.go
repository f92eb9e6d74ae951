package desk

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"path"
	"slices"
	"strings"

	"proofhouse/internal/acceptance/spec"
)

// A table of names says how a vendor's names and a studio's turn into each other: CSV with the columns kind, vendor, studio; one
// line for each kind of name and pattern. Patterns are those of specs, without '*' and '?', so that each can be filled in.
//
//	kind,vendor,studio
//	file,{prop}_LOD{lod}.glb,sm_{prop}_lod{lod}.glb
//	node,{part}_geo,{prop}_{part}

// nameKindsOf are the kinds of names, each with the list of `names.pattern` that a studio's name must fit.
var nameKindsOf = map[string]string{"file": "files", "node": "nodes", "mesh": "meshes", "material": "materials", "image": "images"}

// nameTableHead is the table's first line.
const nameTableHead = "kind,vendor,studio"

// nameRule turns names of one kind that fit from into names that fit to.
type nameRule struct {
	kind     string
	from, to *spec.Pattern
	whole    bool // patterns are of whole paths, not of names without their folders
}

// converter turns names one way.
type converter struct {
	rules []nameRule
	prop  string
}

var errNameTable = errors.New("the table of names")

// readNames reads a table; back is from the studio's names to the vendor's.
func readNames(r io.Reader, t spec.Tokens, back bool) (*converter, error) {
	in := csv.NewReader(r)
	in.FieldsPerRecord, in.Comment, in.TrimLeadingSpace = 3, '#', true
	rows, err := in.ReadAll()
	if err != nil {
		return nil, fmt.Errorf("%w: %w", errNameTable, err)
	}
	if len(rows) == 0 || strings.Join(rows[0], ",") != nameTableHead {
		return nil, fmt.Errorf("%w: its first line must be %s", errNameTable, nameTableHead)
	}
	c := &converter{prop: t.Prop}
	for i, row := range rows[1:] {
		if nameKindsOf[row[0]] == "" {
			return nil, fmt.Errorf("%w: row %d: the kind %q is none of file, node, mesh, material, image", errNameTable, i+2, row[0])
		}
		rule := nameRule{kind: row[0], whole: strings.Contains(row[1]+row[2], "/")}
		for _, side := range []struct {
			text string
			into **spec.Pattern
		}{{row[1], &rule.from}, {row[2], &rule.to}} {
			if strings.ContainsAny(side.text, "*?") || strings.HasPrefix(side.text, "/") || strings.Contains(side.text, "..") || side.text == "" {
				return nil, fmt.Errorf("%w: row %d: %q cannot be filled in: only text and tokens can", errNameTable, i+2, side.text)
			}
			if *side.into, err = spec.CompilePattern(side.text, t); err != nil {
				return nil, fmt.Errorf("%w: row %d: %w", errNameTable, i+2, err)
			}
		}
		if a, b := tokensOf(row[1]), tokensOf(row[2]); !slices.Equal(a, b) {
			return nil, fmt.Errorf("%w: row %d: both sides need the same tokens ({prop} may stand on one), else there is no way back", errNameTable, i+2)
		}
		if back {
			rule.from, rule.to = rule.to, rule.from
		}
		c.rules = append(c.rules, rule)
	}
	return c, nil
}

// tokensOf lists a pattern's tokens, {prop} apart: the spec knows that one.
func tokensOf(pattern string) (all []string) {
	for _, piece := range strings.Split(pattern, "{")[1:] {
		if token, _, _ := strings.Cut(piece, "}"); token != "prop" {
			all = append(all, token)
		}
	}
	slices.Sort(all)
	return all
}

// convert gives a name's new form; the name itself where no rule is about it or it has its new form already. Where it fits both
// sides of rules, the one that more of its own letters stand in decides. Two rules that would make different things of it are an error.
func (c *converter) convert(kind, name string) (string, error) {
	best, to := -1, name
	var other string
	for _, r := range c.rules {
		if r.kind != kind {
			continue
		}
		dir, base := "", name
		if kind == "file" && !r.whole {
			dir, base = path.Split(name)
		}
		for _, side := range []*spec.Pattern{r.to, r.from} {
			captured, ok := side.Match(base)
			if !ok {
				continue
			}
			becomes, said := name, len(base)
			if side == r.from {
				becomes = dir + c.fill(r.to.Text, captured)
			}
			for token, text := range captured {
				if token != "prop" {
					said -= len(text)
				}
			}
			switch {
			case said > best:
				best, to, other = said, becomes, ""
			case said == best && becomes != to:
				other = becomes
			}
		}
	}
	if other != "" {
		return "", fmt.Errorf("%s could become %s and %s", name, to, other)
	}
	return to, nil
}

func (c *converter) fill(pattern string, captured map[string]string) string {
	pairs := []string{"{prop}", c.prop}
	for token, text := range captured {
		if token != "prop" {
			pairs = append(pairs, "{"+token+"}", text)
		}
	}
	return strings.NewReplacer(pairs...).Replace(pattern)
}
