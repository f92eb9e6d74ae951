// Package checkdoc makes docs/checks.md, the table of every check, from the checks' own definitions and from the tests that
// name them, so that it cannot fall behind either.
package checkdoc

import (
	"bytes"
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"os"
	"path/filepath"
	"slices"
	"sort"
	"strconv"
	"strings"

	"proofhouse/internal/acceptance/spec"
)

// Path is where the table lies, from the repository's root.
const Path = "docs/checks.md"

// testFolders are where tests of checks lie, from the repository's root.
var testFolders = []string{"internal/acceptance", "internal/endtoend"}

// Table makes the document. root is the repository's folder.
func Table(root string, all spec.Catalogue) ([]byte, error) {
	tests, err := testsOf(root, all)
	if err != nil {
		return nil, err
	}
	var b bytes.Buffer
	b.WriteString(`# Every check

Made from the code by ` + "`go generate ./internal/acceptance/schema`" + `; a test compares. A limit's four values are those of the tiers background, mid,
hero and close-up, unless a spec says otherwise; "off" is a limit that counts only where a spec sets it. What a broken limit leads
to is given in the same order. "Common practice, no source" marks what the trade does and no published source backs.
`)
	family := ""
	for _, c := range all {
		if f, _, _ := strings.Cut(c.Name, "."); f != family {
			family = f
			fmt.Fprintf(&b, "\n## %s\n", family)
		}
		writeCheck(&b, c, tests[c.Name])
	}
	return b.Bytes(), nil
}

func writeCheck(b *bytes.Buffer, c spec.Check, tests []string) {
	fmt.Fprintf(b, "\n### %s: %s\n\n%s\n\n", c.Name, c.Title, escaped(c.What))
	fmt.Fprintf(b, "*Why:* %s\n\n", escaped(c.Why))
	var modes, from []string
	for _, m := range c.Mode {
		modes = append(modes, string(m))
	}
	for _, m := range c.From {
		from = append(from, string(m))
	}
	if len(slices.Compact(slices.Clone(modes))) == 1 {
		modes = modes[:1]
	}
	fmt.Fprintf(b, "*One finding for each:* %s. *Broken:* %s. *Counts at:* %s. *Source:* %s.\n\n", strings.ReplaceAll(string(c.Scope), "_", " "),
		strings.Join(modes, " / "), strings.Join(from, ", "), cell(c.Source))
	if len(c.Limits) > 0 {
		b.WriteString("| limit | by tier | unit | what | source |\n|---|---|---|---|---|\n")
		for _, l := range c.Limits {
			fmt.Fprintf(b, "| `%s` (%s) | %s | %s | %s | %s |\n", l.Key, strings.ReplaceAll(string(l.Kind), "_", " "), defaults(l), l.Unit, cell(l.What), cell(l.Origin))
		}
		b.WriteString("\n")
	}
	if not := notFor(c); not != "" {
		fmt.Fprintf(b, "*Does not apply to:* %s\n\n", not)
	}
	if len(c.Metrics) > 0 {
		fmt.Fprintf(b, "*Metrics:* `%s`\n\n", strings.Join(c.Metrics, "` `"))
	}
	held := "none names it"
	if len(tests) > 0 {
		held = "`" + strings.Join(tests, "` `") + "`"
	}
	fmt.Fprintf(b, "*Held by:* %s\n", held)
}

// defaults are a limit's values by tier, one where all are the same.
func defaults(l spec.Limit) string {
	switch {
	case l.Optional:
		return "off"
	case len(l.DefaultList) > 0:
		return cell("`" + strings.Join(l.DefaultList, "` `") + "`")
	case len(l.Words) > 0:
		return l.Words[0] + " (of " + strings.Join(l.Words, ", ") + ")"
	case l.List:
		return "none"
	}
	var out []string
	for _, v := range l.Default {
		out = append(out, strconv.FormatFloat(v, 'g', -1, 64))
	}
	if len(slices.Compact(slices.Clone(out))) == 1 {
		return out[0]
	}
	return strings.Join(out, " / ")
}

func notFor(c spec.Check) string {
	var out []string
	for k, why := range c.NotForPart {
		out = append(out, fmt.Sprintf("%s (%s)", k, cell(why)))
	}
	for k, why := range c.NotForSet {
		out = append(out, fmt.Sprintf("%s set (%s)", strings.ReplaceAll(string(k), "_", " "), cell(why)))
	}
	sort.Strings(out)
	return strings.Join(out, "; ")
}

// escaped is text that breaks no table and no emphasis.
func escaped(s string) string {
	return strings.NewReplacer("|", `\|`, "\n", " ", "*", `\*`).Replace(s)
}

// cell is a sentence in a table: without its point.
func cell(s string) string { return escaped(strings.TrimSuffix(s, ".")) }

// testsOf finds the tests that name a check, by the check: a test function that holds the name as a string, and, where a
// table outside functions holds it, that table's file.
func testsOf(root string, all spec.Catalogue) (map[string][]string, error) {
	known := map[string]bool{}
	for _, c := range all {
		known[c.Name] = true
	}
	out := map[string][]string{}
	for _, folder := range testFolders {
		files, err := filepath.Glob(filepath.Join(root, filepath.FromSlash(folder), "*_test.go"))
		if err != nil {
			return nil, err
		}
		sort.Strings(files)
		for _, path := range files {
			data, err := os.ReadFile(path)
			if err != nil {
				return nil, err
			}
			file, err := parser.ParseFile(token.NewFileSet(), path, data, parser.SkipObjectResolution)
			if err != nil {
				return nil, fmt.Errorf("read the tests: %w", err)
			}
			for name, checks := range namedIn(file, known) {
				if name == "" {
					name = filepath.Base(path)
				}
				for _, c := range checks {
					if !slices.Contains(out[c], name) {
						out[c] = append(out[c], name)
					}
				}
			}
		}
	}
	for _, list := range out {
		sort.Strings(list)
	}
	return out, nil
}

// namedIn are the checks that each test function of a file names; helpers and tables count for the file ("").
func namedIn(file *ast.File, known map[string]bool) map[string][]string {
	out := map[string][]string{}
	for _, d := range file.Decls {
		name := ""
		if f, ok := d.(*ast.FuncDecl); ok && strings.HasPrefix(f.Name.Name, "Test") {
			name = f.Name.Name
		}
		ast.Inspect(d, func(n ast.Node) bool {
			if lit, ok := n.(*ast.BasicLit); ok && lit.Kind == token.STRING {
				if s, err := strconv.Unquote(lit.Value); err == nil && known[s] {
					out[name] = append(out[name], s)
				}
			}
			return true
		})
	}
	return out
}
