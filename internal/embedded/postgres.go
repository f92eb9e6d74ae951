// Package embedded runs what the service needs on one machine: a private PostgreSQL and an S3 server, for the demo,
// for use without other servers, and for tests.
package embedded

import (
	"context"

	"proofhouse/internal/embedded/pgserver"
)

// PostgresConfig says where the private cluster lives and how it runs.
type PostgresConfig = pgserver.Config

// Postgres is a running private PostgreSQL: URL for its owner, RoleURL for the other roles, Stop to end it.
type Postgres = pgserver.Server

// StartPostgres makes the cluster where there is none and starts it. Programs that must not link the S3 server use
// package pgserver itself.
func StartPostgres(ctx context.Context, cfg PostgresConfig) (*Postgres, error) {
	return pgserver.Start(ctx, cfg)
}
