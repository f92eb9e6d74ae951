// Package migrations holds the SQL that makes the ledger's schema, in goose's format, forward only. Each file says
// which locks it takes and what it costs on a large table.
package migrations

import "embed"

// FS holds the migration files.
//
//go:embed 0*.sql
var FS embed.FS

// Version is the schema version that this program's SQL needs: the number of the newest file.
const Version = 12
