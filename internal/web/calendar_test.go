package web_test

import (
	"net/http"
	"net/url"
	"testing"

	"github.com/stretchr/testify/require"
)

// A side sets its working days where they count, on the order, and once.
func TestWorkingDaysOfAnOrder(t *testing.T) {
	t.Parallel()
	w := newWorld(t)
	b := w.logIn(ole)
	path := "/orders/" + w.order.ID.String()
	at := path + "/calendar"
	p := b.get(path)
	wellMade(t, p)
	require.Equal(t, []string{"1", "2", "3", "4", "5"}, p.form(at)["workday"], "what counts where nothing is set")
	refused := p.submit(at, "zone", "Europe/Bergen", "holidays", "2026-12-25\n26.12.2026")
	wellMade(t, refused)
	require.Equal(t, http.StatusUnprocessableEntity, refused.status)
	require.Contains(t, refused.text("#calendars [role=alert]"), "The holidays is not a day such as 2026-11-27")
	require.Equal(t, "2026-12-25\n26.12.2026", refused.form(at).Get("holidays"), "what is wrong stays to be seen")
	require.True(t, refused.has("#calendars details[open]"))
	zone := refused.submit(at, "holidays", "2026-12-25")
	require.Contains(t, zone.text("#calendars [role=alert]"), "The time zone")
	require.Equal(t, http.StatusUnprocessableEntity, zone.status)

	done := zone.submit(at, "zone", "Europe/Oslo", "holidays", "2036-12-26, 2036-12-25").follow()
	wellMade(t, done)
	require.Contains(t, done.text("#calendars"), "Europe/Oslo")
	require.Contains(t, done.text("#calendars"), "25 Dec 2036 , 26 Dec 2036")
	require.False(t, done.has("#calendars form"), "it is fixed")

	// The studio's side is its own; who may not set it sees no form.
	other := w.logIn(petra).get(path)
	require.NotContains(t, other.form(at).Get("holidays"), "2036")
	require.False(t, w.logIn(marek).get(path).has("#calendars form"))
	require.Equal(t, http.StatusForbidden, w.logIn(ada).post(at, url.Values{"zone": {"UTC"}, "workday": {"1"}}).status)
}
