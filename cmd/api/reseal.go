package main

import (
	"context"
	"fmt"
	"time"

	"proofhouse/internal/ledger"
)

const resealAbout = `Seal the secrets in the database anew with POST_KEY: those of webhooks and of log-in providers, and those that were
kept plain by versions from before. Replace a key so: stop the services, run this with the new POST_KEY and the one before
as POST_KEY_OLD, start the services with the new one. Where a secret opens with neither, nothing is changed.

DATABASE_ADMIN_URL logs in as the database's owner, as for "api migrate".
`

func resealCommand(ctx context.Context, io streams, env environment, args []string) int {
	c, code, done := parse(io, env, "reseal", resealAbout, "database-admin-url post-key post-key-old", args)
	if done {
		return code
	}
	var faults []string
	if len(c.rest) > 0 {
		faults = append(faults, "it takes no arguments besides its flags")
	}
	if c.database.admin == "" {
		faults = append(faults, "DATABASE_ADMIN_URL is not set: it is the PostgreSQL URL of the database's owner")
	}
	faults = append(faults, roleFault("DATABASE_ADMIN_URL", c.database.admin, "", false)...)
	now, err := ledger.ParsePostKey(string(c.postKey))
	if err != nil {
		faults = append(faults, "POST_KEY: "+err.Error())
	}
	var old []ledger.PostKey
	if c.postKeyOld != "" {
		key, err := ledger.ParsePostKey(string(c.postKeyOld))
		if err != nil {
			faults = append(faults, "POST_KEY_OLD: "+err.Error())
		}
		old = append(old, key)
	}
	if len(faults) > 0 {
		return complain(io, "reseal", faults)
	}
	n, err := ledger.Reseal(ctx, string(c.database.admin), now, old...)
	if err != nil {
		return failed(ctx, io, "reseal", err)
	}
	fmt.Fprintf(io.out, "%d secrets are sealed with the present key.\n", n)
	return exitOK
}

// proofAge is the setting; serveFaults has refused one that cannot be read.
func (c config) proofAge() time.Duration {
	age, err := time.ParseDuration(c.proof)
	if err != nil {
		return ledger.ProofFor
	}
	return age
}
