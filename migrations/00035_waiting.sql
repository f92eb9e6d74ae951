-- A vendor who waits for an answer that holds the work up is not at work: such time is the studio's, on every clock and in every
-- figure, as it already was off the vendor's lateness.
-- Lock: ACCESS EXCLUSIVE on milestone for a moment (a column with a constant default is no rewrite). Cost: milliseconds. Waiting
-- before this version stays where it was counted.

-- +goose Up

ALTER TABLE ph.milestone ADD COLUMN waited_secs bigint DEFAULT 0 NOT NULL;
ALTER TABLE ph.milestone ADD CONSTRAINT milestone_waited_positive CHECK (waited_secs >= 0) NOT VALID;

-- +goose StatementBegin
-- Seconds from a moment till now that the studio's answer to a prop was outstanding without a break; 0 where none is. VOLATILE: called
-- by a trigger that waited for its row, it must see what was committed meanwhile.
CREATE FUNCTION ph.waiting_since(the_studio uuid, the_prop uuid, from_when timestamptz) RETURNS bigint
  LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog AS $$
BEGIN
  RETURN coalesce((SELECT greatest(0, extract(epoch FROM now() - greatest(p.blocked_since, from_when)))::bigint FROM ph.prop p
    WHERE p.studio_id = the_studio AND p.id = the_prop AND p.blocked_since IS NOT NULL), 0);
END $$;

CREATE OR REPLACE FUNCTION ph.milestone_guard() RETURNS trigger LANGUAGE plpgsql SET search_path = pg_catalog AS $$
DECLARE passed bigint;
BEGIN
  IF TG_OP = 'INSERT' THEN
    IF NEW.state <> 'open' OR NEW.last_event IS NOT NULL THEN
      RAISE EXCEPTION 'a milestone begins open' USING ERRCODE = 'check_violation', CONSTRAINT = 'milestone_begins_open';
    END IF;
    NEW.due_sort := coalesce(NEW.due_moved, NEW.due_on, date '9999-12-31'); -- no date sorts last
    RETURN NEW;
  END IF;
  IF NOT EXISTS (SELECT FROM ph.move v WHERE v.machine = 'milestone' AND v.from_state = OLD.state AND v.event = NEW.last_event
                 AND v.to_state = NEW.state AND v.actor = ph.app_actor()) THEN
    RAISE EXCEPTION 'no move % by the % leads from % to %', NEW.last_event, ph.app_actor(), OLD.state, NEW.state
      USING ERRCODE = 'check_violation', CONSTRAINT = 'milestone_move_known';
  END IF;
  passed := greatest(0, extract(epoch FROM now() - OLD.since))::bigint;
  CASE
    WHEN OLD.state IN ('open', 'failed', 'returned') THEN
      NEW.vendor_secs := OLD.vendor_secs + passed;
      NEW.waited_secs := OLD.waited_secs + ph.waiting_since(OLD.studio_id, OLD.prop_id, OLD.since);
    WHEN OLD.state = 'inspecting' THEN NEW.inspector_secs := OLD.inspector_secs + passed;
    ELSE NEW.studio_secs := OLD.studio_secs + passed;
  END CASE;
  IF NEW.state <> 'review' THEN
    NEW.review_due_at := NULL;
  END IF;
  NEW.since := now();
  RETURN NEW;
END $$;

CREATE OR REPLACE FUNCTION ph.question_blocks() RETURNS trigger LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog AS $$
DECLARE
  was integer := 0;
  now_waits integer := (NEW.blocks AND NEW.state = 'asked')::integer;
BEGIN
  IF TG_OP = 'UPDATE' THEN
    was := (OLD.blocks AND OLD.state = 'asked')::integer;
  END IF;
  IF was = now_waits THEN
    RETURN NULL;
  END IF;
  PERFORM FROM ph.prop p WHERE p.studio_id = NEW.studio_id AND p.id = NEW.prop_id FOR NO KEY UPDATE;
  IF was = 1 AND (SELECT p.blocked_by = 1 FROM ph.prop p WHERE p.studio_id = NEW.studio_id AND p.id = NEW.prop_id) THEN -- the last one
    UPDATE ph.milestone m SET waited_secs = m.waited_secs + ph.waiting_since(m.studio_id, m.prop_id, m.since)
    WHERE m.studio_id = NEW.studio_id AND m.prop_id = NEW.prop_id AND m.state IN ('open', 'failed', 'returned');
  END IF;
  UPDATE ph.prop p SET blocked_by = p.blocked_by + now_waits - was,
    blocked_since = CASE WHEN p.blocked_by + now_waits - was = 0 THEN NULL ELSE coalesce(p.blocked_since, now()) END,
    blocked_secs = p.blocked_secs + CASE WHEN p.blocked_by + now_waits - was = 0 THEN greatest(0, extract(epoch FROM now() - p.blocked_since))::bigint ELSE 0 END
  WHERE p.studio_id = NEW.studio_id AND p.id = NEW.prop_id;
  RETURN NULL;
END $$;

CREATE OR REPLACE FUNCTION ph.milestone_counted() RETURNS trigger LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog AS $$
DECLARE the_project uuid; the_tier text; blocked interval; sealed date; due date := coalesce(NEW.due_moved, NEW.due_on); waited bigint := least(NEW.waited_secs, NEW.vendor_secs);
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
    NEW.rework_vendor, NEW.rework_studio, (due IS NOT NULL)::int, coalesce(sealed <= (due + blocked)::date, false)::int,
    NEW.vendor_secs - waited, NEW.studio_secs + waited, NEW.inspector_secs)
  ON CONFLICT (studio_id, month, vendor_id, project_id, tier)
  DO UPDATE SET accepted = d.accepted + 1, first_pass = d.first_pass + excluded.first_pass, rounds = d.rounds + excluded.rounds,
    rework_vendor = d.rework_vendor + excluded.rework_vendor, rework_studio = d.rework_studio + excluded.rework_studio,
    with_due = d.with_due + excluded.with_due, on_time = d.on_time + excluded.on_time, vendor_secs = d.vendor_secs + excluded.vendor_secs,
    studio_secs = d.studio_secs + excluded.studio_secs, inspector_secs = d.inspector_secs + excluded.inspector_secs;
  RETURN NULL;
END $$;
-- +goose StatementEnd
REVOKE ALL ON FUNCTION ph.waiting_since(uuid, uuid, timestamptz) FROM PUBLIC;
GRANT EXECUTE ON FUNCTION ph.waiting_since(uuid, uuid, timestamptz) TO ph_api, ph_worker, ph_clock;
