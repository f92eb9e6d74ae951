package main

import (
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

func TestStandstillsAreToldFromTheBoundOn(t *testing.T) {
	s := &standstills{}
	s.saw(standstillFrom - time.Microsecond)
	s.saw(standstillFrom)
	s.saw(3 * standstillFrom)
	require.Equal(t, "2 times over 20.0 ms, the longest 60.0 ms, 80.0 ms in all; stolen by the host as the kernel was told: 0.0 ms of processor time", s.String())
}

func TestOnlyTheListOfPropsIsBorne(t *testing.T) {
	query := "SELECT count(*)\n FROM (SELECT FROM ph.prop_line l WHERE l.vendor_id = $1 LIMIT 1001) l"
	require.True(t, bearable(query, "Index Only Scan on prop_line prop_line_tier_of_studio throws 10246 rows away"))
	require.False(t, bearable(query, "reads all of finding"))
	require.False(t, bearable("SELECT count(*) FROM ph.prop_line l WHERE l.vendor_id = $1", "reads all of prop_line"))
}
