-- Whose turn it is at the inspectors, one id from request to verdict, the oldest program that may run, how long delivered
-- bytes are kept, what is stored for each prop, and objects that nobody speaks of.
-- Lock: ACCESS EXCLUSIVE on inspection for a moment (a column without a default; its check is NOT VALID), SHARE ROW EXCLUSIVE on
-- delivery and evidence for a moment (triggers). Cost: one pass over delivery and evidence to add up what is stored, about
-- 2 s for 1,000,000 rows, during which nothing can be sealed or recorded; no rewrite, no index on an old table.

-- +goose Up

-- Expand, then contract: a program serves every schema that is newer than its own until a migration takes away something
-- that it needs. Such a migration replaces this function and says the version of the oldest program that still fits: 15
-- dropped two tables.
CREATE FUNCTION ph.oldest_program() RETURNS integer LANGUAGE sql IMMUTABLE SET search_path = pg_catalog AS $$ SELECT 15 $$;
GRANT EXECUTE ON FUNCTION ph.oldest_program() TO ph_api, ph_login, ph_worker, ph_notary, ph_clock;

-- When each vendor last had an inspection begun: of those with equally few running, the one that waited longest for a turn
-- comes first. Without it one slot would serve a vendor's 500 old deliveries before another's single new one.
CREATE TABLE ph.turn (
  vendor_id uuid PRIMARY KEY,
  served_at timestamptz NOT NULL
);
ALTER TABLE ph.turn ENABLE ROW LEVEL SECURITY;
ALTER TABLE ph.turn FORCE ROW LEVEL SECURITY;
CREATE POLICY turn_owner ON ph.turn TO ph_owner USING (true) WITH CHECK (true);
CREATE POLICY turn_worker ON ph.turn TO ph_worker USING (true) WITH CHECK (true);
GRANT SELECT, INSERT, UPDATE ON ph.turn TO ph_worker;
GRANT SELECT ON ph.turn TO ph_backup;

-- The id of the request that asked for an inspection (a W3C trace id): for the operator, no evidence.
ALTER TABLE ph.inspection ADD COLUMN trace text;
ALTER TABLE ph.inspection ADD CONSTRAINT inspection_trace_form CHECK (trace ~ '^[0-9a-f]{32}$') NOT VALID;
GRANT SELECT (trace) ON ph.inspection TO ph_worker;

-- How long the bytes of superseded deliveries of an order are kept; the newest row counts. Without a row they are kept.
CREATE TABLE ph.retention (
  studio_id       uuid NOT NULL,
  vendor_id       uuid NOT NULL,
  work_order_id   uuid NOT NULL,
  id              uuid NOT NULL,
  superseded_days integer,          -- NULL: for ever
  legal_hold      boolean NOT NULL, -- nothing is deleted while it stands
  reason          text NOT NULL,
  by_member       uuid NOT NULL,
  by_name         text,
  at              timestamptz NOT NULL DEFAULT now(),
  PRIMARY KEY (studio_id, id),
  CONSTRAINT retention_of_order UNIQUE (studio_id, vendor_id, work_order_id, id),
  FOREIGN KEY (studio_id, work_order_id) REFERENCES ph.work_order (studio_id, id),
  CONSTRAINT retention_days_range CHECK (superseded_days BETWEEN 0 AND 36500),
  CONSTRAINT retention_reason_length CHECK (char_length(reason) <= 1000)
);
CREATE INDEX retention_newest ON ph.retention (studio_id, work_order_id, id DESC);

-- Bytes of a sealed delivery that were deleted by that rule. Digests, findings, evidence and verdict stay.
CREATE TABLE ph.removal (
  studio_id     uuid NOT NULL,
  vendor_id     uuid NOT NULL,
  work_order_id uuid NOT NULL,
  delivery_id   uuid NOT NULL,
  id            uuid NOT NULL,
  retention_id  uuid NOT NULL,
  files         integer NOT NULL,
  bytes         bigint NOT NULL,
  at            timestamptz NOT NULL DEFAULT now(),
  cleared_at    timestamptz, -- when storage had let go of all of them
  PRIMARY KEY (studio_id, id),
  CONSTRAINT removal_parties UNIQUE (studio_id, vendor_id, work_order_id, id),
  CONSTRAINT removal_once UNIQUE (studio_id, delivery_id),
  FOREIGN KEY (studio_id, vendor_id, work_order_id, delivery_id) REFERENCES ph.delivery (studio_id, vendor_id, work_order_id, id),
  FOREIGN KEY (studio_id, vendor_id, work_order_id, retention_id) REFERENCES ph.retention (studio_id, vendor_id, work_order_id, id)
);
CREATE INDEX removal_of_order ON ph.removal (studio_id, work_order_id, id);
CREATE INDEX removal_to_clear ON ph.removal (id) WHERE cleared_at IS NULL;

CREATE TABLE ph.removal_file (
  studio_id     uuid NOT NULL,
  vendor_id     uuid NOT NULL,
  work_order_id uuid NOT NULL,
  removal_id    uuid NOT NULL,
  file_id       uuid NOT NULL,
  PRIMARY KEY (studio_id, file_id),
  FOREIGN KEY (studio_id, vendor_id, work_order_id, removal_id) REFERENCES ph.removal (studio_id, vendor_id, work_order_id, id),
  FOREIGN KEY (studio_id, vendor_id, file_id) REFERENCES ph.file (studio_id, vendor_id, id)
);
CREATE INDEX removal_file_of ON ph.removal_file (studio_id, removal_id);

-- +goose StatementBegin
DO $$
DECLARE r record; studio text := 'studio_id = (SELECT ph.app_studio())'; either text := 'studio_id = (SELECT ph.app_studio()) OR vendor_id = (SELECT ph.app_vendor())';
BEGIN
  FOR r IN SELECT * FROM (VALUES ('retention', studio), ('removal', NULL), ('removal_file', NULL)) AS t (name, inserts) LOOP
    EXECUTE format('ALTER TABLE ph.%I ENABLE ROW LEVEL SECURITY', r.name);
    EXECUTE format('ALTER TABLE ph.%I FORCE ROW LEVEL SECURITY', r.name);
    EXECUTE format('CREATE POLICY %I ON ph.%I TO ph_owner USING (true) WITH CHECK (true)', r.name || '_owner', r.name);
    EXECUTE format('CREATE POLICY %I ON ph.%I FOR SELECT TO ph_api USING (%s)', r.name || '_read', r.name, either);
    EXECUTE format('CREATE POLICY %I ON ph.%I TO ph_clock USING (true) WITH CHECK (true)', r.name || '_clock', r.name);
    EXECUTE format('GRANT SELECT ON ph.%I TO ph_api, ph_clock, ph_backup', r.name);
    IF r.inserts IS NOT NULL THEN
      EXECUTE format('CREATE POLICY %I ON ph.%I FOR INSERT TO ph_api WITH CHECK (%s)', r.name || '_insert', r.name, r.inserts);
      EXECUTE format('GRANT INSERT ON ph.%I TO ph_api', r.name);
    END IF;
  END LOOP;
  -- What the clock looks at to know whether anything speaks of an object.
  FOR r IN SELECT unnest(ARRAY['evidence', 'reference_file']) AS name LOOP
    EXECUTE format('CREATE POLICY %I ON ph.%I FOR SELECT TO ph_clock USING (true)', r.name || '_clock', r.name);
  END LOOP;
END $$;
-- +goose StatementEnd
GRANT INSERT ON ph.removal, ph.removal_file TO ph_clock;
GRANT UPDATE (cleared_at) ON ph.removal TO ph_clock;
GRANT SELECT (studio_id, work_order_id, inspection_id, object_key, size) ON ph.evidence TO ph_clock;
GRANT SELECT (studio_id, work_order_id, object_key) ON ph.reference_file TO ph_clock;

-- What each prop's deliveries and evidence take in storage, kept by triggers; in no log. Equal pieces of evidence of one order
-- are stored once and counted each time.
CREATE TABLE ph.stored (
  studio_id       uuid NOT NULL,
  vendor_id       uuid NOT NULL,
  work_order_id   uuid NOT NULL,
  prop_id         uuid NOT NULL,
  delivered_bytes bigint NOT NULL DEFAULT 0, -- of sealed deliveries
  removed_bytes   bigint NOT NULL DEFAULT 0, -- of them, deleted since
  evidence_bytes  bigint NOT NULL DEFAULT 0,
  PRIMARY KEY (studio_id, work_order_id, prop_id)
);
CREATE INDEX stored_of_vendor ON ph.stored (vendor_id, work_order_id);
ALTER TABLE ph.stored ENABLE ROW LEVEL SECURITY;
ALTER TABLE ph.stored FORCE ROW LEVEL SECURITY;
CREATE POLICY stored_owner ON ph.stored TO ph_owner USING (true) WITH CHECK (true);
CREATE POLICY stored_read ON ph.stored FOR SELECT TO ph_api USING (studio_id = (SELECT ph.app_studio()) OR vendor_id = (SELECT ph.app_vendor()));
GRANT SELECT ON ph.stored TO ph_api, ph_backup;

-- +goose StatementBegin
CREATE FUNCTION ph.count_sealed() RETURNS trigger LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog AS $$
BEGIN
  INSERT INTO ph.stored AS s (studio_id, vendor_id, work_order_id, prop_id, delivered_bytes)
  VALUES (NEW.studio_id, NEW.vendor_id, NEW.work_order_id, NEW.prop_id, NEW.bytes)
  ON CONFLICT (studio_id, work_order_id, prop_id) DO UPDATE SET delivered_bytes = s.delivered_bytes + excluded.delivered_bytes;
  RETURN NULL;
END $$;
CREATE FUNCTION ph.count_removed() RETURNS trigger LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog AS $$
BEGIN
  UPDATE ph.stored s SET removed_bytes = s.removed_bytes + NEW.bytes
  FROM ph.delivery d WHERE d.studio_id = NEW.studio_id AND d.id = NEW.delivery_id
    AND s.studio_id = d.studio_id AND s.work_order_id = d.work_order_id AND s.prop_id = d.prop_id;
  RETURN NULL;
END $$;
CREATE FUNCTION ph.count_evidence() RETURNS trigger LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog AS $$
BEGIN
  INSERT INTO ph.stored AS s (studio_id, vendor_id, work_order_id, prop_id, evidence_bytes)
  SELECT i.studio_id, i.vendor_id, i.work_order_id, i.prop_id, sum(n.size) FROM added n
  JOIN ph.inspection i ON i.studio_id = n.studio_id AND i.id = n.inspection_id
  GROUP BY i.studio_id, i.vendor_id, i.work_order_id, i.prop_id
  ON CONFLICT (studio_id, work_order_id, prop_id) DO UPDATE SET evidence_bytes = s.evidence_bytes + excluded.evidence_bytes;
  RETURN NULL;
END $$;
-- +goose StatementEnd
REVOKE ALL ON FUNCTION ph.count_sealed(), ph.count_removed(), ph.count_evidence() FROM PUBLIC;
CREATE TRIGGER count_sealed AFTER UPDATE OF state ON ph.delivery FOR EACH ROW
  WHEN (OLD.state <> 'sealed' AND NEW.state = 'sealed') EXECUTE FUNCTION ph.count_sealed();
CREATE TRIGGER count_evidence AFTER INSERT ON ph.evidence REFERENCING NEW TABLE AS added
  FOR EACH STATEMENT EXECUTE FUNCTION ph.count_evidence();
CREATE TRIGGER count_removed AFTER INSERT ON ph.removal FOR EACH ROW EXECUTE FUNCTION ph.count_removed();
INSERT INTO ph.stored (studio_id, vendor_id, work_order_id, prop_id, delivered_bytes, evidence_bytes)
SELECT studio_id, vendor_id, work_order_id, prop_id, sum(delivered), sum(evidence) FROM (
  SELECT d.studio_id, d.vendor_id, d.work_order_id, d.prop_id, d.bytes AS delivered, 0::bigint AS evidence FROM ph.delivery d WHERE d.state = 'sealed'
  UNION ALL SELECT i.studio_id, i.vendor_id, i.work_order_id, i.prop_id, 0, e.size
  FROM ph.evidence e JOIN ph.inspection i ON i.studio_id = e.studio_id AND i.id = e.inspection_id) t
GROUP BY studio_id, vendor_id, work_order_id, prop_id;

-- Objects that were seen in storage with nothing in the record that speaks of them: marked, waited for, swept.
CREATE TABLE ph.orphan (
  object_key text PRIMARY KEY,
  size       bigint NOT NULL,
  marked_at  timestamptz NOT NULL DEFAULT now(),
  seen_at    timestamptz NOT NULL DEFAULT now(), -- when it was last found still there and still unspoken of
  swept_at   timestamptz
);
CREATE INDEX orphan_to_sweep ON ph.orphan (marked_at) WHERE swept_at IS NULL;
ALTER TABLE ph.orphan ENABLE ROW LEVEL SECURITY;
ALTER TABLE ph.orphan FORCE ROW LEVEL SECURITY;
CREATE POLICY orphan_owner ON ph.orphan TO ph_owner USING (true) WITH CHECK (true);
CREATE POLICY orphan_clock ON ph.orphan TO ph_clock USING (true) WITH CHECK (true);
GRANT SELECT, INSERT, UPDATE ON ph.orphan TO ph_clock;
GRANT SELECT ON ph.orphan TO ph_backup;
