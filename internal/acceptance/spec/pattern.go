package spec

import (
	"fmt"
	"maps"
	"regexp"
	"slices"
	"strings"
)

// Tokens says what the tokens of a pattern may stand for. An empty field lets any name of its kind match.
type Tokens struct {
	Prop string
	Sets []string
	Maps []string // map names beside the usual ones
	Fold bool     // letters match whatever their case
}

// Pattern is a compiled name pattern.
type Pattern struct {
	Text string
	re   *regexp.Regexp
}

// tokenExprs are what each token matches. Laziness of {part} lets a pattern's own literal text win over it.
var tokenExprs = map[string]string{
	"prop": `[A-Za-z0-9]+(?:[._-][A-Za-z0-9]+)*?`,
	"part": `[A-Za-z0-9]+(?:[._-][A-Za-z0-9]+)*?`,
	"set":  `[A-Za-z0-9-]+?`,
	"lod":  `[0-9]{1,2}`,
	"map":  `[A-Za-z][A-Za-z0-9_]*`,
	"n":    `[0-9]+`,
}

// MapNames are the maps of the metal-rough model of glTF 2.0 (section 3.9) and what is usual beside them. A spec adds
// to them by naming a map in packing, channels, reference_map or a role.
var MapNames = []string{
	"base_color", "normal_baked", "normal", "occlusion", "roughness", "metallic", "orm", "emissive", "opacity", "height",
}

// tokenNames in the order of messages.
var tokenNames = []string{"prop", "part", "lod", "map", "set", "n"}

// CompilePattern compiles a name pattern: a text with the tokens {prop} {part} {lod} {map} {set} {n}, '*' for any run
// of characters and '?' for one; or, between slashes, an RE2 expression. Either must match the whole name. A token
// captures under its own name.
func CompilePattern(pattern string, t Tokens) (*Pattern, error) {
	expr := ""
	if re, ok := slashed(pattern); ok {
		expr = re
		if _, err := regexp.Compile(expr); err != nil {
			return nil, fmt.Errorf("the expression %s cannot be used: %w", pattern, err)
		}
	} else {
		var err error
		if expr, err = tokenExpr(pattern, t); err != nil {
			return nil, err
		}
	}
	flags := "(?s)"
	if t.Fold {
		flags = "(?si)"
	}
	re, err := regexp.Compile(flags + `^(?:` + expr + `)$`)
	if err != nil {
		return nil, fmt.Errorf("the pattern %q cannot be used: %w", pattern, err)
	}
	return &Pattern{Text: pattern, re: re}, nil
}

func slashed(pattern string) (string, bool) {
	if len(pattern) > 2 && pattern[0] == '/' && pattern[len(pattern)-1] == '/' {
		return pattern[1 : len(pattern)-1], true
	}
	return "", false
}

func tokenExpr(pattern string, t Tokens) (string, error) {
	var b strings.Builder
	var used []string
	for rest := pattern; rest != ""; {
		i := strings.IndexAny(rest, "{}*?")
		if i < 0 {
			b.WriteString(regexp.QuoteMeta(rest))
			break
		}
		b.WriteString(regexp.QuoteMeta(rest[:i]))
		switch rest[i] {
		case '*':
			b.WriteString(`.*?`)
			rest = rest[i+1:]
			continue
		case '?':
			b.WriteString(`.`)
			rest = rest[i+1:]
			continue
		}
		end := strings.IndexByte(rest[i:], '}')
		if rest[i] == '}' || end < 0 {
			return "", fmt.Errorf("the pattern %q has a brace without its partner", pattern)
		}
		token := rest[i+1 : i+end]
		sub, known := tokenExprs[token]
		if !known {
			return "", fmt.Errorf("the pattern %q has the token {%s}, which is not known.%s Known are {%s}",
				pattern, token, didYouMean(token, tokenNames), strings.Join(tokenNames, "}, {"))
		}
		sub = t.narrow(token, sub)
		if slices.Contains(used, token) {
			return "", fmt.Errorf("the pattern %q names {%s} twice", pattern, token)
		}
		used = append(used, token)
		b.WriteString(`(?P<` + token + `>` + sub + `)`)
		rest = rest[i+end+1:]
	}
	return b.String(), nil
}

// narrow replaces a token's expression by the names that are known.
func (t Tokens) narrow(token, expr string) string {
	var names []string
	switch token {
	case "prop":
		if t.Prop != "" {
			names = []string{t.Prop}
		}
	case "set":
		names = t.Sets
	case "map":
		names = append(slices.Clone(MapNames), t.Maps...)
	}
	if len(names) == 0 {
		return expr
	}
	quoted := make([]string, len(names))
	for i, n := range names {
		quoted[i] = regexp.QuoteMeta(n)
	}
	// The longer name first: RE2 takes the first alternative that fits.
	slices.SortStableFunc(quoted, func(a, b string) int { return len(b) - len(a) })
	return `(?:` + strings.Join(quoted, "|") + `)`
}

// Match says whether the whole name fits, and what its tokens captured.
func (p *Pattern) Match(name string) (captured map[string]string, ok bool) {
	m := p.re.FindStringSubmatch(name)
	if m == nil {
		return nil, false
	}
	captured = map[string]string{}
	for i, key := range p.re.SubexpNames() {
		if key != "" && m[i] != "" {
			captured[key] = m[i]
		}
	}
	return captured, true
}

// Fits is Match without the captures.
func (p *Pattern) Fits(name string) bool { return p.re.MatchString(name) }

// Patterns is a list of which any may match.
type Patterns []*Pattern

// CompilePatterns compiles a list; the error names the first that cannot be used.
func CompilePatterns(list []string, t Tokens) (Patterns, error) {
	var out Patterns
	for _, text := range list {
		p, err := CompilePattern(text, t)
		if err != nil {
			return nil, err
		}
		out = append(out, p)
	}
	return out, nil
}

// Match returns the captures of the first pattern that fits.
func (ps Patterns) Match(name string) (captured map[string]string, ok bool) {
	for _, p := range ps {
		if captured, ok = p.Match(name); ok {
			return captured, true
		}
	}
	return nil, false
}

// Fits says whether any pattern fits.
func (ps Patterns) Fits(name string) bool { _, ok := ps.Match(name); return ok }

// Tokens returns what the tokens stand for in this spec.
func (s *Spec) Tokens() Tokens {
	t := Tokens{Prop: s.Prop}
	add := func(name string) {
		if name != "" && !slices.Contains(t.Maps, name) {
			t.Maps = append(t.Maps, name)
		}
	}
	for _, name := range sortedKeys(s.Conventions.Packing) {
		add(name)
	}
	for _, set := range s.Sets {
		t.Sets = append(t.Sets, set.Name)
		add(set.ReferenceMap)
		for _, name := range sortedKeys(set.Channels) {
			add(name)
		}
	}
	for _, f := range s.Files {
		if name, ok := strings.CutPrefix(f.Role, "map."); ok && !strings.Contains(name, "{") {
			name, _, _ = strings.Cut(name, "@")
			add(name)
		}
	}
	return t
}

func sortedKeys[V any](m map[string]V) []string {
	return slices.Sorted(maps.Keys(m))
}
