package web_test

import (
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"testing"

	"github.com/jackc/pgx/v5"
	"github.com/stretchr/testify/require"

	"proofhouse/internal/embedded/pgserver"
)

// A form whose act wants a fresh proof asks for the password on the way and does then what was typed; a wrong password
// loses nothing of it.
func TestAFormAsksForAProofAndIsKept(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	here := w.logIn(ole)
	conn, err := pgx.Connect(t.Context(), w.db.URL(pgserver.Owner))
	require.NoError(t, err)
	defer conn.Close(t.Context())
	_, err = conn.Exec(t.Context(), `UPDATE ph.session SET proved_at = now() - interval '1 hour'`)
	require.NoError(t, err)
	count := func() (n int) {
		require.NoError(t, conn.QueryRow(t.Context(), `SELECT count(*) FROM ph.token WHERE name = 'the "build" & more'`).Scan(&n))
		return n
	}
	form := url.Values{"once": {"0123456789abcdef0123456789abcdef"}, "name": {`the "build" & more`}, "scopes": {"read", "deliver"}}
	again := func(p *page, word string) *page {
		require.Equal(t, http.StatusUnauthorized, p.status, p.body)
		wellMade(t, p)
		require.Equal(t, "no-store", p.header.Get("Cache-Control"))
		carried := url.Values{"proof_password": {word}}
		for _, in := range p.all("input[type=hidden]") {
			carried.Add(attr(in, "name"), attr(in, "value"))
		}
		for name, values := range form {
			require.Equal(t, values, carried[name], "%s is carried on as it was typed", name)
		}
		require.NotContains(t, p.body, "a guess")
		return here.post(attr(p.all("form.fields")[0], "action"), carried)
	}
	asked := here.post("/account/token", form)
	wrong := again(asked, "a guess")
	require.NotEmpty(t, wrong.text(".refused"))
	require.Zero(t, count())
	if dir := os.Getenv("PROOF_PAGE"); dir != "" {
		require.NoError(t, os.WriteFile(filepath.Join(dir, "proof.html"), []byte(wrong.body), 0o600))
	}
	done := again(wrong, password)
	require.Less(t, done.status, 400, done.body)
	require.Equal(t, 1, count())

	// Who is logged in by now in the same browser must be who asked.
	stranger := w.logIn(tamsin)
	require.Equal(t, http.StatusForbidden, stranger.post("/account/token", url.Values{"proof_member": {attr(asked.all("input[name=proof_member]")[0], "value")}, "name": {"x"}, "scopes": {"read"}}).status)
	require.Equal(t, http.StatusOK, here.get("/proof").status)
}
