-- Figures added up day by day in the transactions that make them, never by a scan.
-- Lock: SHARE ROW EXCLUSIVE on milestone for a moment (a trigger). Cost: milliseconds; what happened before this migration is
-- not counted.

-- +goose Up

-- One row per day and kind, in eight shards, so that two transactions seldom wait for the same row.
CREATE TABLE ph.daily_check (
  studio_id  uuid NOT NULL,
  vendor_id  uuid NOT NULL,
  project_id uuid NOT NULL,
  tier       text NOT NULL,
  chk        text NOT NULL,
  day        date NOT NULL,
  shard      smallint NOT NULL,
  judged     bigint NOT NULL,
  failed     bigint NOT NULL, -- of them, findings that block and failed
  PRIMARY KEY (studio_id, day, vendor_id, project_id, tier, chk, shard),
  CONSTRAINT daily_check_shard_range CHECK (shard BETWEEN 0 AND 7)
);
CREATE INDEX daily_check_by_vendor ON ph.daily_check (vendor_id, day);

CREATE TABLE ph.daily_milestone (
  studio_id      uuid NOT NULL,
  vendor_id      uuid NOT NULL,
  project_id     uuid NOT NULL,
  tier           text NOT NULL,
  day            date NOT NULL,
  shard          smallint NOT NULL,
  accepted       bigint NOT NULL,
  first_pass     bigint NOT NULL, -- accepted with the first delivery
  rounds         bigint NOT NULL,
  rework_vendor  bigint NOT NULL,
  rework_studio  bigint NOT NULL,
  with_due       bigint NOT NULL,
  on_time        bigint NOT NULL, -- the accepted delivery was sealed by its day, the time of the studio's answers added
  vendor_secs    bigint NOT NULL,
  studio_secs    bigint NOT NULL,
  inspector_secs bigint NOT NULL,
  PRIMARY KEY (studio_id, day, vendor_id, project_id, tier, shard),
  CONSTRAINT daily_milestone_shard_range CHECK (shard BETWEEN 0 AND 7)
);
CREATE INDEX daily_milestone_by_vendor ON ph.daily_milestone (vendor_id, day);

-- Called in the transaction that records an inspection.
-- +goose StatementBegin
CREATE FUNCTION ph.count_checks(the_studio uuid, the_inspection uuid) RETURNS void LANGUAGE sql SECURITY DEFINER SET search_path = pg_catalog AS $$
  INSERT INTO ph.daily_check AS d (studio_id, vendor_id, project_id, tier, chk, day, shard, judged, failed)
  SELECT i.studio_id, i.vendor_id, w.project_id, p.tier, f.chk, (now() AT TIME ZONE 'UTC')::date, abs(hashtext(the_inspection::text)) % 8,
         count(*), count(*) FILTER (WHERE f.blocks AND f.outcome = 'fail')
  FROM ph.inspection i
  JOIN ph.work_order w ON w.studio_id = i.studio_id AND w.id = i.work_order_id
  JOIN ph.prop p ON p.studio_id = i.studio_id AND p.id = i.prop_id
  JOIN ph.finding f ON f.studio_id = i.studio_id AND f.inspection_id = i.id
  WHERE i.studio_id = the_studio AND i.id = the_inspection AND f.outcome IN ('pass', 'warn', 'fail')
  GROUP BY i.studio_id, i.vendor_id, w.project_id, p.tier, f.chk
  ON CONFLICT (studio_id, day, vendor_id, project_id, tier, chk, shard)
  DO UPDATE SET judged = d.judged + excluded.judged, failed = d.failed + excluded.failed
$$;
-- +goose StatementEnd

-- +goose StatementBegin
CREATE FUNCTION ph.milestone_counted() RETURNS trigger LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog AS $$
DECLARE the_project uuid; the_tier text; blocked interval; sealed date; due date := coalesce(NEW.due_moved, NEW.due_on);
BEGIN
  IF NEW.state <> 'accepted' OR OLD.state = 'accepted' OR NEW.kind = 'maintenance' THEN
    RETURN NULL;
  END IF;
  SELECT w.project_id, p.tier, make_interval(secs => p.blocked_secs) INTO the_project, the_tier, blocked
  FROM ph.prop p JOIN ph.work_order w ON w.studio_id = p.studio_id AND w.id = p.work_order_id WHERE p.studio_id = NEW.studio_id AND p.id = NEW.prop_id;
  SELECT (max(d.sealed_at) AT TIME ZONE 'UTC')::date INTO sealed FROM ph.delivery d WHERE d.studio_id = NEW.studio_id AND d.milestone_id = NEW.id AND d.state = 'sealed';
  INSERT INTO ph.daily_milestone AS d (studio_id, vendor_id, project_id, tier, day, shard, accepted, first_pass, rounds, rework_vendor, rework_studio,
    with_due, on_time, vendor_secs, studio_secs, inspector_secs)
  VALUES (NEW.studio_id, NEW.vendor_id, the_project, the_tier, (now() AT TIME ZONE 'UTC')::date, abs(hashtext(NEW.id::text)) % 8, 1, (NEW.rounds = 1)::int, NEW.rounds,
    NEW.rework_vendor, NEW.rework_studio, (due IS NOT NULL)::int, coalesce(sealed <= (due + blocked)::date, false)::int, NEW.vendor_secs, NEW.studio_secs, NEW.inspector_secs)
  ON CONFLICT (studio_id, day, vendor_id, project_id, tier, shard)
  DO UPDATE SET accepted = d.accepted + 1, first_pass = d.first_pass + excluded.first_pass, rounds = d.rounds + excluded.rounds,
    rework_vendor = d.rework_vendor + excluded.rework_vendor, rework_studio = d.rework_studio + excluded.rework_studio,
    with_due = d.with_due + excluded.with_due, on_time = d.on_time + excluded.on_time, vendor_secs = d.vendor_secs + excluded.vendor_secs,
    studio_secs = d.studio_secs + excluded.studio_secs, inspector_secs = d.inspector_secs + excluded.inspector_secs;
  RETURN NULL;
END $$;
-- +goose StatementEnd
CREATE TRIGGER milestone_counted AFTER UPDATE OF state ON ph.milestone FOR EACH ROW EXECUTE FUNCTION ph.milestone_counted();

-- +goose StatementBegin
DO $$
DECLARE r record;
BEGIN
  FOR r IN SELECT unnest(ARRAY['daily_check', 'daily_milestone']) AS name LOOP
    EXECUTE format('ALTER TABLE ph.%I ENABLE ROW LEVEL SECURITY', r.name);
    EXECUTE format('ALTER TABLE ph.%I FORCE ROW LEVEL SECURITY', r.name);
    EXECUTE format('CREATE POLICY %I ON ph.%I TO ph_owner USING (true) WITH CHECK (true)', r.name || '_owner', r.name);
    EXECUTE format('CREATE POLICY %I ON ph.%I FOR SELECT TO ph_api USING (studio_id = ph.app_studio() OR vendor_id = ph.app_vendor())', r.name || '_read', r.name);
    EXECUTE format('GRANT SELECT ON ph.%I TO ph_api, ph_backup', r.name);
  END LOOP;
END $$;
-- +goose StatementEnd
REVOKE ALL ON FUNCTION ph.count_checks(uuid, uuid) FROM PUBLIC;
GRANT EXECUTE ON FUNCTION ph.count_checks(uuid, uuid) TO ph_worker;
