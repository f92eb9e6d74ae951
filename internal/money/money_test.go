package money_test

import (
	"math"
	"testing"

	"github.com/stretchr/testify/require"

	"proofhouse/internal/money"
)

// TestDecimal: decimals by ISO 4217, list one (EUR 2, JPY 0, KWD 3), from memory.
func TestDecimal(t *testing.T) {
	for _, c := range []struct {
		minor int64
		code  string
		want  string
	}{
		{21000, "EUR", "210.00"}, {5, "EUR", "0.05"}, {-5, "EUR", "-0.05"}, {-12345, "NOK", "-123.45"}, {0, "EUR", "0.00"},
		{21000, "JPY", "21000"}, {21001, "KWD", "21.001"}, {math.MinInt64, "EUR", "-92233720368547758.08"}, {math.MaxInt64, "EUR", "92233720368547758.07"},
	} {
		require.Equal(t, c.want, money.Decimal(c.minor, c.code))
	}
	require.Equal(t, int64(21050), money.Minor(210.5, "EUR"))
	require.Equal(t, int64(211), money.Minor(210.5, "JPY"))
}
