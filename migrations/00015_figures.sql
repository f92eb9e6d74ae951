-- Figures of checks and milestones by month. By the day they were nearly as many rows as what they count, and adding up a
-- year took longer than a page may.
-- Lock: ACCESS EXCLUSIVE on the two old tables while they are added up and dropped: seconds at a million inspections. The
-- service of the release before fails on its two routes of figures until it is replaced, and on nothing else.
-- Cost: reads both old tables once; a row for each check, vendor, project, tier and month.

-- +goose Up

-- The same findings counted four times: in all, by vendor, by project, by both. NULL is every one. Each question then reads
-- the rows of one of the four: tiers x checks x months x shards.
CREATE TABLE ph.check_count (
  studio_id  uuid NOT NULL,
  vendor_id  uuid,
  project_id uuid,
  tier       text NOT NULL,
  month      date NOT NULL,
  chk        text NOT NULL,
  shard      smallint NOT NULL, -- two inspections recorded at once seldom wait for the same row
  judged     bigint NOT NULL,
  failed     bigint NOT NULL,   -- of them, findings that block and failed
  CONSTRAINT check_count_month_begins CHECK (extract(day FROM month) = 1),
  CONSTRAINT check_count_shard_range CHECK (shard BETWEEN 0 AND 3)
) WITH (fillfactor = 70);
CREATE UNIQUE INDEX check_count_key ON ph.check_count (studio_id, vendor_id, project_id, month, tier, chk, shard) NULLS NOT DISTINCT;
CREATE INDEX check_count_by_vendor ON ph.check_count (vendor_id, project_id, month);

CREATE TABLE ph.milestone_count (
  studio_id      uuid NOT NULL,
  vendor_id      uuid NOT NULL,
  project_id     uuid NOT NULL,
  tier           text NOT NULL,
  month          date NOT NULL,
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
  PRIMARY KEY (studio_id, month, vendor_id, project_id, tier),
  CONSTRAINT milestone_count_month_begins CHECK (extract(day FROM month) = 1)
) WITH (fillfactor = 70);
CREATE INDEX milestone_count_by_vendor ON ph.milestone_count (vendor_id, month);

INSERT INTO ph.check_count (studio_id, vendor_id, project_id, tier, month, chk, shard, judged, failed)
SELECT studio_id, vendor_id, project_id, tier, date_trunc('month', day)::date, chk, 0, sum(judged), sum(failed) FROM ph.daily_check
GROUP BY studio_id, tier, date_trunc('month', day), chk, GROUPING SETS ((), (vendor_id), (project_id), (vendor_id, project_id));

INSERT INTO ph.milestone_count (studio_id, vendor_id, project_id, tier, month, accepted, first_pass, rounds, rework_vendor, rework_studio, with_due, on_time,
  vendor_secs, studio_secs, inspector_secs)
SELECT studio_id, vendor_id, project_id, tier, date_trunc('month', day)::date, sum(accepted), sum(first_pass), sum(rounds), sum(rework_vendor), sum(rework_studio),
  sum(with_due), sum(on_time), sum(vendor_secs), sum(studio_secs), sum(inspector_secs)
FROM ph.daily_milestone GROUP BY studio_id, vendor_id, project_id, tier, date_trunc('month', day);

-- Called in the transaction that records an inspection. Rows are locked in one order.
-- +goose StatementBegin
CREATE OR REPLACE FUNCTION ph.count_checks(the_studio uuid, the_inspection uuid) RETURNS void LANGUAGE sql SECURITY DEFINER SET search_path = pg_catalog AS $$
  INSERT INTO ph.check_count AS d (studio_id, vendor_id, project_id, tier, month, chk, shard, judged, failed)
  SELECT i.studio_id, i.vendor_id, w.project_id, p.tier, date_trunc('month', now() AT TIME ZONE 'UTC')::date, f.chk, abs(hashtext(the_inspection::text) % 4),
         count(*), count(*) FILTER (WHERE f.blocks AND f.outcome = 'fail')
  FROM ph.inspection i
  JOIN ph.work_order w ON w.studio_id = i.studio_id AND w.id = i.work_order_id
  JOIN ph.prop p ON p.studio_id = i.studio_id AND p.id = i.prop_id
  JOIN ph.finding f ON f.studio_id = i.studio_id AND f.inspection_id = i.id
  WHERE i.studio_id = the_studio AND i.id = the_inspection AND f.outcome IN ('pass', 'warn', 'fail')
  GROUP BY i.studio_id, p.tier, f.chk, GROUPING SETS ((), (i.vendor_id), (w.project_id), (i.vendor_id, w.project_id))
  ORDER BY i.vendor_id, w.project_id, f.chk
  ON CONFLICT (studio_id, vendor_id, project_id, month, tier, chk, shard)
  DO UPDATE SET judged = d.judged + excluded.judged, failed = d.failed + excluded.failed
$$;
-- +goose StatementEnd

-- +goose StatementBegin
CREATE OR REPLACE FUNCTION ph.milestone_counted() RETURNS trigger LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog AS $$
DECLARE the_project uuid; the_tier text; blocked interval; sealed date; due date := coalesce(NEW.due_moved, NEW.due_on);
BEGIN
  IF NEW.state <> 'accepted' OR OLD.state = 'accepted' OR NEW.kind = 'maintenance' THEN
    RETURN NULL;
  END IF;
  SELECT w.project_id, p.tier, make_interval(secs => p.blocked_secs) INTO the_project, the_tier, blocked
  FROM ph.prop p JOIN ph.work_order w ON w.studio_id = p.studio_id AND w.id = p.work_order_id WHERE p.studio_id = NEW.studio_id AND p.id = NEW.prop_id;
  SELECT (max(d.sealed_at) AT TIME ZONE 'UTC')::date INTO sealed FROM ph.delivery d WHERE d.studio_id = NEW.studio_id AND d.milestone_id = NEW.id AND d.state = 'sealed';
  INSERT INTO ph.milestone_count AS d (studio_id, vendor_id, project_id, tier, month, accepted, first_pass, rounds, rework_vendor, rework_studio,
    with_due, on_time, vendor_secs, studio_secs, inspector_secs)
  VALUES (NEW.studio_id, NEW.vendor_id, the_project, the_tier, date_trunc('month', now() AT TIME ZONE 'UTC')::date, 1, (NEW.rounds = 1)::int, NEW.rounds,
    NEW.rework_vendor, NEW.rework_studio, (due IS NOT NULL)::int, coalesce(sealed <= (due + blocked)::date, false)::int, NEW.vendor_secs, NEW.studio_secs, NEW.inspector_secs)
  ON CONFLICT (studio_id, month, vendor_id, project_id, tier)
  DO UPDATE SET accepted = d.accepted + 1, first_pass = d.first_pass + excluded.first_pass, rounds = d.rounds + excluded.rounds,
    rework_vendor = d.rework_vendor + excluded.rework_vendor, rework_studio = d.rework_studio + excluded.rework_studio,
    with_due = d.with_due + excluded.with_due, on_time = d.on_time + excluded.on_time, vendor_secs = d.vendor_secs + excluded.vendor_secs,
    studio_secs = d.studio_secs + excluded.studio_secs, inspector_secs = d.inspector_secs + excluded.inspector_secs;
  RETURN NULL;
END $$;
-- +goose StatementEnd

DROP TABLE ph.daily_check, ph.daily_milestone;

-- +goose StatementBegin
DO $$
DECLARE r record;
BEGIN
  FOR r IN SELECT unnest(ARRAY['check_count', 'milestone_count']) AS name LOOP
    EXECUTE format('ALTER TABLE ph.%I ENABLE ROW LEVEL SECURITY', r.name);
    EXECUTE format('ALTER TABLE ph.%I FORCE ROW LEVEL SECURITY', r.name);
    EXECUTE format('CREATE POLICY %I ON ph.%I TO ph_owner USING (true) WITH CHECK (true)', r.name || '_owner', r.name);
    EXECUTE format('CREATE POLICY %I ON ph.%I FOR SELECT TO ph_api USING (studio_id = ph.app_studio() OR vendor_id = ph.app_vendor())', r.name || '_read', r.name);
    EXECUTE format('GRANT SELECT ON ph.%I TO ph_api, ph_backup', r.name);
  END LOOP;
END $$;
-- +goose StatementEnd
