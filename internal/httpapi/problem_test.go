package httpapi

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"

	"github.com/google/uuid"
	"github.com/labstack/echo/v4"
	"github.com/stretchr/testify/require"
	"golang.org/x/sync/errgroup"

	"proofhouse/internal/ledger"
	"proofhouse/internal/storage"
)

// RFC 9457 (Problem Details for HTTP APIs), section 3: media type, type, title, status, detail, instance.
func TestEveryKindOfErrorHasItsProblem(t *testing.T) {
	t.Parallel()
	for name, tc := range map[string]struct {
		err    error
		status int
		typ    string
	}{
		"not found":   {fmt.Errorf("delivery: %w", ledger.ErrNotFound), 404, "not-found"},
		"forbidden":   {ledger.ErrForbidden, 403, "not-allowed"},
		"state":       {fmt.Errorf("the milestone is accepted: %w", ledger.ErrState), 409, "wrong-state"},
		"conflict":    {ledger.ErrConflict, 409, "conflict"},
		"invalid":     {&ledger.Invalid{Field: "files/0/path", Why: "is not relative"}, 422, "invalid-input"},
		"credentials": {ledger.ErrCredentials, 401, "credentials-refused"},
		"key reused":  {ledger.ErrKeyReused, 422, "key-reused"},
		"in flight":   {ledger.ErrInFlight, 409, "in-flight"},
		"schema":      {ledger.ErrSchema, 503, "unavailable"},
		"no object":   {storage.ErrNotFound, 404, "not-found"},
		"changed":     {storage.ErrChanged, 500, "evidence-broken"},
		"too slow":    {context.DeadlineExceeded, 503, "unavailable"},
		"no route":    {echo.ErrNotFound, 404, "not-found"},
		"no method":   {echo.ErrMethodNotAllowed, 405, "method-not-allowed"},
		"our fault":   {errors.New("password=hunter2 at 10.0.0.7"), 500, "internal"},
	} {
		t.Run(name, func(t *testing.T) {
			t.Parallel()
			e := echo.New()
			w := httptest.NewRecorder()
			c := e.NewContext(httptest.NewRequest(http.MethodGet, "/", nil), w)
			writeProblem(c, tc.err)
			p := problemOf(t, w)
			require.Equal(t, tc.status, w.Code)
			require.Equal(t, "/problems/"+tc.typ, p.Type)
			require.NotContains(t, w.Body.String(), "hunter2")
			require.Equal(t, "no-store", w.Header().Get("Cache-Control"))
		})
	}
}

func TestInFlightSaysWhenToComeBack(t *testing.T) {
	t.Parallel()
	w := httptest.NewRecorder()
	writeProblem(echo.New().NewContext(httptest.NewRequest(http.MethodPost, "/", nil), w), ledger.ErrInFlight)
	require.Equal(t, "1", w.Header().Get("Retry-After"))
}

func TestKindsAreStableAndExplained(t *testing.T) {
	t.Parallel()
	seen := map[string]bool{}
	for _, k := range kinds {
		require.False(t, seen[k.name], k.name)
		seen[k.name] = true
		require.Regexp(t, "^[a-z-]{1,60}$", k.name)
		require.NotEmpty(t, k.title)
		require.True(t, strings.HasSuffix(k.todo, "."), k.name)
		w := httptest.NewRecorder()
		c := echo.New().NewContext(httptest.NewRequest(http.MethodGet, "/", nil), w)
		c.SetParamNames("problem")
		c.SetParamValues(k.name)
		require.NoError(t, (&Server{}).getProblem(c))
		require.Contains(t, w.Body.String(), k.todo)
	}
}

func TestLimiterHoldsAndForgets(t *testing.T) {
	t.Parallel()
	l := newLimiter(0.0001, 2)
	require.Zero(t, l.take("a"))
	require.Zero(t, l.take("a"))
	require.Positive(t, l.take("a"))
	require.Zero(t, l.take("b"), "another caller has a limit of its own")
	fast := newLimiter(1e9, 1)
	fast.sweep = 4
	for i := range 100 {
		fast.take(fmt.Sprint(i))
	}
	require.Less(t, len(fast.byKey), 101)
	require.LessOrEqual(t, len(fast.byKey), firstSweep)
}

// RFC 9110, section 13.1: a list of entity tags, or *.
func TestTagMatches(t *testing.T) {
	t.Parallel()
	for header, want := range map[string]bool{`"a"`: true, `"b", "a"`: true, `W/"a"`: true, `*`: true, `"b"`: false, ``: false} {
		require.Equal(t, want, tagMatches(header, `"a"`), header)
	}
}

func TestKeyLockOrdersOneKeyAndLetsOthersPass(t *testing.T) {
	t.Parallel()
	var l keyLock
	a, b := uuid.New(), uuid.New()
	unlock, err := l.lock(t.Context(), a)
	require.NoError(t, err)
	other, err := l.lock(t.Context(), b)
	require.NoError(t, err)
	other()
	short, cancel := context.WithCancel(t.Context())
	cancel()
	_, err = l.lock(short, a)
	require.ErrorIs(t, err, context.Canceled)
	counter := 0
	var group errgroup.Group
	for range 50 {
		group.Go(func() error {
			unlock, err := l.lock(context.Background(), a)
			if err != nil {
				return err
			}
			counter++ // the race detector and the sum tell whether two were inside
			unlock()
			return nil
		})
	}
	unlock()
	require.NoError(t, group.Wait())
	require.Equal(t, 50, counter)
	require.Empty(t, l.held, "nothing is kept for keys that nobody wants")
}
