package openapi_test

import (
	"bytes"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"github.com/getkin/kin-openapi/openapi3"
	"github.com/stretchr/testify/require"

	"proofhouse/openapi"
)

func load(t *testing.T) *openapi3.T {
	t.Helper()
	doc, err := openapi3.NewLoader().LoadFromData(openapi.Description)
	require.NoError(t, err)
	return doc
}

// OpenAPI Specification 3.1.1 (spec.openapis.org), as kin-openapi checks it, every example against its schema.
func TestDescriptionIsValid(t *testing.T) {
	t.Parallel()
	require.NoError(t, load(t).Validate(t.Context(), openapi3.EnableExamplesValidation()))
}

func TestEveryJSONBodyHasAValidExample(t *testing.T) {
	t.Parallel()
	doc := load(t)
	checked := 0
	check := func(where string, content openapi3.Content) {
		media := content["application/json"]
		if media == nil || media.Schema == nil || media.Schema.Value.IsEmpty() {
			return
		}
		require.NotNil(t, media.Example, "%s has no example", where)
		require.NoError(t, media.Schema.Value.VisitJSON(media.Example, openapi3.EnableJSONSchema2020()), where)
		checked++
	}
	for path, item := range doc.Paths.Map() {
		for method, op := range item.Operations() {
			where := method + " " + path
			if op.RequestBody != nil {
				check(where+" request", op.RequestBody.Value.Content)
			}
			for status, r := range op.Responses.Map() {
				if status != "default" {
					check(where+" "+status, r.Value.Content)
				}
			}
		}
	}
	require.Greater(t, checked, 60)
}

// RFC 9110 section 9.2.2 makes PUT and DELETE idempotent; a POST needs a key of its own to be.
func TestEveryPostThatChangesTheRecordWantsAKey(t *testing.T) {
	t.Parallel()
	without := map[string]bool{"logIn": true, "acceptInvitation": true, "trySpec": true, "proveSession": true} // a log-in is its own session, and proof given again renews it; a secret works once; a trial changes nothing
	for path, item := range load(t).Paths.Map() {
		if item.Post == nil {
			continue
		}
		p := item.Post.Parameters.GetByInAndName("header", "Idempotency-Key")
		if without[item.Post.OperationID] {
			require.Nil(t, p, path)
			continue
		}
		require.NotNil(t, p, path)
		require.True(t, p.Required, path)
	}
}

func TestEveryFailureIsAProblem(t *testing.T) {
	t.Parallel()
	for path, item := range load(t).Paths.Map() {
		for method, op := range item.Operations() {
			if strings.HasSuffix(path, "z") { // health pages speak their own two words
				continue
			}
			d := op.Responses.Default()
			require.NotNil(t, d, "%s %s", method, path)
			require.NotNil(t, d.Value.Content["application/problem+json"], "%s %s", method, path)
		}
	}
}

func TestGeneratedCodeIsFresh(t *testing.T) {
	t.Parallel()
	for config, generated := range map[string]string{
		"generate.yaml":                    "../internal/httpapi/api/api.gen.go",
		"../internal/client/generate.yaml": "../internal/client/api.gen.go",
	} {
		out := filepath.Join(t.TempDir(), "api.gen.go")
		cmd := exec.CommandContext(t.Context(), "go", "tool", "oapi-codegen", "-config", config, "-o", out, "proofhouse.yaml")
		msg, err := cmd.CombinedOutput()
		require.NoError(t, err, string(msg))
		fresh, err := os.ReadFile(out)
		require.NoError(t, err)
		committed, err := os.ReadFile(generated)
		require.NoError(t, err)
		require.True(t, bytes.Equal(fresh, committed), "%s: run `go generate ./openapi` and commit the result", generated)
	}
}
