package arrows

import (
	"bytes"
	"encoding/json"
	"errors"
	"go/ast"
	"go/parser"
	"go/token"
	"io"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"
)

// pkg is what the go command tells of a package.
type pkg struct {
	ImportPath string
	Dir        string
	GoFiles    []string
	Imports    []string
	Deps       []string
}

func list(t *testing.T, args ...string) map[string]pkg {
	t.Helper()
	var stderr bytes.Buffer
	cmd := exec.Command("go", append([]string{"list", "-json=ImportPath,Dir,GoFiles,Imports,Deps"}, args...)...)
	cmd.Stderr = &stderr
	out, err := cmd.Output()
	require.NoError(t, err, stderr.String())
	found := map[string]pkg{}
	for dec := json.NewDecoder(bytes.NewReader(out)); ; {
		var p pkg
		err := dec.Decode(&p)
		if errors.Is(err, io.EOF) {
			return found
		}
		require.NoError(t, err)
		found[strings.TrimPrefix(p.ImportPath, module)] = p
	}
}

const module = "proofhouse/"

// areas are the parts of the house, the longest path first, and which of the others each may import. A package belongs
// to the first area that its path begins with; within an area anything goes.
var areas = []struct {
	path string
	may  []string
}{
	{"cmd/api", []string{"internal/demo", "internal/embedded", "internal/httpapi", "internal/ledger", "internal/outward", "internal/post", "internal/storage", "internal/watch", "internal/web"}},
	// The vendor's program and the inspector: no server, no pages, and never the S3 server.
	{"cmd/worker", []string{"internal/desk", "internal/inspection", "internal/ledger", "internal/storage", "internal/watch"}},
	{"internal/desk", []string{"internal/acceptance", "internal/client", "internal/inspection"}},
	{"internal/demo", []string{"internal/acceptance", "internal/client"}},
	{"internal/web", []string{"internal/acceptance", "internal/httpapi", "internal/ledger", "internal/money", "internal/storage"}},
	{"internal/httpapi", []string{"internal/acceptance", "internal/ledger", "internal/money", "internal/outward", "internal/storage", "internal/watch", "openapi"}},
	{"internal/inspection", []string{"internal/acceptance", "internal/ledger", "internal/storage", "internal/watch"}},
	{"internal/client", nil},
	// Measuring: a filled ledger and what asks it. No part of the service.
	{"internal/load", []string{"internal/acceptance", "internal/canon", "internal/client", "internal/embedded", "internal/ledger", "internal/storage"}},
	// A database for tests starts a private cluster; the ledger itself knows nothing of servers.
	{"internal/ledger/ledgertest", []string{"internal/embedded", "internal/ledger", "migrations"}},
	{"internal/ledger", []string{"internal/canon", "internal/money", "migrations"}},
	{"internal/storage", nil},
	{"internal/embedded", nil},
	{"internal/acceptance", []string{"internal/canon"}},
	{"internal/canon", nil},
	{"internal/oracle", nil},
	{"internal/outward", nil},
	{"internal/money", nil},
	{"internal/post", []string{"internal/ledger", "internal/outward"}},
	{"internal/watch", []string{"internal/ledger"}},
	{"internal/arrows", nil},
	{"internal/endtoend", nil},
	{"migrations", nil},
	{"openapi", nil},
}

func areaOf(path string) (string, []string, bool) {
	for _, a := range areas {
		if path == a.path || strings.HasPrefix(path, a.path+"/") {
			return a.path, a.may, true
		}
	}
	return "", nil, false
}

func TestArrows(t *testing.T) {
	t.Parallel()
	for path, p := range list(t, module+"cmd/...", module+"internal/...", module+"migrations/...", module+"openapi/...") {
		own, may, known := areaOf(path)
		require.True(t, known, "%s belongs to no part of the house", path)
		for _, imported := range p.Imports {
			other, ok := strings.CutPrefix(imported, module)
			if !ok {
				continue
			}
			area, _, _ := areaOf(other)
			require.True(t, area == own || slices.Contains(may, area), "%s must not import %s", path, other)
		}
		for _, word := range []string{"util", "utils", "common", "models", "helpers", "misc"} {
			require.NotEqual(t, word, filepath.Base(path))
		}
	}
}

// What the programs are linked from, down to other people's modules.
func TestWhatIsLinked(t *testing.T) {
	t.Parallel()
	for _, c := range []struct {
		pkg, never, why string
	}{
		{"cmd/worker", "github.com/versity/", "the S3 server is for one-machine use"},
		{"cmd/worker", module + "internal/embedded", "a vendor's program starts no database"},
		{"cmd/worker", module + "internal/httpapi", "a worker serves nothing"},
		{"cmd/worker", module + "internal/web", "a worker has no pages"},
		{"cmd/worker", "github.com/labstack/", "a worker serves nothing"},
		{"internal/desk", "github.com/versity/", "the S3 server is for one-machine use"},
		{"internal/ledger", module + "internal/acceptance", "the record knows no check's insides"},
		{"internal/ledger", "github.com/aws/", "the record knows no storage"},
		{"internal/acceptance", "github.com/jackc/", "a pure function knows no database"},
		{"internal/acceptance", "database/sql", "a pure function knows no database"},
		{"internal/acceptance", "github.com/aws/", "a pure function knows no storage"},
		{"cmd/api", "testing", "tests are no part of a program"},
		{"cmd/worker", "testing", "tests are no part of a program"},
		{"cmd/api", module + "internal/ledger/ledgertest", "it makes passwords cheap to guess"},
		{"cmd/worker", module + "internal/ledger/ledgertest", "it makes passwords cheap to guess"},
		{"cmd/api", module + "internal/oracle", "reference libraries are for tests"},
	} {
		for _, dep := range list(t, module+c.pkg)[c.pkg].Deps {
			require.False(t, dep == strings.TrimSuffix(c.never, "/") || strings.HasPrefix(dep, c.never) && (strings.HasSuffix(c.never, "/") || dep == c.never || strings.HasPrefix(dep, c.never+"/")),
				"%s is linked from %s: %s", c.pkg, dep, c.why)
		}
	}
}

// Only the tests' database makes hashes of passwords cheap.
func TestNobodyElseMakesPasswordsCheap(t *testing.T) {
	t.Parallel()
	calls := map[string]bool{}
	for path, p := range list(t, module+"cmd/...", module+"internal/...") {
		for _, name := range p.GoFiles {
			file, err := parser.ParseFile(token.NewFileSet(), filepath.Join(p.Dir, name), nil, 0)
			require.NoError(t, err)
			ast.Inspect(file, func(n ast.Node) bool {
				if call, ok := n.(*ast.CallExpr); ok {
					switch of := call.Fun.(type) {
					case *ast.Ident:
						calls[path] = calls[path] || of.Name == "CheapPasswords"
					case *ast.SelectorExpr:
						calls[path] = calls[path] || of.Sel.Name == "CheapPasswords"
					}
				}
				return true
			})
		}
	}
	for path, does := range calls {
		require.Equal(t, path == "internal/ledger/ledgertest", does, path)
	}
}

// The acceptance test is a function of bytes, spec and engine: it asks no clock, no network, no other program, no
// environment and no chance.
func TestAcceptanceIsPure(t *testing.T) {
	t.Parallel()
	bannedImports := []string{"net", "net/http", "os/exec", "os/signal", "math/rand", "crypto/rand", "database/sql", "log", "log/slog", "syscall/js"}
	bannedCalls := map[string][]string{
		"time": {"Now", "Since", "Until", "After", "Tick", "NewTimer", "NewTicker", "Sleep"},
		"os":   {"Getenv", "LookupEnv", "Environ", "Exit", "Hostname", "Getwd", "Getpid", "UserHomeDir", "MkdirTemp", "CreateTemp"},
	}
	for path, p := range list(t, module+"internal/acceptance/...", module+"internal/canon") {
		if path == "internal/acceptance/schema/write" { // a program that go generate runs
			continue
		}
		for _, imported := range p.Imports {
			require.NotContains(t, bannedImports, imported, "%s imports %s", path, imported)
		}
		for _, name := range p.GoFiles {
			file, err := parser.ParseFile(token.NewFileSet(), filepath.Join(p.Dir, name), nil, 0)
			require.NoError(t, err)
			ast.Inspect(file, func(n ast.Node) bool {
				if sel, ok := n.(*ast.SelectorExpr); ok {
					if of, ok := sel.X.(*ast.Ident); ok {
						require.NotContains(t, bannedCalls[of.Name], sel.Sel.Name, "%s/%s uses %s.%s", path, name, of.Name, sel.Sel.Name)
					}
				}
				return true
			})
		}
	}
}
