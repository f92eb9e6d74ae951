package main

import (
	"context"
	"errors"
	"testing"
	"time"

	"github.com/stretchr/testify/require"
)

func TestClocksMustAgree(t *testing.T) {
	t.Parallel()
	off := func(d time.Duration) error {
		return clocksAgree(func(context.Context) (time.Time, error) { return time.Now().Add(d), nil })(t.Context())
	}
	require.NoError(t, off(0))
	require.NoError(t, off(clockMayDiffer-time.Second))
	require.NoError(t, off(time.Second-clockMayDiffer))
	require.ErrorContains(t, off(time.Hour), "1h0m0s behind")
	require.ErrorContains(t, off(-time.Hour), "ahead")
	require.ErrorContains(t, clocksAgree(func(context.Context) (time.Time, error) { return time.Time{}, errors.New("away") })(t.Context()), "away")
}
