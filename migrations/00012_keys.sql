-- The notary's keys: each later one is vouched for by the one before. A note's side is its writer's.
-- Lock: ACCESS EXCLUSIVE on note for a moment. Cost: milliseconds.

-- +goose Up
CREATE TABLE ph.notary_key (
  number    integer PRIMARY KEY,
  verifier  text NOT NULL, -- name+hash+key
  statement text NOT NULL, -- a note that names the verifier, signed by the key before
  at        timestamptz NOT NULL DEFAULT now(),
  CONSTRAINT notary_key_verifier_key UNIQUE (verifier)
);
ALTER TABLE ph.notary_key ENABLE ROW LEVEL SECURITY;
ALTER TABLE ph.notary_key FORCE ROW LEVEL SECURITY;
CREATE POLICY notary_key_owner ON ph.notary_key TO ph_owner USING (true) WITH CHECK (true);
CREATE POLICY notary_key_read ON ph.notary_key FOR SELECT TO ph_api USING (true); -- no party's data
CREATE POLICY notary_key_notary ON ph.notary_key TO ph_notary USING (true) WITH CHECK (true);
GRANT SELECT ON ph.notary_key TO ph_api, ph_backup;
GRANT SELECT, INSERT ON ph.notary_key TO ph_notary;

-- A note's side is its writer's own.
DROP POLICY note_insert ON ph.note;
CREATE POLICY note_insert ON ph.note FOR INSERT TO ph_api
  WITH CHECK ((studio_id = ph.app_studio() AND side = 'studio') OR (vendor_id = ph.app_vendor() AND side = 'vendor'));
