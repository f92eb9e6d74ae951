-- Deliveries with their files, inspections with lease and fence, findings, evidence.
-- Lock: none on existing tables (everything is new). Cost: milliseconds.

-- +goose Up

CREATE TABLE ph.delivery (
  studio_id        uuid NOT NULL,
  vendor_id        uuid NOT NULL,
  work_order_id    uuid NOT NULL,
  prop_id          uuid NOT NULL,
  milestone_id     uuid NOT NULL,
  id               uuid NOT NULL,
  number           integer NOT NULL,
  state            text NOT NULL DEFAULT 'open',
  note             text NOT NULL,
  manifest_sha256  bytea NOT NULL,
  spec_revision_id uuid NOT NULL, -- in force when it was opened; the inspection has the one that judges
  files            integer NOT NULL,
  bytes            bigint NOT NULL,
  opened_by        uuid NOT NULL,
  by_name          text,
  opened_at        timestamptz NOT NULL DEFAULT now(),
  sealing_at       timestamptz,
  sealed_at        timestamptz,
  sealed_by        uuid,
  abandoned_at     timestamptz,
  abandoned_by     uuid,
  PRIMARY KEY (studio_id, id),
  CONSTRAINT delivery_parties UNIQUE (studio_id, vendor_id, work_order_id, prop_id, milestone_id, id),
  CONSTRAINT delivery_of_order UNIQUE (studio_id, vendor_id, work_order_id, id),
  CONSTRAINT delivery_number_key UNIQUE (studio_id, milestone_id, number),
  FOREIGN KEY (studio_id, vendor_id, work_order_id, prop_id, milestone_id) REFERENCES ph.milestone (studio_id, vendor_id, work_order_id, prop_id, id),
  FOREIGN KEY (studio_id, prop_id, spec_revision_id) REFERENCES ph.spec_revision (studio_id, prop_id, id),
  CONSTRAINT delivery_state_known CHECK (state IN ('open', 'sealing', 'sealed', 'abandoned')),
  CONSTRAINT delivery_sealed_has_time CHECK ((state = 'sealed') = (sealed_at IS NOT NULL AND sealed_by IS NOT NULL)),
  CONSTRAINT delivery_abandoned_has_time CHECK ((state = 'abandoned') = (abandoned_at IS NOT NULL)),
  CONSTRAINT delivery_manifest_length CHECK (length(manifest_sha256) = 32),
  CONSTRAINT delivery_note_length CHECK (char_length(note) <= 4000)
);
-- One delivery at a time is under way for a milestone.
CREATE UNIQUE INDEX delivery_under_way_key ON ph.delivery (studio_id, milestone_id) WHERE state IN ('open', 'sealing');
CREATE INDEX delivery_by_vendor ON ph.delivery (vendor_id, id);
CREATE INDEX delivery_by_order ON ph.delivery (studio_id, work_order_id, id);
CREATE INDEX delivery_by_prop ON ph.delivery (studio_id, prop_id, id);

-- open -> sealing -> sealed or back to open; open -> abandoned. Nothing else of a delivery ever changes.
-- +goose StatementBegin
CREATE FUNCTION ph.delivery_guard() RETURNS trigger LANGUAGE plpgsql SET search_path = pg_catalog AS $$
BEGIN
  IF TG_OP = 'INSERT' THEN
    IF NEW.state <> 'open' THEN
      RAISE EXCEPTION 'a delivery begins open' USING ERRCODE = 'check_violation', CONSTRAINT = 'delivery_begins_open';
    END IF;
    RETURN NEW;
  END IF;
  IF (OLD.state, NEW.state) NOT IN (('open', 'sealing'), ('sealing', 'sealed'), ('sealing', 'open'), ('open', 'abandoned')) THEN
    RAISE EXCEPTION 'a delivery does not go from % to %', OLD.state, NEW.state
      USING ERRCODE = 'check_violation', CONSTRAINT = 'delivery_move_known';
  END IF;
  RETURN NEW;
END $$;
-- +goose StatementEnd
CREATE TRIGGER delivery_guard BEFORE INSERT OR UPDATE OF state ON ph.delivery
  FOR EACH ROW EXECUTE FUNCTION ph.delivery_guard();

CREATE TABLE ph.file (
  studio_id     uuid NOT NULL,
  vendor_id     uuid NOT NULL,
  work_order_id uuid NOT NULL,
  delivery_id   uuid NOT NULL,
  id            uuid NOT NULL,
  ord           integer NOT NULL,
  path          text NOT NULL,
  role          text NOT NULL,
  size          bigint NOT NULL,
  sha256        bytea NOT NULL,
  media_type    text NOT NULL,
  object_key    text NOT NULL,
  part_size     bigint NOT NULL,
  upload_id     text,
  etag          text,
  version_id    text,
  PRIMARY KEY (studio_id, id),
  CONSTRAINT file_ord_key UNIQUE (studio_id, delivery_id, ord),
  CONSTRAINT file_parties UNIQUE (studio_id, vendor_id, id),
  FOREIGN KEY (studio_id, vendor_id, work_order_id, delivery_id) REFERENCES ph.delivery (studio_id, vendor_id, work_order_id, id),
  CONSTRAINT file_size_range CHECK (size >= 0),
  CONSTRAINT file_sha256_length CHECK (length(sha256) = 32),
  CONSTRAINT file_path_form CHECK (char_length(path) BETWEEN 1 AND 1024 AND path !~ '(^/|\\|(^|/)\.\.?(/|$)|//|[[:cntrl:]])'),
  CONSTRAINT file_role_form CHECK (role ~ '^[a-z][a-z0-9_.@-]{0,63}$'),
  CONSTRAINT file_part_size_range CHECK (part_size >= 0)
);
-- Two paths that differ only in case are one file on some disks.
CREATE UNIQUE INDEX file_path_key ON ph.file (studio_id, delivery_id, lower(path));

CREATE TABLE ph.file_part (
  studio_id uuid NOT NULL,
  vendor_id uuid NOT NULL,
  file_id   uuid NOT NULL,
  number    integer NOT NULL,
  size      bigint NOT NULL,
  sha256    bytea NOT NULL,
  etag      text,
  PRIMARY KEY (studio_id, file_id, number),
  FOREIGN KEY (studio_id, vendor_id, file_id) REFERENCES ph.file (studio_id, vendor_id, id),
  CONSTRAINT file_part_number_range CHECK (number BETWEEN 1 AND 10000), -- S3's limit on parts
  CONSTRAINT file_part_sha256_length CHECK (length(sha256) = 32)
);

-- A sealed delivery's files never change.
-- +goose StatementBegin
CREATE FUNCTION ph.file_guard() RETURNS trigger LANGUAGE plpgsql SET search_path = pg_catalog AS $$
DECLARE delivery_state text;
BEGIN
  SELECT d.state INTO delivery_state FROM ph.delivery d WHERE d.studio_id = OLD.studio_id AND d.id = OLD.delivery_id;
  IF delivery_state NOT IN ('open', 'sealing') THEN
    RAISE EXCEPTION 'files of a % delivery do not change', delivery_state
      USING ERRCODE = 'check_violation', CONSTRAINT = 'file_frozen';
  END IF;
  RETURN coalesce(NEW, OLD);
END $$;
-- +goose StatementEnd
CREATE TRIGGER file_guard BEFORE UPDATE OR DELETE ON ph.file FOR EACH ROW EXECUTE FUNCTION ph.file_guard();

CREATE TABLE ph.inspection (
  studio_id        uuid NOT NULL,
  vendor_id        uuid NOT NULL,
  work_order_id    uuid NOT NULL,
  prop_id          uuid NOT NULL,
  milestone_id     uuid NOT NULL,
  delivery_id      uuid NOT NULL,
  id               uuid NOT NULL,
  spec_revision_id uuid NOT NULL,
  spec_number      integer NOT NULL,
  reason           text NOT NULL, -- why it runs: '' after a seal, else what the studio wrote
  requested_by     uuid,
  by_name          text,
  state            text NOT NULL DEFAULT 'queued',
  lease_owner      text,
  lease_until      timestamptz,
  fence            bigint NOT NULL DEFAULT 0,
  attempts         integer NOT NULL DEFAULT 0,
  queued_at        timestamptz NOT NULL DEFAULT now(),
  started_at       timestamptz,
  finished_at      timestamptz,
  engine           text,
  engine_digest    text,
  verdict          text,
  headline         text,
  cause            text,
  evidence_sha256  bytea,
  findings_sha256  bytea,
  findings         integer,
  issues           integer,
  current          boolean NOT NULL DEFAULT false,
  PRIMARY KEY (studio_id, id),
  CONSTRAINT inspection_parties UNIQUE (studio_id, vendor_id, id),
  FOREIGN KEY (studio_id, vendor_id, work_order_id, prop_id, milestone_id, delivery_id)
    REFERENCES ph.delivery (studio_id, vendor_id, work_order_id, prop_id, milestone_id, id),
  FOREIGN KEY (studio_id, prop_id, spec_revision_id) REFERENCES ph.spec_revision (studio_id, prop_id, id),
  CONSTRAINT inspection_state_known CHECK (state IN ('queued', 'running', 'done')),
  CONSTRAINT inspection_running_has_lease CHECK ((state = 'running') = (lease_owner IS NOT NULL AND lease_until IS NOT NULL)),
  CONSTRAINT inspection_done_has_result CHECK ((state = 'done') =
    (verdict IS NOT NULL AND finished_at IS NOT NULL AND findings_sha256 IS NOT NULL AND findings IS NOT NULL AND issues IS NOT NULL)),
  CONSTRAINT inspection_verdict_known CHECK (verdict IN ('pass', 'fail', 'not_evaluated')),
  CONSTRAINT inspection_clear_has_evidence CHECK (verdict IS NULL OR verdict = 'not_evaluated' OR length(evidence_sha256) = 32),
  CONSTRAINT inspection_pass_has_no_issues CHECK (verdict <> 'pass' OR issues = 0),
  CONSTRAINT inspection_current_is_done CHECK (NOT current OR state = 'done')
);
CREATE UNIQUE INDEX inspection_current_key ON ph.inspection (studio_id, delivery_id) WHERE current;
CREATE UNIQUE INDEX inspection_under_way_key ON ph.inspection (studio_id, delivery_id) WHERE state <> 'done';
CREATE INDEX inspection_of_delivery ON ph.inspection (studio_id, delivery_id, id);
CREATE INDEX inspection_waiting ON ph.inspection (vendor_id, queued_at, id) WHERE state = 'queued';
CREATE INDEX inspection_running ON ph.inspection (vendor_id) WHERE state = 'running';
CREATE INDEX inspection_leases ON ph.inspection (lease_until) WHERE state = 'running';

CREATE INDEX inspection_by_vendor ON ph.inspection (vendor_id, id);
CREATE INDEX inspection_by_id ON ph.inspection (id); -- the inspector knows no party

-- An inspection begins queued, and its result never changes; only which one is current does.
-- +goose StatementBegin
CREATE FUNCTION ph.inspection_guard() RETURNS trigger LANGUAGE plpgsql SET search_path = pg_catalog AS $$
BEGIN
  IF TG_OP = 'INSERT' THEN
    IF NEW.state <> 'queued' OR NEW.fence <> 0 OR NEW.attempts <> 0 THEN
      RAISE EXCEPTION 'an inspection begins queued' USING ERRCODE = 'check_violation', CONSTRAINT = 'inspection_begins_queued';
    END IF;
    RETURN NEW;
  END IF;
  IF NEW.fence < OLD.fence THEN
    RAISE EXCEPTION 'a fence only grows' USING ERRCODE = 'check_violation', CONSTRAINT = 'inspection_fence_grows';
  END IF;
  IF OLD.state = 'done' AND
     (to_jsonb(NEW) - 'current' - 'by_name') IS DISTINCT FROM (to_jsonb(OLD) - 'current' - 'by_name') THEN
    RAISE EXCEPTION 'a recorded inspection does not change' USING ERRCODE = 'check_violation', CONSTRAINT = 'inspection_recorded_once';
  END IF;
  RETURN NEW;
END $$;
-- +goose StatementEnd
CREATE TRIGGER inspection_guard BEFORE INSERT OR UPDATE ON ph.inspection
  FOR EACH ROW EXECUTE FUNCTION ph.inspection_guard();

-- Narrow rows: 50 million of them are meant to fit. Places, metrics and words are in evidence.json. Range-partitioned by
-- the inspection's UUIDv7, whose first 48 bits are its time in milliseconds (RFC 9562, section 5.7).
CREATE TABLE ph.finding (
  studio_id     uuid NOT NULL,
  vendor_id     uuid NOT NULL,
  inspection_id uuid NOT NULL,
  ord           integer NOT NULL,
  chk           text NOT NULL,
  part          text NOT NULL,
  set_name      text NOT NULL,
  lod           smallint,
  tile          integer,
  pose          text NOT NULL,
  file          text NOT NULL,
  outcome       text NOT NULL,
  blocks        boolean NOT NULL,
  follows_from  text NOT NULL,
  measured      double precision,
  unit          text NOT NULL,
  limit_key     text NOT NULL,
  limit_value   double precision,
  PRIMARY KEY (inspection_id, ord),
  FOREIGN KEY (studio_id, vendor_id, inspection_id) REFERENCES ph.inspection (studio_id, vendor_id, id),
  CONSTRAINT finding_outcome_known CHECK (outcome IN ('pass', 'warn', 'fail', 'not_evaluated', 'not_applicable')),
  CONSTRAINT finding_ord_range CHECK (ord >= 0)
) PARTITION BY RANGE (inspection_id);
CREATE INDEX finding_failing ON ph.finding (vendor_id, chk, inspection_id) WHERE outcome <> 'pass';

-- The smallest UUIDv7 of an instant.
CREATE FUNCTION ph.uuid_at(at timestamptz) RETURNS uuid LANGUAGE sql IMMUTABLE PARALLEL SAFE SET search_path = pg_catalog
  AS $$ SELECT (lpad(to_hex((extract(epoch FROM at) * 1000)::bigint), 12, '0') || '00000000000000000000')::uuid $$;

-- Makes the half-year partitions of ph.finding that cover [from_year, to_year]; run again each year by the owner. A row
-- outside them goes to the default partition, so a forgotten run loses nothing.
-- +goose StatementBegin
CREATE FUNCTION ph.make_finding_partitions(from_year integer, to_year integer) RETURNS void LANGUAGE plpgsql SET search_path = pg_catalog AS $$
DECLARE y integer; h integer; part text; lower_id uuid; upper_id uuid;
BEGIN
  FOR y IN from_year..to_year LOOP
    FOR h IN 1..2 LOOP
      part := format('finding_%s_h%s', y, h);
      lower_id := ph.uuid_at(make_timestamptz(y, 1 + 6 * (h - 1), 1, 0, 0, 0, 'UTC'));
      upper_id := ph.uuid_at(make_timestamptz(y + h - 1, CASE h WHEN 1 THEN 7 ELSE 1 END, 1, 0, 0, 0, 'UTC'));
      IF to_regclass('ph.' || part) IS NULL THEN
        EXECUTE format('CREATE TABLE ph.%I PARTITION OF ph.finding FOR VALUES FROM (%L) TO (%L)', part, lower_id, upper_id);
        EXECUTE format('ALTER TABLE ph.%I ENABLE ROW LEVEL SECURITY', part); -- no policy: only reached through ph.finding
        EXECUTE format('ALTER TABLE ph.%I FORCE ROW LEVEL SECURITY', part);
      END IF;
    END LOOP;
  END LOOP;
END $$;
-- +goose StatementEnd
CREATE TABLE ph.finding_rest PARTITION OF ph.finding DEFAULT;
ALTER TABLE ph.finding_rest ENABLE ROW LEVEL SECURITY;
ALTER TABLE ph.finding_rest FORCE ROW LEVEL SECURITY;
SELECT ph.make_finding_partitions(2026, 2029);

CREATE TABLE ph.evidence (
  studio_id     uuid NOT NULL,
  vendor_id     uuid NOT NULL,
  work_order_id uuid NOT NULL,
  inspection_id uuid NOT NULL,
  name          text NOT NULL,
  what          text NOT NULL,
  object_key    text NOT NULL,
  sha256        bytea NOT NULL,
  size          bigint NOT NULL,
  media_type    text NOT NULL,
  PRIMARY KEY (studio_id, inspection_id, name),
  FOREIGN KEY (studio_id, vendor_id, inspection_id) REFERENCES ph.inspection (studio_id, vendor_id, id),
  CONSTRAINT evidence_sha256_length CHECK (length(sha256) = 32),
  CONSTRAINT evidence_size_range CHECK (size >= 0)
);
