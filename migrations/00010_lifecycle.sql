-- Approval by tier with deputies, reference packs and secrecy, texture sets in use, hand-overs, maintenance, source archive,
-- sweeping what was never sealed, people who leave.
-- Lock: ACCESS EXCLUSIVE on member, invitation, work_order, milestone, delivery and sign_off for a moment each.
-- Cost: constant defaults, no rewrite; checks on old rows are NOT VALID; one index is built on milestone, one on delivery.

-- +goose Up

ALTER TABLE ph.member DROP CONSTRAINT member_roles_fit_side;
ALTER TABLE ph.member ADD CONSTRAINT member_roles_fit_side CHECK (cardinality(roles) > 0 AND (
  (side = 'studio' AND roles <@ ARRAY['producer', 'art_director', 'art_lead', 'technical_artist']) OR
  (side = 'vendor' AND roles <@ ARRAY['vendor_lead', 'vendor_artist']))) NOT VALID;
ALTER TABLE ph.invitation DROP CONSTRAINT invitation_roles_fit_side;
ALTER TABLE ph.invitation ADD CONSTRAINT invitation_roles_fit_side CHECK (cardinality(roles) > 0 AND (
  (side = 'studio' AND roles <@ ARRAY['producer', 'art_director', 'art_lead', 'technical_artist']) OR
  (side = 'vendor' AND roles <@ ARRAY['vendor_lead', 'vendor_artist']))) NOT VALID;

-- Somebody who decides in another's place, between two days.
CREATE TABLE ph.deputy (
  studio_id uuid NOT NULL,
  id        uuid NOT NULL,
  role      text NOT NULL,
  member_id uuid NOT NULL,
  from_on   date NOT NULL,
  until_on  date NOT NULL,
  by_member uuid NOT NULL,
  by_name   text,
  at        timestamptz NOT NULL DEFAULT now(),
  PRIMARY KEY (studio_id, id),
  FOREIGN KEY (studio_id, member_id) REFERENCES ph.member (party_id, id),
  CONSTRAINT deputy_role_known CHECK (role IN ('art_director', 'art_lead')),
  CONSTRAINT deputy_days_in_order CHECK (until_on >= from_on)
);
CREATE INDEX deputy_of_member ON ph.deputy (studio_id, member_id, until_on);
ALTER TABLE ph.sign_off ADD COLUMN deputy_id uuid;
ALTER TABLE ph.sign_off DROP CONSTRAINT sign_off_role_known;
ALTER TABLE ph.sign_off ADD CONSTRAINT sign_off_role_known CHECK (by_role IN ('art_director', 'art_lead', 'technical_artist', 'clock')) NOT VALID,
  ADD CONSTRAINT sign_off_deputy FOREIGN KEY (studio_id, deputy_id) REFERENCES ph.deputy (studio_id, id);

ALTER TABLE ph.work_order
  ADD COLUMN codename     text NOT NULL DEFAULT '',
  ADD COLUMN nda_required boolean NOT NULL DEFAULT false,
  ADD COLUMN source_roles text[] NOT NULL DEFAULT '{}', -- that the final delivery owes before it is paid
  ADD CONSTRAINT work_order_codename_length CHECK (char_length(codename) <= 64) NOT VALID,
  ADD CONSTRAINT work_order_source_roles_few CHECK (cardinality(source_roles) <= 20) NOT VALID;

CREATE TABLE ph.nda_ack (
  studio_id     uuid NOT NULL,
  vendor_id     uuid NOT NULL,
  work_order_id uuid NOT NULL,
  id            uuid NOT NULL,
  by_member     uuid NOT NULL,
  by_name       text,
  at            timestamptz NOT NULL DEFAULT now(),
  PRIMARY KEY (studio_id, id),
  CONSTRAINT nda_ack_once UNIQUE (studio_id, work_order_id, by_member),
  FOREIGN KEY (studio_id, vendor_id, work_order_id) REFERENCES ph.work_order (studio_id, vendor_id, id)
);

CREATE TABLE ph.reference_pack (
  studio_id     uuid NOT NULL,
  vendor_id     uuid NOT NULL,
  work_order_id uuid NOT NULL,
  id            uuid NOT NULL,
  number        integer NOT NULL,
  note          text NOT NULL,
  by_member     uuid NOT NULL,
  by_name       text,
  at            timestamptz NOT NULL DEFAULT now(),
  published_at  timestamptz,
  PRIMARY KEY (studio_id, id),
  CONSTRAINT reference_pack_parties UNIQUE (studio_id, vendor_id, work_order_id, id),
  CONSTRAINT reference_pack_number_key UNIQUE (studio_id, work_order_id, number),
  FOREIGN KEY (studio_id, vendor_id, work_order_id) REFERENCES ph.work_order (studio_id, vendor_id, id),
  CONSTRAINT reference_pack_note_length CHECK (char_length(note) <= 4000)
);
CREATE TABLE ph.reference_file (
  studio_id     uuid NOT NULL,
  vendor_id     uuid NOT NULL,
  work_order_id uuid NOT NULL,
  pack_id       uuid NOT NULL,
  id            uuid NOT NULL,
  ord           integer NOT NULL,
  path          text NOT NULL,
  what          text NOT NULL,
  size          bigint NOT NULL,
  sha256        bytea NOT NULL,
  media_type    text NOT NULL,
  object_key    text NOT NULL,
  published     boolean NOT NULL DEFAULT false, -- with its pack
  PRIMARY KEY (studio_id, id),
  CONSTRAINT reference_file_ord_key UNIQUE (studio_id, pack_id, ord),
  FOREIGN KEY (studio_id, vendor_id, work_order_id, pack_id) REFERENCES ph.reference_pack (studio_id, vendor_id, work_order_id, id),
  CONSTRAINT reference_file_what_known CHECK (what IN ('concept', 'scale', 'material_board', 'neighbour', 'block_out_view', 'yardstick', 'avoid', 'other')),
  CONSTRAINT reference_file_sha256_length CHECK (length(sha256) = 32),
  CONSTRAINT reference_file_path_form CHECK (char_length(path) BETWEEN 1 AND 1024 AND path !~ '(^/|\\|(^|/)\.\.?(/|$)|//|[[:cntrl:]])')
);
CREATE TABLE ph.reference_ack (
  studio_id     uuid NOT NULL,
  vendor_id     uuid NOT NULL,
  work_order_id uuid NOT NULL,
  pack_id       uuid NOT NULL,
  id            uuid NOT NULL,
  by_member     uuid NOT NULL,
  by_name       text,
  at            timestamptz NOT NULL DEFAULT now(),
  PRIMARY KEY (studio_id, id),
  CONSTRAINT reference_ack_once UNIQUE (studio_id, pack_id),
  FOREIGN KEY (studio_id, vendor_id, work_order_id, pack_id) REFERENCES ph.reference_pack (studio_id, vendor_id, work_order_id, id)
);

-- Which accepted delivery of a texture set or kit a prop uses.
CREATE TABLE ph.set_use (
  studio_id     uuid NOT NULL,
  vendor_id     uuid NOT NULL,
  work_order_id uuid NOT NULL,
  prop_id       uuid NOT NULL,
  set_id        uuid NOT NULL,
  delivery_id   uuid NOT NULL, -- of the set
  id            uuid NOT NULL,
  side          text NOT NULL,
  by_member     uuid NOT NULL,
  by_name       text,
  at            timestamptz NOT NULL DEFAULT now(),
  PRIMARY KEY (studio_id, id),
  FOREIGN KEY (studio_id, vendor_id, work_order_id, prop_id) REFERENCES ph.prop (studio_id, vendor_id, work_order_id, id),
  FOREIGN KEY (studio_id, vendor_id, work_order_id, set_id) REFERENCES ph.prop (studio_id, vendor_id, work_order_id, id),
  FOREIGN KEY (studio_id, vendor_id, work_order_id, delivery_id) REFERENCES ph.delivery (studio_id, vendor_id, work_order_id, id),
  CONSTRAINT set_use_not_itself CHECK (prop_id <> set_id),
  CONSTRAINT set_use_side_known CHECK (side IN ('studio', 'vendor'))
);
CREATE INDEX set_use_of_set ON ph.set_use (studio_id, set_id, prop_id, id);
CREATE INDEX set_use_of_prop ON ph.set_use (studio_id, prop_id, set_id, id);

-- Deliveries after acceptance: a milestone without a share of the price, as many as are needed.
ALTER TABLE ph.milestone DROP CONSTRAINT milestone_kind_known, DROP CONSTRAINT milestone_kind_key;
ALTER TABLE ph.milestone ADD CONSTRAINT milestone_kind_known
  CHECK (kind IN ('block_out', 'sculpt', 'game_mesh', 'maps', 'final', 'maintenance') AND (kind <> 'maintenance' OR share_bp + amount_minor = 0)) NOT VALID;
CREATE UNIQUE INDEX milestone_kind_key ON ph.milestone (studio_id, prop_id, kind) WHERE kind <> 'maintenance';
CREATE TABLE ph.maintenance (
  studio_id     uuid NOT NULL,
  vendor_id     uuid NOT NULL,
  work_order_id uuid NOT NULL,
  prop_id       uuid NOT NULL,
  milestone_id  uuid NOT NULL,
  id            uuid NOT NULL,
  reason        text NOT NULL,
  by_member     uuid NOT NULL,
  by_name       text,
  at            timestamptz NOT NULL DEFAULT now(),
  PRIMARY KEY (studio_id, id),
  CONSTRAINT maintenance_once UNIQUE (studio_id, milestone_id),
  FOREIGN KEY (studio_id, vendor_id, work_order_id, prop_id, milestone_id) REFERENCES ph.milestone (studio_id, vendor_id, work_order_id, prop_id, id),
  CONSTRAINT maintenance_reason_length CHECK (char_length(reason) BETWEEN 1 AND 4000)
);

-- A final milestone that is accepted and not paid yet: its source files are owed.
CREATE TABLE ph.payment_hold (
  studio_id     uuid NOT NULL,
  vendor_id     uuid NOT NULL,
  work_order_id uuid NOT NULL,
  prop_id       uuid NOT NULL,
  milestone_id  uuid NOT NULL,
  sign_off_id   uuid NOT NULL,
  id            uuid NOT NULL,
  amount_minor  bigint NOT NULL,
  currency      text NOT NULL,
  missing       text[] NOT NULL,
  at            timestamptz NOT NULL DEFAULT now(),
  PRIMARY KEY (studio_id, id),
  CONSTRAINT payment_hold_once UNIQUE (studio_id, milestone_id),
  FOREIGN KEY (studio_id, vendor_id, work_order_id, prop_id, milestone_id) REFERENCES ph.milestone (studio_id, vendor_id, work_order_id, prop_id, id),
  FOREIGN KEY (studio_id, vendor_id, work_order_id, sign_off_id) REFERENCES ph.sign_off (studio_id, vendor_id, work_order_id, id)
);
CREATE TABLE ph.payment_hold_end (
  studio_id     uuid NOT NULL,
  vendor_id     uuid NOT NULL,
  work_order_id uuid NOT NULL,
  hold_id       uuid NOT NULL,
  id            uuid NOT NULL,
  waived        text[] NOT NULL, -- what was still missing
  reason        text NOT NULL,
  by_member     uuid NOT NULL,
  by_name       text,
  at            timestamptz NOT NULL DEFAULT now(),
  PRIMARY KEY (studio_id, id),
  CONSTRAINT payment_hold_end_once UNIQUE (studio_id, hold_id),
  FOREIGN KEY (studio_id, hold_id) REFERENCES ph.payment_hold (studio_id, id),
  CONSTRAINT payment_hold_end_says_why CHECK (cardinality(waived) = 0 OR reason <> '')
);

-- What was handed to the engine team: accepted files under their engine names.
CREATE TABLE ph.handover (
  studio_id     uuid NOT NULL,
  work_order_id uuid NOT NULL,
  id            uuid NOT NULL,
  number        integer NOT NULL,
  pattern       text NOT NULL,
  digest        bytea NOT NULL,
  by_member     uuid NOT NULL,
  by_name       text,
  at            timestamptz NOT NULL DEFAULT now(),
  PRIMARY KEY (studio_id, id),
  CONSTRAINT handover_number_key UNIQUE (studio_id, work_order_id, number),
  FOREIGN KEY (studio_id, work_order_id) REFERENCES ph.work_order (studio_id, id)
);
CREATE TABLE ph.handover_file (
  studio_id   uuid NOT NULL,
  handover_id uuid NOT NULL,
  ord         integer NOT NULL,
  name        text NOT NULL,
  file_id     uuid NOT NULL,
  PRIMARY KEY (studio_id, handover_id, ord),
  FOREIGN KEY (studio_id, handover_id) REFERENCES ph.handover (studio_id, id),
  FOREIGN KEY (studio_id, file_id) REFERENCES ph.file (studio_id, id)
);
CREATE UNIQUE INDEX handover_file_name_key ON ph.handover_file (studio_id, handover_id, lower(name));

-- Uploads that were never sealed: the machine gives them up, and their objects are deleted.
ALTER TABLE ph.delivery ADD COLUMN swept_at timestamptz;
CREATE INDEX delivery_to_sweep ON ph.delivery (opened_at, id) WHERE state IN ('open', 'abandoned') AND swept_at IS NULL;
GRANT UPDATE (state, abandoned_at, swept_at) ON ph.delivery TO ph_clock;
CREATE POLICY file_clock ON ph.file FOR SELECT TO ph_clock USING (true);
GRANT SELECT ON ph.file TO ph_clock;

-- People who leave. Their leaves stay; names and salts go. By log, so that each log says who was erased.
CREATE TABLE ph.erasure (
  studio_id uuid NOT NULL,
  vendor_id uuid,
  log_id    uuid NOT NULL,
  id        uuid NOT NULL,
  member_id uuid NOT NULL,
  reason    text NOT NULL,
  by_member uuid NOT NULL,
  at        timestamptz NOT NULL DEFAULT now(),
  PRIMARY KEY (studio_id, id),
  CONSTRAINT erasure_once UNIQUE (studio_id, log_id, member_id),
  FOREIGN KEY (studio_id, log_id) REFERENCES ph.log (studio_id, id),
  CONSTRAINT erasure_reason_length CHECK (char_length(reason) BETWEEN 1 AND 1000)
);

-- Stops a member of the caller's own party: no log-in, no session, no token.
-- +goose StatementBegin
CREATE FUNCTION ph.disable_member(the_member uuid) RETURNS boolean LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog AS $$
BEGIN
  UPDATE ph.member m SET disabled_at = now() WHERE m.party_id = ph.app_party() AND m.id = the_member AND m.disabled_at IS NULL;
  IF NOT FOUND THEN
    RETURN EXISTS (SELECT FROM ph.member m WHERE m.party_id = ph.app_party() AND m.id = the_member);
  END IF;
  UPDATE ph.session s SET ended_at = now() WHERE s.party_id = ph.app_party() AND s.member_id = the_member AND s.ended_at IS NULL;
  UPDATE ph.token t SET revoked_at = now() WHERE t.party_id = ph.app_party() AND t.member_id = the_member AND t.revoked_at IS NULL;
  RETURN true;
END $$;
-- +goose StatementEnd

-- Erases a disabled member of the caller's own party: name, e-mail, the names beside what they did, and the salts that
-- open their commitments in the logs.
-- +goose StatementBegin
CREATE FUNCTION ph.erase_member(the_member uuid) RETURNS boolean LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog AS $$
DECLARE t record; who text;
BEGIN
  UPDATE ph.member m SET name = '', email = 'erased-' || m.id || '@erased.invalid'
  WHERE m.party_id = ph.app_party() AND m.id = the_member AND m.disabled_at IS NOT NULL;
  IF NOT FOUND THEN
    RETURN false;
  END IF;
  UPDATE ph.fact_person p SET salt = NULL, name = NULL FROM ph.fact f
  WHERE f.member_id = the_member AND p.studio_id = f.studio_id AND p.log_id = f.log_id AND p.idx = f.idx;
  -- Every table that keeps a name beside a member's id.
  FOR t IN SELECT c.table_name FROM information_schema.columns c JOIN information_schema.tables b USING (table_schema, table_name)
           WHERE c.table_schema = 'ph' AND c.column_name = 'by_name' AND b.table_type = 'BASE TABLE' LOOP
    SELECT c.column_name INTO who FROM information_schema.columns c
    WHERE c.table_schema = 'ph' AND c.table_name = t.table_name
      AND c.column_name IN ('by_member', 'created_by', 'placed_by', 'ordered_by', 'opened_by', 'requested_by', 'offered_by', 'asked_by')
    ORDER BY c.column_name LIMIT 1;
    EXECUTE format('UPDATE ph.%I SET by_name = NULL WHERE %I = $1 AND by_name IS NOT NULL', t.table_name, who) USING the_member;
  END LOOP;
  RETURN true;
END $$;
-- +goose StatementEnd
CREATE INDEX fact_of_member ON ph.fact (member_id, studio_id, log_id) WHERE member_id IS NOT NULL;
REVOKE ALL ON FUNCTION ph.disable_member(uuid), ph.erase_member(uuid) FROM PUBLIC;
GRANT EXECUTE ON FUNCTION ph.disable_member(uuid), ph.erase_member(uuid) TO ph_api;

-- +goose StatementBegin
DO $$
DECLARE r record; studio text := 'studio_id = ph.app_studio()'; vendor text := 'vendor_id = ph.app_vendor()';
BEGIN
  FOR r IN SELECT * FROM (VALUES
    ('deputy',           studio,                    studio),
    ('nda_ack',          studio || ' OR ' || vendor, vendor),
    ('reference_pack',   studio || ' OR (' || vendor || ' AND published_at IS NOT NULL)', studio),
    ('reference_file',   studio || ' OR (' || vendor || ' AND published)', studio),
    ('reference_ack',    studio || ' OR ' || vendor, vendor),
    ('set_use',          studio || ' OR ' || vendor, '(studio_id = ph.app_studio() AND side = ''studio'') OR (vendor_id = ph.app_vendor() AND side = ''vendor'')'),
    ('maintenance',      studio || ' OR ' || vendor, studio),
    ('payment_hold',     studio || ' OR ' || vendor, studio),
    ('payment_hold_end', studio || ' OR ' || vendor, studio),
    ('handover',         studio,                    studio),
    ('handover_file',    studio,                    studio),
    ('erasure',          studio || ' OR ' || vendor, studio || ' OR ' || vendor)
  ) AS t (name, reads, inserts) LOOP
    EXECUTE format('ALTER TABLE ph.%I ENABLE ROW LEVEL SECURITY', r.name);
    EXECUTE format('ALTER TABLE ph.%I FORCE ROW LEVEL SECURITY', r.name);
    EXECUTE format('CREATE POLICY %I ON ph.%I TO ph_owner USING (true) WITH CHECK (true)', r.name || '_owner', r.name);
    EXECUTE format('CREATE POLICY %I ON ph.%I FOR SELECT TO ph_api USING (%s)', r.name || '_read', r.name, r.reads);
    EXECUTE format('CREATE POLICY %I ON ph.%I FOR INSERT TO ph_api WITH CHECK (%s)', r.name || '_insert', r.name, r.inserts);
    EXECUTE format('GRANT SELECT, INSERT ON ph.%I TO ph_api', r.name);
    EXECUTE format('GRANT SELECT ON ph.%I TO ph_backup', r.name);
  END LOOP;
END $$;
-- +goose StatementEnd
CREATE POLICY reference_pack_update ON ph.reference_pack FOR UPDATE TO ph_api USING (studio_id = ph.app_studio()) WITH CHECK (studio_id = ph.app_studio());
GRANT UPDATE (published_at) ON ph.reference_pack TO ph_api;
CREATE POLICY reference_file_update ON ph.reference_file FOR UPDATE TO ph_api USING (studio_id = ph.app_studio()) WITH CHECK (studio_id = ph.app_studio());
GRANT UPDATE (published) ON ph.reference_file TO ph_api;
