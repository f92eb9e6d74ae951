-- A log's head carries the hashes that the next leaf needs, so that appending reads nothing else.
-- Lock: ACCESS EXCLUSIVE on log for a moment. Cost: milliseconds, no rewrite; a head without them falls back to ph.log_hash.

-- +goose Up
ALTER TABLE ph.log ADD COLUMN frontier bytea; -- 32 bytes for each full subtree, the largest first
GRANT UPDATE (frontier) ON ph.log TO ph_api, ph_worker, ph_clock;
