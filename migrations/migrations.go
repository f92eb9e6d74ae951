// Package migrations holds the SQL that makes the ledger's schema, in goose's format, forward only. Each file says
// which locks it takes and what it costs on a large table.
package migrations

import (
	"embed"
	"strconv"
	"strings"
)

// FS holds the migration files.
//
//go:embed 0*.sql
var FS embed.FS

// Version is the schema version that this program's SQL needs: the number of the newest file.
var Version = newest()

func newest() (number int64) {
	files, err := FS.ReadDir(".")
	if err != nil {
		panic(err) // the files are part of this program
	}
	for _, f := range files { // by name
		digits, _, _ := strings.Cut(f.Name(), "_")
		if number, err = strconv.ParseInt(digits, 10, 64); err != nil {
			panic(err)
		}
	}
	return number
}
