package inspection

import (
	"bytes"
	"encoding/json"
	"os"
	"path/filepath"
	"testing"

	"github.com/stretchr/testify/require"
)

// FuzzChild reads what a child that a file has taken over may say and leave: its frames and its evidence. Reading ends, and
// what was read can be written again.
func FuzzChild(f *testing.F) {
	f.Add([]byte(`{"beat":true}` + "\n" + `{"doing":"checking","done":0.5}` + "\n" + `{"outcome":{"verdict":"pass","pictures":[{"name":"a.png"}]}}` + "\n"))
	f.Add([]byte(`{"in_force":["files: Landlock ABI 5"]}` + "\n" + `{"failed":"disk"}` + "\n"))
	f.Add([]byte(`{"schema":"proofhouse/evidence/1","verdict":"fail","findings":[{"check":"uv.overlap","status":"fail","value":{"value":1e3,"unit":"mm"},"where":{"at_mm":[1,2,3]}}]}`))
	f.Add([]byte(`{"outcome":{"manifest":{"files":[{"bytes":-1}]},"peak_bytes":1e400}}` + "\n" + `[[[`))
	out := f.TempDir()
	f.Fuzz(func(t *testing.T, data []byte) {
		stop := make(chan struct{})
		defer close(stop)
		for got := range readFrames(bytes.NewReader(data), stop) {
			_, err := json.Marshal(got)
			require.NoError(t, err)
		}
		require.NoError(t, os.WriteFile(filepath.Join(out, evidenceName), data, 0o600))
		if e, raw, err := ReadEvidence(out); err == nil {
			require.Equal(t, data, raw)
			_, err = json.Marshal(e)
			require.NoError(t, err)
			_, _ = earlier(raw)
		}
	})
}
