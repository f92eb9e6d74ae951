package post

import (
	"encoding/base64"
	"encoding/json"
	"fmt"
	"os"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/require"

	"proofhouse/internal/ledger"
)

// docs/webhooks.md says what the code does: every kind, the example's fields, the signature that it gives.
func TestTheGuideIsTrue(t *testing.T) {
	t.Parallel()
	b, err := os.ReadFile("../../docs/webhooks.md")
	require.NoError(t, err)
	guide := string(b)
	var want []string
	for _, kind := range ledger.NewsKinds() {
		want = append(want, fmt.Sprintf("| `%s` | %s |", kind, ledger.TopicOf(kind)))
	}
	_, table, found := strings.Cut(guide, "| kind | topic of mail |\n|---|---|\n")
	require.True(t, found)
	require.Equal(t, strings.Join(want, "\n"), strings.TrimSpace(table))

	example := regexp.MustCompile("(?s)```json\n(.*?)\n```").FindStringSubmatch(guide)[1]
	decoder := json.NewDecoder(strings.NewReader(example))
	decoder.DisallowUnknownFields()
	var body ledger.NewsBody
	require.NoError(t, decoder.Decode(&body))
	again, err := json.Marshal(body)
	require.NoError(t, err)
	require.Equal(t, example, string(again), "as it is sent")

	secret, err := base64.StdEncoding.DecodeString(regexp.MustCompile("`whsec_([A-Za-z0-9+/=]+)`").FindStringSubmatch(guide)[1])
	require.NoError(t, err)
	stamp := regexp.MustCompile("timestamp `([0-9]+)`").FindStringSubmatch(guide)[1]
	id := regexp.MustCompile("id `(msg_[A-Za-z0-9]+)`").FindStringSubmatch(guide)[1]
	require.Contains(t, guide, "`"+signatures([][]byte{secret}, id, stamp, []byte(`{"test": 2432232314}`))+"`")
}
