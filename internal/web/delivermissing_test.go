package web_test

import (
	"encoding/json"
	"net/http"
	"net/url"
	"testing"

	"github.com/stretchr/testify/require"
)

// The page is told what the milestone asks for beside what the files are, so that it can ask before a folder is sent in vain.
func TestTheDeliverPageKnowsWhatIsAskedFor(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	b := w.logIn(ole)
	at := "/props/" + w.props["ladder"].ID.String()
	page := b.get(at + "/deliver")
	require.True(t, page.has("form .missing[role=alert][hidden] button[type=button]"), "it asks once more")
	for milestone, want := range map[string][]string{"block_out": {}, "game_mesh": {"game"}, "maps": {"game"}, "final": {"game"}} {
		answer := b.post(at+"/roles?milestone="+milestone, url.Values{"paths": {"low_final_v3.glb\nnotes.txt"}})
		require.Equal(t, http.StatusOK, answer.status)
		var told struct {
			Files    []struct{ Role string }
			Requires []string
		}
		require.NoError(t, json.Unmarshal([]byte(answer.body), &told), answer.body)
		require.Equal(t, want, told.Requires, milestone)
		for _, f := range told.Files {
			require.Equal(t, "other", f.Role, "their names tell nothing: all that is asked for is missing")
		}
	}
}
