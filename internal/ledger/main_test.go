package ledger_test

import (
	"testing"

	"proofhouse/internal/ledger/ledgertest"
)

func TestMain(m *testing.M) { ledgertest.Main(m) }
