package main

import (
	"bytes"
	"errors"
	"io"
	"os"
	"path"
	"path/filepath"
	"regexp"
	"testing"

	"github.com/stretchr/testify/require"
	"github.com/versity/versitygw/auth"
	"gopkg.in/yaml.v3"

	"proofhouse/openapi"
)

// root is the module's folder, found before the S3 server of another test makes its own folder the working one.
var root, _ = filepath.Abs("../..")

// told is one program as a manifest starts it.
type told struct {
	program, command string
	env              map[string]bool
}

// workerVariables are the names that cmd/worker asks the environment for, by its source: the package is a program.
func workerVariables(t *testing.T) map[string]bool {
	t.Helper()
	source, err := os.ReadFile(filepath.Join(root, "cmd/worker/serve.go"))
	require.NoError(t, err)
	names := map[string]bool{}
	for _, m := range regexp.MustCompile(`(?:env|number)\("([A-Z0-9_]+)"`).FindAllSubmatch(source, -1) {
		names[string(m[1])] = true
	}
	require.True(t, names["WORKER_SCRATCH"] && names["DATABASE_URL"], "the source is read as it is written")
	return names
}

// composed reads compose.yaml's services that run this program's image, by name.
func composed(t *testing.T) map[string]told {
	t.Helper()
	text, err := os.ReadFile(filepath.Join(root, "compose.yaml"))
	require.NoError(t, err)
	var doc struct {
		Services map[string]struct {
			Build       string
			Entrypoint  []string
			Command     []string
			Environment map[string]string
		}
	}
	require.NoError(t, yaml.Unmarshal(text, &doc))
	found := map[string]told{}
	for name, s := range doc.Services {
		if s.Build == "" {
			continue // another's program
		}
		one := told{"api", s.Command[0], map[string]bool{}}
		if len(s.Entrypoint) > 0 {
			one.program = path.Base(s.Entrypoint[0])
		}
		for v := range s.Environment {
			one.env[v] = true
		}
		found[name] = one
	}
	return found
}

type probe struct {
	HTTPGet struct{ Path string } `yaml:"httpGet"`
}

// object is what the test needs of a Kubernetes object.
type object struct {
	Kind     string
	Metadata struct{ Name string }
	Data     map[string]string
	Spec     struct {
		Template struct {
			Spec struct {
				SecurityContext map[string]any `yaml:"securityContext"`
				Containers      []struct {
					Name          string
					Command, Args []string
					EnvFrom       []struct {
						ConfigMapRef struct{ Name string } `yaml:"configMapRef"`
					} `yaml:"envFrom"`
					Env             []struct{ Name, Value string }
					SecurityContext map[string]any `yaml:"securityContext"`
					StartupProbe    probe          `yaml:"startupProbe"`
					LivenessProbe   probe          `yaml:"livenessProbe"`
					ReadinessProbe  probe          `yaml:"readinessProbe"`
				}
			}
		}
	}
}

// manifest reads the Kubernetes objects: the programs by container, and every address that a probe asks.
func manifest(t *testing.T) (programs map[string]told, probes map[string]bool) {
	t.Helper()
	text, err := os.ReadFile(filepath.Join(root, "docs/kubernetes.yaml"))
	require.NoError(t, err)
	programs, probes = map[string]told{}, map[string]bool{}
	maps := map[string]map[string]string{}
	for dec := yaml.NewDecoder(bytes.NewReader(text)); ; {
		var o object
		if err := dec.Decode(&o); errors.Is(err, io.EOF) {
			return programs, probes
		} else {
			require.NoError(t, err)
		}
		if o.Kind == "ConfigMap" {
			maps[o.Metadata.Name] = o.Data
		}
		for _, c := range o.Spec.Template.Spec.Containers {
			require.Equal(t, true, o.Spec.Template.Spec.SecurityContext["runAsNonRoot"], c.Name)
			require.Equal(t, true, c.SecurityContext["readOnlyRootFilesystem"], c.Name)
			one := told{path.Base(c.Command[0]), c.Args[0], map[string]bool{}}
			for _, from := range c.EnvFrom {
				require.Contains(t, maps, from.ConfigMapRef.Name, c.Name)
				for v := range maps[from.ConfigMapRef.Name] {
					one.env[v] = true
				}
			}
			for _, v := range c.Env {
				if one.env[v.Name] = true; regexp.MustCompile(`_URL$|_KEY$`).MatchString(v.Name) && v.Name != "PUBLIC_URL" && v.Name != "NOTARY_KEY" {
					require.Empty(t, v.Value, "%s: %s is a secret and comes by reference", c.Name, v.Name)
				}
			}
			programs[c.Name] = one
			for _, p := range []probe{c.StartupProbe, c.LivenessProbe, c.ReadinessProbe} {
				if p.HTTPGet.Path != "" {
					probes[p.HTTPGet.Path] = true
				}
			}
		}
	}
}

// What the manifests set is what the programs read, and both manifests tell the programs the same.
func TestManifestsNameOnlySettingsThatExist(t *testing.T) {
	t.Parallel()
	known := map[string]map[string]bool{"api": {}, "worker": workerVariables(t)}
	for _, v := range variables {
		known["api"][v.env] = true
	}
	compose := composed(t)
	kubernetes, probes := manifest(t)
	require.Len(t, compose, 4)
	require.Len(t, kubernetes, 4)
	for file, programs := range map[string]map[string]told{"compose.yaml": compose, "docs/kubernetes.yaml": kubernetes} {
		for name, p := range programs {
			if p.program == "api" {
				require.Contains(t, commands, p.command, "%s: %s", file, name)
			}
			require.Contains(t, known, p.program, "%s: %s", file, name)
			for v := range p.env {
				require.True(t, known[p.program][v], "%s: %s sets %s, which %s does not read", file, name, v, p.program)
			}
		}
	}
	require.Equal(t, map[string]bool{"/healthz": true, "/readyz": true}, probes)
	for p := range probes {
		require.Contains(t, string(openapi.Description), "\n  "+p+":\n")
	}
	require.Equal(t, compose["migrate"].env, kubernetes["migrate"].env)
	for v := range compose["worker"].env {
		require.True(t, kubernetes["worker"].env[v], "docs/kubernetes.yaml: the worker is not told %s", v)
	}
	for v := range compose["api"].env { // one process there, two here
		require.True(t, kubernetes["api"].env[v] || kubernetes["notary"].env[v], "docs/kubernetes.yaml: nobody is told %s", v)
	}
}

// Each program is told its own storage account and no more of the database than it uses.
func TestManifestsGiveTheLeast(t *testing.T) {
	t.Parallel()
	compose := composed(t)
	kubernetes, _ := manifest(t)
	for file, programs := range map[string]map[string]told{"compose.yaml": compose, "docs/kubernetes.yaml": kubernetes} {
		for name, p := range programs {
			require.Equal(t, name == "migrate", p.env["DATABASE_ADMIN_URL"], "%s: %s", file, name)
			require.False(t, p.program == "worker" && (p.env["DATABASE_LOGIN_URL"] || p.env["DATABASE_NOTARY_URL"] || p.env["NOTARY_KEY"]), "%s: %s", file, name)
		}
	}
	text, err := os.ReadFile(filepath.Join(root, "compose.yaml"))
	require.NoError(t, err)
	var doc struct {
		Services map[string]struct{ Environment map[string]string }
		Configs  map[string]struct{ Content string }
	}
	require.NoError(t, yaml.Unmarshal(text, &doc))
	keys := map[string]string{}
	for _, name := range []string{"api", "worker", "bucket"} {
		keys[doc.Services[name].Environment["S3_ACCESS_KEY"]] = name
	}
	require.Len(t, keys, 3, "an account for each, and the root's for making the bucket alone")

	// The storage reads the accounts as they are written there.
	dir := t.TempDir()
	accounts := regexp.MustCompile(`\$\{([A-Z0-9_]+)[^}]*\}`).ReplaceAllString(doc.Configs["accounts"].Content, "$1")
	require.NoError(t, os.WriteFile(filepath.Join(dir, "users.json"), []byte(accounts), 0o600))
	iam, err := auth.New(&auth.Opts{Dir: dir, RootAccount: auth.Account{Access: "root", Secret: "root"}, CacheDisable: true})
	require.NoError(t, err)
	for _, who := range []string{"API", "WORKER"} {
		a, err := iam.GetUserAccount("S3_" + who + "_ACCESS_KEY")
		require.NoError(t, err)
		require.Equal(t, auth.Account{Access: "S3_" + who + "_ACCESS_KEY", Secret: "S3_" + who + "_SECRET_KEY", Role: auth.RoleUser}, a)
	}
}
