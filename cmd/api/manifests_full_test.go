//go:build full

package main

import (
	"bytes"
	"errors"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/compose-spec/compose-go/v2/schema"
	"github.com/stretchr/testify/require"
	"gopkg.in/yaml.v3"
	appsv1 "k8s.io/api/apps/v1"
	batchv1 "k8s.io/api/batch/v1"
	corev1 "k8s.io/api/core/v1"
	kyaml "sigs.k8s.io/yaml"
)

// The Kubernetes manifest is read strictly into Kubernetes' own types (k8s.io/api): a name that they do not have, a name twice
// or a value of another type is an error. Selectors must match what they select.
func TestKubernetesManifestByItsOwnTypes(t *testing.T) {
	t.Parallel()
	text, err := os.ReadFile(filepath.Join(root, "docs", "kubernetes.yaml"))
	require.NoError(t, err)
	kinds := map[string]int{}
	for dec := yaml.NewDecoder(bytes.NewReader(text)); ; {
		var doc map[string]any
		if err := dec.Decode(&doc); errors.Is(err, io.EOF) {
			break
		} else {
			require.NoError(t, err)
		}
		one, err := yaml.Marshal(doc)
		require.NoError(t, err)
		kind := doc["apiVersion"].(string) + " " + doc["kind"].(string)
		into := map[string]any{
			"v1 ConfigMap": &corev1.ConfigMap{}, "batch/v1 Job": &batchv1.Job{}, "apps/v1 Deployment": &appsv1.Deployment{}, "v1 Service": &corev1.Service{},
			"v1 PersistentVolumeClaim": &corev1.PersistentVolumeClaim{},
		}[kind]
		require.NotNil(t, into, "a kind that this test does not know: %s", kind)
		require.NoError(t, kyaml.UnmarshalStrict(one, into), "%s: %s", kind, one)
		kinds[kind]++
		if d, ok := into.(*appsv1.Deployment); ok {
			for k, v := range d.Spec.Selector.MatchLabels {
				require.Equal(t, v, d.Spec.Template.Labels[k], d.Name)
			}
		}
	}
	require.GreaterOrEqual(t, kinds["apps/v1 Deployment"], 3)
	bad := strings.Replace("apiVersion: apps/v1\nkind: Deployment\nspec: {replicas: 2}\n", "replicas: 2", "replicaz: 2", 1)
	require.Error(t, kyaml.UnmarshalStrict([]byte(bad), &appsv1.Deployment{}), "the reading is strict")
}

// compose.yaml holds to the published schema of the Compose specification (compose-go's copy of compose-spec.json).
func TestComposeFileByItsPublishedSchema(t *testing.T) {
	require.NoError(t, os.Chdir(root)) // the folder that another test's S3 server moved into may be gone, and the schema's reader asks where it is
	text, err := os.ReadFile(filepath.Join(root, "compose.yaml"))
	require.NoError(t, err)
	var doc map[string]any
	require.NoError(t, yaml.Unmarshal(text, &doc))
	require.NoError(t, schema.Validate(doc))
	doc["services"].(map[string]any)["odd"] = map[string]any{"imagez": "x"}
	require.Error(t, schema.Validate(doc), "the schema is closed")
}
