-- Who may do what: row-level security on every table, and the grants of each role.
-- Lock: ACCESS EXCLUSIVE on each table for a moment. Cost: milliseconds, no rewrite.
--
-- reads    shared: the studio and the vendor of the row    studio: the studio alone    own: the party of the row
-- inserts, updates   which side may, out of the two; '' is nobody
-- ph_owner migrates and runs SECURITY DEFINER functions, ph_worker and ph_notary work for all parties.

-- +goose Up

-- +goose StatementBegin
DO $$
DECLARE r record; studio text := 'studio_id = ph.app_studio()'; vendor text := 'vendor_id = ph.app_vendor()'; own text := 'party_id = ph.app_party()'; cond text;
BEGIN
  FOR r IN SELECT * FROM (VALUES
    -- table           reads     inserts   updates
    ('engagement',     'shared', 'studio', ''),
    ('project',        'studio', 'studio', ''),
    ('work_order',     'shared', 'studio', ''),
    ('prop',           'shared', 'studio', 'both'),
    ('spec_revision',  'shared', 'studio', ''),
    ('spec_ack',       'shared', 'vendor', ''),
    ('milestone',      'shared', 'studio', 'both'),
    ('cancellation',   'shared', 'studio', ''),
    ('delivery',       'shared', 'vendor', 'vendor'),
    ('file',           'shared', 'vendor', 'vendor'),
    ('file_part',      'shared', 'vendor', 'vendor'),
    ('inspection',     'shared', 'both',   ''),
    ('finding',        'shared', '',       ''),
    ('evidence',       'shared', '',       ''),
    ('sign_off',       'shared', 'studio', ''),
    ('concession',     'shared', 'studio', ''),
    ('payable',        'shared', 'studio', ''),
    ('note',           'shared', 'both',   ''),
    ('log',            'shared', 'studio', 'both'),
    ('log_hash',       'shared', 'both',   ''),
    ('fact',           'shared', 'both',   ''),
    ('fact_person',    'shared', 'both',   ''),
    ('anchor',         'shared', '',       '')
  ) AS t (name, reads, inserts, updates) LOOP
    EXECUTE format('ALTER TABLE ph.%I ENABLE ROW LEVEL SECURITY', r.name);
    EXECUTE format('ALTER TABLE ph.%I FORCE ROW LEVEL SECURITY', r.name);
    EXECUTE format('CREATE POLICY %I ON ph.%I TO ph_owner USING (true) WITH CHECK (true)', r.name || '_owner', r.name);
    cond := CASE r.reads WHEN 'shared' THEN studio || ' OR ' || vendor ELSE studio END;
    EXECUTE format('CREATE POLICY %I ON ph.%I FOR SELECT TO ph_api USING (%s)', r.name || '_read', r.name, cond);
    EXECUTE format('GRANT SELECT ON ph.%I TO ph_api', r.name);
    IF r.inserts <> '' THEN
      cond := CASE r.inserts WHEN 'studio' THEN studio WHEN 'vendor' THEN vendor ELSE studio || ' OR ' || vendor END;
      EXECUTE format('CREATE POLICY %I ON ph.%I FOR INSERT TO ph_api WITH CHECK (%s)', r.name || '_insert', r.name, cond);
      EXECUTE format('GRANT INSERT ON ph.%I TO ph_api', r.name);
    END IF;
    IF r.updates <> '' THEN
      cond := CASE r.updates WHEN 'studio' THEN studio WHEN 'vendor' THEN vendor ELSE studio || ' OR ' || vendor END;
      EXECUTE format('CREATE POLICY %I ON ph.%I FOR UPDATE TO ph_api USING (%s) WITH CHECK (%s)', r.name || '_update', r.name, cond, cond);
    END IF;
  END LOOP;

  FOR r IN SELECT unnest(ARRAY['party', 'member', 'invitation', 'session', 'token', 'idempotency', 'house_leaf', 'house_hash', 'checkpoint', 'milestone_move']) AS name LOOP
    EXECUTE format('ALTER TABLE ph.%I ENABLE ROW LEVEL SECURITY', r.name);
    EXECUTE format('ALTER TABLE ph.%I FORCE ROW LEVEL SECURITY', r.name);
    EXECUTE format('CREATE POLICY %I ON ph.%I TO ph_owner USING (true) WITH CHECK (true)', r.name || '_owner', r.name);
  END LOOP;

  -- The inspector works for every vendor. Column grants below keep prices and people from it.
  FOR r IN SELECT unnest(ARRAY['prop', 'milestone', 'spec_revision', 'delivery', 'file', 'file_part', 'inspection', 'finding', 'evidence', 'log', 'log_hash', 'fact']) AS name LOOP
    EXECUTE format('CREATE POLICY %I ON ph.%I TO ph_worker USING (true) WITH CHECK (true)', r.name || '_worker', r.name);
  END LOOP;
  FOR r IN SELECT unnest(ARRAY['log', 'anchor', 'house_leaf', 'house_hash', 'checkpoint']) AS name LOOP
    EXECUTE format('CREATE POLICY %I ON ph.%I TO ph_notary USING (true) WITH CHECK (true)', r.name || '_notary', r.name);
  END LOOP;
  -- No party's data: the moves, and hashes of blinded heads that proofs are made of.
  FOR r IN SELECT unnest(ARRAY['milestone_move', 'house_hash', 'checkpoint']) AS name LOOP
    EXECUTE format('CREATE POLICY %I ON ph.%I FOR SELECT TO ph_api USING (true)', r.name || '_read', r.name);
    EXECUTE format('GRANT SELECT ON ph.%I TO ph_api', r.name);
  END LOOP;
END $$;
-- +goose StatementEnd

CREATE POLICY milestone_move_worker ON ph.milestone_move FOR SELECT TO ph_worker USING (true);
CREATE POLICY party_read ON ph.party FOR SELECT TO ph_api USING (id = ph.app_party());
CREATE POLICY party_insert ON ph.party FOR INSERT TO ph_api WITH CHECK (side = 'vendor' AND ph.app_studio() IS NOT NULL);
CREATE POLICY member_read ON ph.member FOR SELECT TO ph_api USING (party_id = ph.app_party());
CREATE POLICY member_update ON ph.member FOR UPDATE TO ph_api
  USING (party_id = ph.app_party() AND id = ph.app_member()) WITH CHECK (party_id = ph.app_party() AND id = ph.app_member());
CREATE POLICY invitation_read ON ph.invitation FOR SELECT TO ph_api USING (party_id = ph.app_party() OR engaged_by = ph.app_studio());
CREATE POLICY invitation_insert ON ph.invitation FOR INSERT TO ph_api
  WITH CHECK ((party_id = ph.app_party() AND engaged_by IS NULL) OR (engaged_by = ph.app_studio() AND side = 'vendor'));
CREATE POLICY session_own ON ph.session TO ph_api
  USING (party_id = ph.app_party() AND member_id = ph.app_member()) WITH CHECK (party_id = ph.app_party() AND member_id = ph.app_member());
CREATE POLICY token_own ON ph.token TO ph_api
  USING (party_id = ph.app_party() AND member_id = ph.app_member()) WITH CHECK (party_id = ph.app_party() AND member_id = ph.app_member());
CREATE POLICY idempotency_own ON ph.idempotency TO ph_api
  USING (party_id = ph.app_party() AND member_id = ph.app_member()) WITH CHECK (party_id = ph.app_party() AND member_id = ph.app_member());

GRANT USAGE ON SCHEMA ph TO ph_api, ph_login, ph_worker, ph_notary, ph_backup;
GRANT SELECT ON ALL TABLES IN SCHEMA ph TO ph_backup;

-- ph_api: what each table above allows, and these columns. Hashes of passwords and secrets are not readable.
GRANT SELECT, INSERT ON ph.party TO ph_api;
GRANT SELECT (party_id, id, side, name, email, roles, created_at, disabled_at), UPDATE (password_hash) ON ph.member TO ph_api;
GRANT SELECT (party_id, id, side, engaged_by, email, roles, created_at, created_by, expires_at, accepted_at), INSERT ON ph.invitation TO ph_api;
GRANT SELECT (party_id, member_id, id, created_at, expires_at, last_seen_at, ended_at), INSERT, UPDATE (ended_at) ON ph.session TO ph_api;
GRANT SELECT (party_id, member_id, id, name, hint, scopes, created_at, expires_at, last_used_at, revoked_at), INSERT, UPDATE (revoked_at) ON ph.token TO ph_api;
GRANT SELECT, INSERT ON ph.idempotency TO ph_api;
GRANT UPDATE (work_began_at, spec_in_force) ON ph.prop TO ph_api;
GRANT UPDATE (state, last_event, since, rounds) ON ph.milestone TO ph_api;
GRANT UPDATE (state, sealing_at, sealed_at, sealed_by, abandoned_at, abandoned_by) ON ph.delivery TO ph_api;
GRANT UPDATE (upload_id, etag, version_id) ON ph.file TO ph_api;
GRANT UPDATE (etag) ON ph.file_part TO ph_api;
GRANT UPDATE (size, root) ON ph.log TO ph_api;

-- ph_login: the functions alone.
REVOKE ALL ON FUNCTION ph.login_password(text), ph.login_session(bytea), ph.login_token(bytea), ph.login_invitation(bytea),
  ph.accept_invitation(bytea, uuid, text, text), ph.own_password_hash(), ph.sweep_idempotency(), ph.make_finding_partitions(integer, integer) FROM PUBLIC;
GRANT EXECUTE ON FUNCTION ph.login_password(text), ph.login_session(bytea), ph.login_token(bytea), ph.login_invitation(bytea),
  ph.accept_invitation(bytea, uuid, text, text) TO ph_login;
GRANT EXECUTE ON FUNCTION ph.own_password_hash(), ph.sweep_idempotency() TO ph_api;

-- ph_worker: what an inspection needs; no price, no name, no member but the bare ids inside facts it writes.
GRANT SELECT (studio_id, vendor_id, work_order_id, id, code, tier) ON ph.prop TO ph_worker;
GRANT SELECT (studio_id, vendor_id, work_order_id, prop_id, id, kind, state), UPDATE (state, last_event, since) ON ph.milestone TO ph_worker;
GRANT SELECT (studio_id, vendor_id, work_order_id, prop_id, id, number, document, document_sha256, digest, created_at) ON ph.spec_revision TO ph_worker;
GRANT SELECT (studio_id, vendor_id, work_order_id, prop_id, milestone_id, id, number, state, manifest_sha256, spec_revision_id, files, bytes, opened_at, sealed_at)
  ON ph.delivery TO ph_worker;
GRANT SELECT ON ph.file, ph.milestone_move TO ph_worker;
GRANT SELECT (studio_id, vendor_id, work_order_id, prop_id, milestone_id, delivery_id, id, spec_revision_id, spec_number, reason, state,
    lease_owner, lease_until, fence, attempts, queued_at, started_at, finished_at, engine, engine_digest, verdict, headline, cause,
    evidence_sha256, findings_sha256, findings, issues, current),
  UPDATE (state, lease_owner, lease_until, fence, attempts, started_at, finished_at, engine, engine_digest, verdict, headline, cause,
    evidence_sha256, findings_sha256, findings, issues, current) ON ph.inspection TO ph_worker;
GRANT SELECT, INSERT ON ph.finding, ph.evidence, ph.log_hash TO ph_worker;
GRANT INSERT ON ph.fact TO ph_worker;
GRANT SELECT ON ph.file_part TO ph_worker;
GRANT SELECT, UPDATE (size, root) ON ph.log TO ph_worker;

-- ph_notary: heads in, signed checkpoints out.
GRANT SELECT, UPDATE (anchored_size) ON ph.log TO ph_notary;
GRANT SELECT, INSERT ON ph.anchor, ph.house_leaf, ph.house_hash, ph.checkpoint TO ph_notary;
