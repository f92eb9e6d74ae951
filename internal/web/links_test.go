package web_test

import (
	"net/http"
	"net/url"
	"regexp"
	"strings"
	"testing"

	"github.com/stretchr/testify/assert"
	"github.com/stretchr/testify/require"
)

var anID = regexp.MustCompile(`[0-9a-f]{8}-[0-9a-f-]{27}|[0-9a-f]{32,}`)

// likeIt is an address without its ids and the values of its query: pages alike have links alike.
func likeIt(address string) string {
	u, err := url.Parse(address)
	if err != nil {
		return address
	}
	keys := ""
	for _, pair := range strings.Split(u.RawQuery, "&") {
		key, _, _ := strings.Cut(pair, "=")
		keys += "&" + key
	}
	return anID.ReplaceAllString(u.Path, "ID") + keys
}

// TestNoLinkLeadsToARefusal walks from the first page as everybody, by every link and picture that the pages show: none may be refused
// or lead nowhere. Of pages alike the first few are walked on from.
func TestNoLinkLeadsToARefusal(t *testing.T) {
	t.Parallel()
	const walkedAlike, triedAlike = 1, 2
	w := newWorld(t)
	for _, who := range []string{petra, marek, noor, ole, ada} {
		b := w.logIn(who)
		walked, tried, seen := map[string]int{}, map[string]int{}, map[string]bool{"/": true}
		for next := []string{"/"}; len(next) > 0; next = next[1:] {
			from := next[0]
			p := b.get(from)
			require.Equal(t, http.StatusOK, p.status, "%s as %s", from, who)
			for _, to := range append(p.attrs("a[href]", "href"), p.attrs("img[src]", "src")...) {
				to, _, _ = strings.Cut(to, "#")
				alike := likeIt(to)
				if !strings.HasPrefix(to, "/") || strings.HasPrefix(to, "/static/") || strings.HasSuffix(to, "/content") || // this world's files were never sent
					seen[to] || tried[alike] >= triedAlike {
					continue
				}
				seen[to] = true
				tried[alike]++
				got := b.get(to)
				assert.Less(t, got.status, http.StatusBadRequest, "%s shows %s the link %s", from, who, to)
				if walked[alike] < walkedAlike && strings.HasPrefix(got.header.Get("Content-Type"), "text/html") && got.status == http.StatusOK {
					walked[alike]++
					next = append(next, to)
				}
			}
		}
		t.Logf("%s: %d addresses, %d kinds of page", who, len(seen), len(tried))
		require.Greater(t, len(tried), 30, "%s saw too little of the site to be believed", who)
	}
}

// Who opens an address that is not for them is told so, and whose it is, in their own language.
func TestRefusedPagesNameTheRoles(t *testing.T) {
	t.Parallel()
	b := newWorld(t).logIn(marek)
	require.Contains(t, b.get("/account/webhooks").text("main"), "Webhooks needs the role producer or vendor lead.")
	b.language = "de"
	refused := b.get("/account/webhooks")
	require.Equal(t, http.StatusForbidden, refused.status)
	require.Contains(t, refused.text("main"), "Dafür braucht es eine andere Rolle (Produktion, Leitung): Webhooks.")
}
