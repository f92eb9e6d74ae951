-- Made by the migrations, for reading and for comparing. Not run by anything.

CREATE SCHEMA ph;

ALTER SCHEMA ph OWNER TO ph_owner;

CREATE FUNCTION ph.accept_invitation(the_hash bytea, new_id uuid, the_name text, the_password_hash text) RETURNS TABLE(party_id uuid, party_name text, side text, member_id uuid, name text, roles text[])
    LANGUAGE plpgsql SECURITY DEFINER
    SET search_path TO 'pg_catalog'
    AS $$
#variable_conflict use_column
DECLARE inv ph.invitation%ROWTYPE;
BEGIN
  SELECT i.* INTO inv FROM ph.invitation i
  WHERE i.secret_hash = the_hash AND i.accepted_at IS NULL AND i.expires_at > now() FOR UPDATE;
  IF NOT FOUND THEN RETURN; END IF;
  IF inv.engaged_by IS NOT NULL THEN
    PERFORM 1 FROM ph.party p WHERE p.id = inv.party_id FOR UPDATE; -- two first members at once
    IF EXISTS (SELECT FROM ph.member m WHERE m.party_id = inv.party_id) THEN RETURN; END IF;
  END IF;
  UPDATE ph.invitation i SET accepted_at = now() WHERE i.party_id = inv.party_id AND i.id = inv.id;
  INSERT INTO ph.member (party_id, id, side, name, email, password_hash, roles)
  VALUES (inv.party_id, new_id, inv.side, the_name, inv.email, the_password_hash, inv.roles);
  RETURN QUERY SELECT m.party_id, p.name, m.side, m.id, m.name, m.roles
  FROM ph.member m JOIN ph.party p ON p.id = m.party_id
  WHERE m.party_id = inv.party_id AND m.id = new_id;
END $$;

ALTER FUNCTION ph.accept_invitation(the_hash bytea, new_id uuid, the_name text, the_password_hash text) OWNER TO ph_owner;

CREATE FUNCTION ph.app_actor() RETURNS text
    LANGUAGE sql STABLE PARALLEL SAFE
    SET search_path TO 'pg_catalog'
    AS $$ SELECT CASE WHEN ph.app_studio() IS NOT NULL THEN 'studio' WHEN ph.app_vendor() IS NOT NULL THEN 'vendor' ELSE 'machine' END $$;

ALTER FUNCTION ph.app_actor() OWNER TO ph_owner;

CREATE FUNCTION ph.app_member() RETURNS uuid
    LANGUAGE sql STABLE PARALLEL SAFE
    AS $$ SELECT nullif(current_setting('app.member', true), '')::uuid $$;

ALTER FUNCTION ph.app_member() OWNER TO ph_owner;

CREATE FUNCTION ph.app_party() RETURNS uuid
    LANGUAGE sql STABLE PARALLEL SAFE
    AS $$ SELECT coalesce(nullif(current_setting('app.studio', true), ''), nullif(current_setting('app.vendor', true), ''))::uuid $$;

ALTER FUNCTION ph.app_party() OWNER TO ph_owner;

CREATE FUNCTION ph.app_studio() RETURNS uuid
    LANGUAGE sql STABLE PARALLEL SAFE
    AS $$ SELECT nullif(current_setting('app.studio', true), '')::uuid $$;

ALTER FUNCTION ph.app_studio() OWNER TO ph_owner;

CREATE FUNCTION ph.app_vendor() RETURNS uuid
    LANGUAGE sql STABLE PARALLEL SAFE
    AS $$ SELECT nullif(current_setting('app.vendor', true), '')::uuid $$;

ALTER FUNCTION ph.app_vendor() OWNER TO ph_owner;

CREATE FUNCTION ph.change_order_agreed() RETURNS trigger
    LANGUAGE plpgsql SECURITY DEFINER
    SET search_path TO 'pg_catalog'
    AS $$
BEGIN
  IF NEW.state = 'agreed' AND OLD.state <> 'agreed' THEN
    UPDATE ph.milestone m SET change_minor = m.change_minor + NEW.delta_minor, due_moved = coalesce(NEW.due_on, m.due_moved),
      due_sort = coalesce(NEW.due_on, m.due_sort)
    WHERE m.studio_id = NEW.studio_id AND m.id = NEW.milestone_id;
  END IF;
  RETURN NULL;
END $$;

ALTER FUNCTION ph.change_order_agreed() OWNER TO ph_owner;

CREATE FUNCTION ph.count_checks(the_studio uuid, the_inspection uuid) RETURNS void
    LANGUAGE sql SECURITY DEFINER
    SET search_path TO 'pg_catalog'
    AS $$
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

ALTER FUNCTION ph.count_checks(the_studio uuid, the_inspection uuid) OWNER TO ph_owner;

CREATE FUNCTION ph.delivery_guard() RETURNS trigger
    LANGUAGE plpgsql
    SET search_path TO 'pg_catalog'
    AS $$
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

ALTER FUNCTION ph.delivery_guard() OWNER TO ph_owner;

CREATE FUNCTION ph.disable_member(the_member uuid) RETURNS boolean
    LANGUAGE plpgsql SECURITY DEFINER
    SET search_path TO 'pg_catalog'
    AS $$
BEGIN
  UPDATE ph.member m SET disabled_at = now() WHERE m.party_id = ph.app_party() AND m.id = the_member AND m.disabled_at IS NULL;
  IF NOT FOUND THEN
    RETURN EXISTS (SELECT FROM ph.member m WHERE m.party_id = ph.app_party() AND m.id = the_member);
  END IF;
  UPDATE ph.session s SET ended_at = now() WHERE s.party_id = ph.app_party() AND s.member_id = the_member AND s.ended_at IS NULL;
  UPDATE ph.token t SET revoked_at = now() WHERE t.party_id = ph.app_party() AND t.member_id = the_member AND t.revoked_at IS NULL;
  RETURN true;
END $$;

ALTER FUNCTION ph.disable_member(the_member uuid) OWNER TO ph_owner;

CREATE FUNCTION ph.erase_member(the_member uuid) RETURNS boolean
    LANGUAGE plpgsql SECURITY DEFINER
    SET search_path TO 'pg_catalog'
    AS $_$
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
END $_$;

ALTER FUNCTION ph.erase_member(the_member uuid) OWNER TO ph_owner;

CREATE FUNCTION ph.file_guard() RETURNS trigger
    LANGUAGE plpgsql
    SET search_path TO 'pg_catalog'
    AS $$
DECLARE delivery_state text;
BEGIN
  SELECT d.state INTO delivery_state FROM ph.delivery d WHERE d.studio_id = OLD.studio_id AND d.id = OLD.delivery_id;
  IF delivery_state NOT IN ('open', 'sealing') THEN
    RAISE EXCEPTION 'files of a % delivery do not change', delivery_state
      USING ERRCODE = 'check_violation', CONSTRAINT = 'file_frozen';
  END IF;
  RETURN coalesce(NEW, OLD);
END $$;

ALTER FUNCTION ph.file_guard() OWNER TO ph_owner;

CREATE FUNCTION ph.inspection_guard() RETURNS trigger
    LANGUAGE plpgsql
    SET search_path TO 'pg_catalog'
    AS $$
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

ALTER FUNCTION ph.inspection_guard() OWNER TO ph_owner;

CREATE FUNCTION ph.log_guard() RETURNS trigger
    LANGUAGE plpgsql
    SET search_path TO 'pg_catalog'
    AS $$
BEGIN
  IF NEW.size < OLD.size OR NEW.anchored_size < OLD.anchored_size THEN
    RAISE EXCEPTION 'a log only grows' USING ERRCODE = 'check_violation', CONSTRAINT = 'log_only_grows';
  END IF;
  RETURN NEW;
END $$;

ALTER FUNCTION ph.log_guard() OWNER TO ph_owner;

CREATE FUNCTION ph.login_invitation(the_hash bytea) RETURNS TABLE(party_id uuid, party_name text, side text, id uuid, email text, roles text[], expires_at timestamp with time zone)
    LANGUAGE sql STABLE SECURITY DEFINER
    SET search_path TO 'pg_catalog'
    AS $$
  SELECT i.party_id, p.name, i.side, i.id, i.email, i.roles, i.expires_at
  FROM ph.invitation i JOIN ph.party p ON p.id = i.party_id
  WHERE i.secret_hash = the_hash AND i.accepted_at IS NULL AND i.expires_at > now()
$$;

ALTER FUNCTION ph.login_invitation(the_hash bytea) OWNER TO ph_owner;

CREATE FUNCTION ph.login_password(the_email text) RETURNS TABLE(party_id uuid, party_name text, side text, member_id uuid, name text, roles text[], password_hash text)
    LANGUAGE sql STABLE SECURITY DEFINER
    SET search_path TO 'pg_catalog'
    AS $$
  SELECT m.party_id, p.name, m.side, m.id, m.name, m.roles, m.password_hash
  FROM ph.member m JOIN ph.party p ON p.id = m.party_id
  WHERE m.email = lower(the_email) AND m.disabled_at IS NULL
$$;

ALTER FUNCTION ph.login_password(the_email text) OWNER TO ph_owner;

CREATE FUNCTION ph.login_session(the_hash bytea) RETURNS TABLE(party_id uuid, party_name text, side text, member_id uuid, name text, roles text[], session_id uuid)
    LANGUAGE plpgsql SECURITY DEFINER
    SET search_path TO 'pg_catalog'
    AS $$
#variable_conflict use_column
DECLARE found_id uuid;
BEGIN
  SELECT s.id INTO found_id FROM ph.session s
  WHERE s.secret_hash = the_hash AND s.ended_at IS NULL AND s.expires_at > now();
  IF found_id IS NULL THEN RETURN; END IF;
  -- At most one write a minute: a page makes many requests.
  UPDATE ph.session s SET last_seen_at = now()
  WHERE s.secret_hash = the_hash AND (s.last_seen_at IS NULL OR s.last_seen_at < now() - interval '1 minute');
  RETURN QUERY SELECT m.party_id, p.name, m.side, m.id, m.name, m.roles, s.id
  FROM ph.session s
  JOIN ph.member m ON m.party_id = s.party_id AND m.id = s.member_id
  JOIN ph.party p ON p.id = m.party_id
  WHERE s.secret_hash = the_hash AND m.disabled_at IS NULL;
END $$;

ALTER FUNCTION ph.login_session(the_hash bytea) OWNER TO ph_owner;

CREATE FUNCTION ph.login_token(the_hash bytea) RETURNS TABLE(party_id uuid, party_name text, side text, member_id uuid, name text, roles text[], token_id uuid, scopes text[])
    LANGUAGE plpgsql SECURITY DEFINER
    SET search_path TO 'pg_catalog'
    AS $$
#variable_conflict use_column
DECLARE found_id uuid;
BEGIN
  SELECT t.id INTO found_id FROM ph.token t
  WHERE t.secret_hash = the_hash AND t.revoked_at IS NULL AND t.expires_at > now();
  IF found_id IS NULL THEN RETURN; END IF;
  UPDATE ph.token t SET last_used_at = now()
  WHERE t.secret_hash = the_hash AND (t.last_used_at IS NULL OR t.last_used_at < now() - interval '1 minute');
  RETURN QUERY SELECT m.party_id, p.name, m.side, m.id, m.name, m.roles, t.id, t.scopes
  FROM ph.token t
  JOIN ph.member m ON m.party_id = t.party_id AND m.id = t.member_id
  JOIN ph.party p ON p.id = m.party_id
  WHERE t.secret_hash = the_hash AND m.disabled_at IS NULL;
END $$;

ALTER FUNCTION ph.login_token(the_hash bytea) OWNER TO ph_owner;

CREATE FUNCTION ph.make_finding_partitions(from_year integer, to_year integer) RETURNS void
    LANGUAGE plpgsql
    SET search_path TO 'pg_catalog'
    AS $$
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

ALTER FUNCTION ph.make_finding_partitions(from_year integer, to_year integer) OWNER TO ph_owner;

CREATE FUNCTION ph.milestone_counted() RETURNS trigger
    LANGUAGE plpgsql SECURITY DEFINER
    SET search_path TO 'pg_catalog'
    AS $$
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

ALTER FUNCTION ph.milestone_counted() OWNER TO ph_owner;

CREATE FUNCTION ph.milestone_guard() RETURNS trigger
    LANGUAGE plpgsql
    SET search_path TO 'pg_catalog'
    AS $$
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
    WHEN OLD.state IN ('open', 'failed', 'returned') THEN NEW.vendor_secs := OLD.vendor_secs + passed;
    WHEN OLD.state = 'inspecting' THEN NEW.inspector_secs := OLD.inspector_secs + passed;
    ELSE NEW.studio_secs := OLD.studio_secs + passed;
  END CASE;
  IF NEW.state <> 'review' THEN
    NEW.review_due_at := NULL;
  END IF;
  NEW.since := now();
  RETURN NEW;
END $$;

ALTER FUNCTION ph.milestone_guard() OWNER TO ph_owner;

CREATE FUNCTION ph.milestone_sums() RETURNS trigger
    LANGUAGE plpgsql
    SET search_path TO 'pg_catalog'
    AS $$
DECLARE shares bigint; amounts bigint; price bigint;
BEGIN
  SELECT coalesce(sum(m.share_bp), 0), coalesce(sum(m.amount_minor), 0) INTO shares, amounts
  FROM ph.milestone m WHERE m.studio_id = NEW.studio_id AND m.prop_id = NEW.prop_id;
  SELECT p.price_minor INTO price FROM ph.prop p WHERE p.studio_id = NEW.studio_id AND p.id = NEW.prop_id;
  IF shares <> 10000 OR amounts <> price THEN
    RAISE EXCEPTION 'milestones make % of 10000 basis points and % of %', shares, amounts, price
      USING ERRCODE = 'check_violation', CONSTRAINT = 'milestone_sums';
  END IF;
  RETURN NULL;
END $$;

ALTER FUNCTION ph.milestone_sums() OWNER TO ph_owner;

CREATE FUNCTION ph.own_password_hash() RETURNS text
    LANGUAGE sql STABLE SECURITY DEFINER
    SET search_path TO 'pg_catalog'
    AS $$ SELECT m.password_hash FROM ph.member m WHERE m.party_id = ph.app_party() AND m.id = ph.app_member() $$;

ALTER FUNCTION ph.own_password_hash() OWNER TO ph_owner;

CREATE FUNCTION ph.question_blocks() RETURNS trigger
    LANGUAGE plpgsql SECURITY DEFINER
    SET search_path TO 'pg_catalog'
    AS $$
DECLARE was integer := 0; now_waits integer := (NEW.blocks AND NEW.state = 'asked')::integer;
BEGIN
  IF TG_OP = 'UPDATE' THEN
    was := (OLD.blocks AND OLD.state = 'asked')::integer;
  END IF;
  IF was <> now_waits THEN
    UPDATE ph.prop p SET blocked_by = p.blocked_by + now_waits - was,
      blocked_since = CASE WHEN p.blocked_by + now_waits - was = 0 THEN NULL ELSE coalesce(p.blocked_since, now()) END,
      blocked_secs = p.blocked_secs + CASE WHEN p.blocked_by + now_waits - was = 0 THEN greatest(0, extract(epoch FROM now() - p.blocked_since))::bigint ELSE 0 END
    WHERE p.studio_id = NEW.studio_id AND p.id = NEW.prop_id;
  END IF;
  RETURN NULL;
END $$;

ALTER FUNCTION ph.question_blocks() OWNER TO ph_owner;

CREATE FUNCTION ph.question_clock() RETURNS trigger
    LANGUAGE plpgsql
    SET search_path TO 'pg_catalog'
    AS $$
BEGIN
  IF OLD.state = 'asked' AND NEW.state <> 'asked' THEN
    NEW.waited_secs := OLD.waited_secs + greatest(0, extract(epoch FROM now() - OLD.since))::bigint;
  END IF;
  RETURN NEW;
END $$;

ALTER FUNCTION ph.question_clock() OWNER TO ph_owner;

CREATE FUNCTION ph.stamp(at timestamp with time zone) RETURNS text
    LANGUAGE sql IMMUTABLE PARALLEL SAFE
    SET search_path TO 'pg_catalog'
    AS $$ SELECT to_char(at AT TIME ZONE 'UTC', 'YYYY-MM-DD"T"HH24:MI:SS.US"Z"') $$;

ALTER FUNCTION ph.stamp(at timestamp with time zone) OWNER TO ph_owner;

CREATE FUNCTION ph.state_guard() RETURNS trigger
    LANGUAGE plpgsql
    SET search_path TO 'pg_catalog'
    AS $$
DECLARE was text := '';
BEGIN
  IF TG_OP = 'UPDATE' THEN
    was := OLD.state;
  END IF;
  IF NOT EXISTS (SELECT FROM ph.move v WHERE v.machine = TG_ARGV[0] AND v.from_state = was AND v.event = NEW.last_event
                 AND v.to_state = NEW.state AND v.actor = ph.app_actor()) THEN
    RAISE EXCEPTION 'no move % by the % leads a % from % to %', NEW.last_event, ph.app_actor(), TG_ARGV[0], was, NEW.state
      USING ERRCODE = 'check_violation', CONSTRAINT = 'move_known';
  END IF;
  NEW.since := now();
  RETURN NEW;
END $$;

ALTER FUNCTION ph.state_guard() OWNER TO ph_owner;

CREATE FUNCTION ph.sweep_idempotency() RETURNS bigint
    LANGUAGE sql SECURITY DEFINER
    SET search_path TO 'pg_catalog'
    AS $$
  WITH gone AS (
    DELETE FROM ph.idempotency i WHERE i.ctid = ANY (ARRAY(
      SELECT o.ctid FROM ph.idempotency o WHERE o.created_at < now() - interval '48 hours' ORDER BY o.created_at LIMIT 10000))
    RETURNING 1)
  SELECT count(*) FROM gone
$$;

ALTER FUNCTION ph.sweep_idempotency() OWNER TO ph_owner;

CREATE FUNCTION ph.uuid_at(at timestamp with time zone) RETURNS uuid
    LANGUAGE sql IMMUTABLE PARALLEL SAFE
    SET search_path TO 'pg_catalog'
    AS $$ SELECT (lpad(to_hex((extract(epoch FROM at) * 1000)::bigint), 12, '0') || '00000000000000000000')::uuid $$;

ALTER FUNCTION ph.uuid_at(at timestamp with time zone) OWNER TO ph_owner;

CREATE TABLE ph.anchor (
    studio_id uuid NOT NULL,
    vendor_id uuid,
    log_id uuid NOT NULL,
    size bigint NOT NULL,
    root bytea NOT NULL,
    blind bytea NOT NULL,
    house_idx bigint NOT NULL,
    anchored_at timestamp with time zone DEFAULT now() NOT NULL,
    CONSTRAINT anchor_lengths CHECK (((length(root) = 32) AND (length(blind) = 32)))
);

ALTER TABLE ONLY ph.anchor FORCE ROW LEVEL SECURITY;

ALTER TABLE ph.anchor OWNER TO ph_owner;

CREATE TABLE ph.batch (
    studio_id uuid NOT NULL,
    vendor_id uuid NOT NULL,
    work_order_id uuid NOT NULL,
    id uuid NOT NULL,
    number integer NOT NULL,
    title text NOT NULL,
    opened_by uuid NOT NULL,
    by_name text,
    opened_at timestamp with time zone DEFAULT now() NOT NULL,
    sealed_at timestamp with time zone,
    CONSTRAINT batch_title_length CHECK (((char_length(title) >= 1) AND (char_length(title) <= 200)))
);

ALTER TABLE ONLY ph.batch FORCE ROW LEVEL SECURITY;

ALTER TABLE ph.batch OWNER TO ph_owner;

CREATE TABLE ph.calendar (
    party_id uuid NOT NULL,
    id uuid NOT NULL,
    number integer NOT NULL,
    time_zone text NOT NULL,
    workdays smallint[] NOT NULL,
    holidays date[] NOT NULL,
    by_member uuid NOT NULL,
    by_name text,
    created_at timestamp with time zone DEFAULT now() NOT NULL,
    CONSTRAINT calendar_holidays_few CHECK ((cardinality(holidays) <= 1000)),
    CONSTRAINT calendar_workdays_known CHECK ((((cardinality(workdays) >= 1) AND (cardinality(workdays) <= 7)) AND (workdays <@ ARRAY[(1)::smallint, (2)::smallint, (3)::smallint, (4)::smallint, (5)::smallint, (6)::smallint, (7)::smallint])))
);

ALTER TABLE ONLY ph.calendar FORCE ROW LEVEL SECURITY;

ALTER TABLE ph.calendar OWNER TO ph_owner;

CREATE TABLE ph.cancellation (
    studio_id uuid NOT NULL,
    vendor_id uuid NOT NULL,
    work_order_id uuid NOT NULL,
    prop_id uuid NOT NULL,
    milestone_id uuid NOT NULL,
    id uuid NOT NULL,
    reason text NOT NULL,
    by_member uuid NOT NULL,
    by_name text,
    at timestamp with time zone DEFAULT now() NOT NULL,
    fee_minor bigint DEFAULT 0 NOT NULL,
    CONSTRAINT cancellation_reason_length CHECK (((char_length(reason) >= 1) AND (char_length(reason) <= 4000)))
);

ALTER TABLE ONLY ph.cancellation FORCE ROW LEVEL SECURITY;

ALTER TABLE ph.cancellation OWNER TO ph_owner;

CREATE TABLE ph.change_order (
    studio_id uuid NOT NULL,
    vendor_id uuid NOT NULL,
    work_order_id uuid NOT NULL,
    prop_id uuid NOT NULL,
    milestone_id uuid NOT NULL,
    id uuid NOT NULL,
    title text NOT NULL,
    reason text NOT NULL,
    delta_minor bigint NOT NULL,
    due_on date,
    spec_revision_id uuid,
    delivery_id uuid,
    state text NOT NULL,
    last_event text NOT NULL,
    since timestamp with time zone DEFAULT now() NOT NULL,
    offered_by uuid NOT NULL,
    by_name text,
    offered_at timestamp with time zone DEFAULT now() NOT NULL,
    decided_by uuid,
    decided_reason text,
    CONSTRAINT change_order_delta_range CHECK (((delta_minor >= '-1000000000000'::bigint) AND (delta_minor <= '1000000000000'::bigint))),
    CONSTRAINT change_order_reason_length CHECK (((char_length(reason) >= 1) AND (char_length(reason) <= 4000))),
    CONSTRAINT change_order_state_known CHECK ((state = ANY (ARRAY['for_vendor'::text, 'for_studio'::text, 'agreed'::text, 'declined'::text, 'withdrawn'::text]))),
    CONSTRAINT change_order_title_length CHECK (((char_length(title) >= 1) AND (char_length(title) <= 200)))
);

ALTER TABLE ONLY ph.change_order FORCE ROW LEVEL SECURITY;

ALTER TABLE ph.change_order OWNER TO ph_owner;

CREATE TABLE ph.checkpoint (
    size bigint NOT NULL,
    root bytea NOT NULL,
    note text NOT NULL,
    signed_at timestamp with time zone DEFAULT now() NOT NULL,
    CONSTRAINT checkpoint_root_length CHECK ((length(root) = 32))
);

ALTER TABLE ONLY ph.checkpoint FORCE ROW LEVEL SECURITY;

ALTER TABLE ph.checkpoint OWNER TO ph_owner;

CREATE TABLE ph.concession (
    studio_id uuid NOT NULL,
    vendor_id uuid NOT NULL,
    work_order_id uuid NOT NULL,
    delivery_id uuid NOT NULL,
    inspection_id uuid NOT NULL,
    ord integer NOT NULL,
    chk text NOT NULL,
    id uuid NOT NULL,
    reason text NOT NULL,
    by_member uuid NOT NULL,
    by_name text,
    at timestamp with time zone DEFAULT now() NOT NULL,
    permission_id uuid,
    CONSTRAINT concession_reason_length CHECK (((char_length(reason) >= 1) AND (char_length(reason) <= 4000)))
);

ALTER TABLE ONLY ph.concession FORCE ROW LEVEL SECURITY;

ALTER TABLE ph.concession OWNER TO ph_owner;

CREATE TABLE ph.daily_check (
    studio_id uuid NOT NULL,
    vendor_id uuid NOT NULL,
    project_id uuid NOT NULL,
    tier text NOT NULL,
    chk text NOT NULL,
    day date NOT NULL,
    shard smallint NOT NULL,
    judged bigint NOT NULL,
    failed bigint NOT NULL,
    CONSTRAINT daily_check_shard_range CHECK (((shard >= 0) AND (shard <= 7)))
);

ALTER TABLE ONLY ph.daily_check FORCE ROW LEVEL SECURITY;

ALTER TABLE ph.daily_check OWNER TO ph_owner;

CREATE TABLE ph.daily_milestone (
    studio_id uuid NOT NULL,
    vendor_id uuid NOT NULL,
    project_id uuid NOT NULL,
    tier text NOT NULL,
    day date NOT NULL,
    shard smallint NOT NULL,
    accepted bigint NOT NULL,
    first_pass bigint NOT NULL,
    rounds bigint NOT NULL,
    rework_vendor bigint NOT NULL,
    rework_studio bigint NOT NULL,
    with_due bigint NOT NULL,
    on_time bigint NOT NULL,
    vendor_secs bigint NOT NULL,
    studio_secs bigint NOT NULL,
    inspector_secs bigint NOT NULL,
    CONSTRAINT daily_milestone_shard_range CHECK (((shard >= 0) AND (shard <= 7)))
);

ALTER TABLE ONLY ph.daily_milestone FORCE ROW LEVEL SECURITY;

ALTER TABLE ph.daily_milestone OWNER TO ph_owner;

CREATE TABLE ph.delivery (
    studio_id uuid NOT NULL,
    vendor_id uuid NOT NULL,
    work_order_id uuid NOT NULL,
    prop_id uuid NOT NULL,
    milestone_id uuid NOT NULL,
    id uuid NOT NULL,
    number integer NOT NULL,
    state text DEFAULT 'open'::text NOT NULL,
    note text NOT NULL,
    manifest_sha256 bytea NOT NULL,
    spec_revision_id uuid NOT NULL,
    files integer NOT NULL,
    bytes bigint NOT NULL,
    opened_by uuid NOT NULL,
    by_name text,
    opened_at timestamp with time zone DEFAULT now() NOT NULL,
    sealing_at timestamp with time zone,
    sealed_at timestamp with time zone,
    sealed_by uuid,
    abandoned_at timestamp with time zone,
    abandoned_by uuid,
    round_cause text,
    batch_id uuid,
    swept_at timestamp with time zone,
    CONSTRAINT delivery_abandoned_has_time CHECK (((state = 'abandoned'::text) = (abandoned_at IS NOT NULL))),
    CONSTRAINT delivery_manifest_length CHECK ((length(manifest_sha256) = 32)),
    CONSTRAINT delivery_note_length CHECK ((char_length(note) <= 4000)),
    CONSTRAINT delivery_sealed_has_time CHECK (((state = 'sealed'::text) = ((sealed_at IS NOT NULL) AND (sealed_by IS NOT NULL)))),
    CONSTRAINT delivery_state_known CHECK ((state = ANY (ARRAY['open'::text, 'sealing'::text, 'sealed'::text, 'abandoned'::text])))
);

ALTER TABLE ONLY ph.delivery FORCE ROW LEVEL SECURITY;

ALTER TABLE ph.delivery OWNER TO ph_owner;

CREATE TABLE ph.deputy (
    studio_id uuid NOT NULL,
    id uuid NOT NULL,
    role text NOT NULL,
    member_id uuid NOT NULL,
    from_on date NOT NULL,
    until_on date NOT NULL,
    by_member uuid NOT NULL,
    by_name text,
    at timestamp with time zone DEFAULT now() NOT NULL,
    CONSTRAINT deputy_days_in_order CHECK ((until_on >= from_on)),
    CONSTRAINT deputy_role_known CHECK ((role = ANY (ARRAY['art_director'::text, 'art_lead'::text])))
);

ALTER TABLE ONLY ph.deputy FORCE ROW LEVEL SECURITY;

ALTER TABLE ph.deputy OWNER TO ph_owner;

CREATE TABLE ph.engagement (
    studio_id uuid NOT NULL,
    vendor_id uuid NOT NULL,
    studio_name text NOT NULL,
    vendor_name text NOT NULL,
    created_at timestamp with time zone DEFAULT now() NOT NULL,
    created_by uuid NOT NULL
);

ALTER TABLE ONLY ph.engagement FORCE ROW LEVEL SECURITY;

ALTER TABLE ph.engagement OWNER TO ph_owner;

CREATE TABLE ph.erasure (
    studio_id uuid NOT NULL,
    vendor_id uuid,
    log_id uuid NOT NULL,
    id uuid NOT NULL,
    member_id uuid NOT NULL,
    reason text NOT NULL,
    by_member uuid NOT NULL,
    at timestamp with time zone DEFAULT now() NOT NULL,
    CONSTRAINT erasure_reason_length CHECK (((char_length(reason) >= 1) AND (char_length(reason) <= 1000)))
);

ALTER TABLE ONLY ph.erasure FORCE ROW LEVEL SECURITY;

ALTER TABLE ph.erasure OWNER TO ph_owner;

CREATE TABLE ph.evidence (
    studio_id uuid NOT NULL,
    vendor_id uuid NOT NULL,
    work_order_id uuid NOT NULL,
    inspection_id uuid NOT NULL,
    name text NOT NULL,
    what text NOT NULL,
    object_key text NOT NULL,
    sha256 bytea NOT NULL,
    size bigint NOT NULL,
    media_type text NOT NULL,
    CONSTRAINT evidence_sha256_length CHECK ((length(sha256) = 32)),
    CONSTRAINT evidence_size_range CHECK ((size >= 0))
);

ALTER TABLE ONLY ph.evidence FORCE ROW LEVEL SECURITY;

ALTER TABLE ph.evidence OWNER TO ph_owner;

CREATE TABLE ph.fact (
    studio_id uuid NOT NULL,
    vendor_id uuid,
    log_id uuid NOT NULL,
    idx bigint NOT NULL,
    kind text NOT NULL,
    version integer NOT NULL,
    subject_id uuid NOT NULL,
    actor text NOT NULL,
    member_id uuid,
    recorded_at timestamp with time zone DEFAULT now() NOT NULL,
    body bytea NOT NULL,
    CONSTRAINT fact_actor_known CHECK ((actor = ANY (ARRAY['studio'::text, 'vendor'::text, 'machine'::text]))),
    CONSTRAINT fact_member_unless_machine CHECK (((actor = 'machine'::text) = (member_id IS NULL)))
);

ALTER TABLE ONLY ph.fact FORCE ROW LEVEL SECURITY;

ALTER TABLE ph.fact OWNER TO ph_owner;

CREATE TABLE ph.fact_person (
    studio_id uuid NOT NULL,
    vendor_id uuid,
    log_id uuid NOT NULL,
    idx bigint NOT NULL,
    salt bytea,
    name text,
    CONSTRAINT fact_person_whole_or_erased CHECK (((salt IS NULL) = (name IS NULL)))
);

ALTER TABLE ONLY ph.fact_person FORCE ROW LEVEL SECURITY;

ALTER TABLE ph.fact_person OWNER TO ph_owner;

CREATE TABLE ph.file (
    studio_id uuid NOT NULL,
    vendor_id uuid NOT NULL,
    work_order_id uuid NOT NULL,
    delivery_id uuid NOT NULL,
    id uuid NOT NULL,
    ord integer NOT NULL,
    path text NOT NULL,
    role text NOT NULL,
    size bigint NOT NULL,
    sha256 bytea NOT NULL,
    media_type text NOT NULL,
    object_key text NOT NULL,
    part_size bigint NOT NULL,
    upload_id text,
    etag text,
    version_id text,
    CONSTRAINT file_part_size_range CHECK ((part_size >= 0)),
    CONSTRAINT file_path_form CHECK ((((char_length(path) >= 1) AND (char_length(path) <= 1024)) AND (path !~ '(^/|\\|(^|/)\.\.?(/|$)|//|[[:cntrl:]])'::text))),
    CONSTRAINT file_role_form CHECK ((role ~ '^[a-z][a-z0-9_.@-]{0,63}$'::text)),
    CONSTRAINT file_sha256_length CHECK ((length(sha256) = 32)),
    CONSTRAINT file_size_range CHECK ((size >= 0))
);

ALTER TABLE ONLY ph.file FORCE ROW LEVEL SECURITY;

ALTER TABLE ph.file OWNER TO ph_owner;

CREATE TABLE ph.file_part (
    studio_id uuid NOT NULL,
    vendor_id uuid NOT NULL,
    file_id uuid NOT NULL,
    number integer NOT NULL,
    size bigint NOT NULL,
    sha256 bytea NOT NULL,
    etag text,
    CONSTRAINT file_part_number_range CHECK (((number >= 1) AND (number <= 10000))),
    CONSTRAINT file_part_sha256_length CHECK ((length(sha256) = 32))
);

ALTER TABLE ONLY ph.file_part FORCE ROW LEVEL SECURITY;

ALTER TABLE ph.file_part OWNER TO ph_owner;

CREATE TABLE ph.finding (
    studio_id uuid NOT NULL,
    vendor_id uuid NOT NULL,
    inspection_id uuid NOT NULL,
    ord integer NOT NULL,
    chk text NOT NULL,
    part text NOT NULL,
    set_name text NOT NULL,
    lod smallint,
    tile integer,
    pose text NOT NULL,
    file text NOT NULL,
    outcome text NOT NULL,
    blocks boolean NOT NULL,
    follows_from text NOT NULL,
    measured double precision,
    unit text NOT NULL,
    limit_key text NOT NULL,
    limit_value double precision,
    CONSTRAINT finding_ord_range CHECK ((ord >= 0)),
    CONSTRAINT finding_outcome_known CHECK ((outcome = ANY (ARRAY['pass'::text, 'warn'::text, 'fail'::text, 'not_evaluated'::text, 'not_applicable'::text])))
)
PARTITION BY RANGE (inspection_id);

ALTER TABLE ONLY ph.finding FORCE ROW LEVEL SECURITY;

ALTER TABLE ph.finding OWNER TO ph_owner;

CREATE TABLE ph.finding_2026_h1 (
    studio_id uuid NOT NULL,
    vendor_id uuid NOT NULL,
    inspection_id uuid NOT NULL,
    ord integer NOT NULL,
    chk text NOT NULL,
    part text NOT NULL,
    set_name text NOT NULL,
    lod smallint,
    tile integer,
    pose text NOT NULL,
    file text NOT NULL,
    outcome text NOT NULL,
    blocks boolean NOT NULL,
    follows_from text NOT NULL,
    measured double precision,
    unit text NOT NULL,
    limit_key text NOT NULL,
    limit_value double precision,
    CONSTRAINT finding_ord_range CHECK ((ord >= 0)),
    CONSTRAINT finding_outcome_known CHECK ((outcome = ANY (ARRAY['pass'::text, 'warn'::text, 'fail'::text, 'not_evaluated'::text, 'not_applicable'::text])))
);

ALTER TABLE ONLY ph.finding_2026_h1 FORCE ROW LEVEL SECURITY;

ALTER TABLE ph.finding_2026_h1 OWNER TO ph_owner;

CREATE TABLE ph.finding_2026_h2 (
    studio_id uuid NOT NULL,
    vendor_id uuid NOT NULL,
    inspection_id uuid NOT NULL,
    ord integer NOT NULL,
    chk text NOT NULL,
    part text NOT NULL,
    set_name text NOT NULL,
    lod smallint,
    tile integer,
    pose text NOT NULL,
    file text NOT NULL,
    outcome text NOT NULL,
    blocks boolean NOT NULL,
    follows_from text NOT NULL,
    measured double precision,
    unit text NOT NULL,
    limit_key text NOT NULL,
    limit_value double precision,
    CONSTRAINT finding_ord_range CHECK ((ord >= 0)),
    CONSTRAINT finding_outcome_known CHECK ((outcome = ANY (ARRAY['pass'::text, 'warn'::text, 'fail'::text, 'not_evaluated'::text, 'not_applicable'::text])))
);

ALTER TABLE ONLY ph.finding_2026_h2 FORCE ROW LEVEL SECURITY;

ALTER TABLE ph.finding_2026_h2 OWNER TO ph_owner;

CREATE TABLE ph.finding_2027_h1 (
    studio_id uuid NOT NULL,
    vendor_id uuid NOT NULL,
    inspection_id uuid NOT NULL,
    ord integer NOT NULL,
    chk text NOT NULL,
    part text NOT NULL,
    set_name text NOT NULL,
    lod smallint,
    tile integer,
    pose text NOT NULL,
    file text NOT NULL,
    outcome text NOT NULL,
    blocks boolean NOT NULL,
    follows_from text NOT NULL,
    measured double precision,
    unit text NOT NULL,
    limit_key text NOT NULL,
    limit_value double precision,
    CONSTRAINT finding_ord_range CHECK ((ord >= 0)),
    CONSTRAINT finding_outcome_known CHECK ((outcome = ANY (ARRAY['pass'::text, 'warn'::text, 'fail'::text, 'not_evaluated'::text, 'not_applicable'::text])))
);

ALTER TABLE ONLY ph.finding_2027_h1 FORCE ROW LEVEL SECURITY;

ALTER TABLE ph.finding_2027_h1 OWNER TO ph_owner;

CREATE TABLE ph.finding_2027_h2 (
    studio_id uuid NOT NULL,
    vendor_id uuid NOT NULL,
    inspection_id uuid NOT NULL,
    ord integer NOT NULL,
    chk text NOT NULL,
    part text NOT NULL,
    set_name text NOT NULL,
    lod smallint,
    tile integer,
    pose text NOT NULL,
    file text NOT NULL,
    outcome text NOT NULL,
    blocks boolean NOT NULL,
    follows_from text NOT NULL,
    measured double precision,
    unit text NOT NULL,
    limit_key text NOT NULL,
    limit_value double precision,
    CONSTRAINT finding_ord_range CHECK ((ord >= 0)),
    CONSTRAINT finding_outcome_known CHECK ((outcome = ANY (ARRAY['pass'::text, 'warn'::text, 'fail'::text, 'not_evaluated'::text, 'not_applicable'::text])))
);

ALTER TABLE ONLY ph.finding_2027_h2 FORCE ROW LEVEL SECURITY;

ALTER TABLE ph.finding_2027_h2 OWNER TO ph_owner;

CREATE TABLE ph.finding_2028_h1 (
    studio_id uuid NOT NULL,
    vendor_id uuid NOT NULL,
    inspection_id uuid NOT NULL,
    ord integer NOT NULL,
    chk text NOT NULL,
    part text NOT NULL,
    set_name text NOT NULL,
    lod smallint,
    tile integer,
    pose text NOT NULL,
    file text NOT NULL,
    outcome text NOT NULL,
    blocks boolean NOT NULL,
    follows_from text NOT NULL,
    measured double precision,
    unit text NOT NULL,
    limit_key text NOT NULL,
    limit_value double precision,
    CONSTRAINT finding_ord_range CHECK ((ord >= 0)),
    CONSTRAINT finding_outcome_known CHECK ((outcome = ANY (ARRAY['pass'::text, 'warn'::text, 'fail'::text, 'not_evaluated'::text, 'not_applicable'::text])))
);

ALTER TABLE ONLY ph.finding_2028_h1 FORCE ROW LEVEL SECURITY;

ALTER TABLE ph.finding_2028_h1 OWNER TO ph_owner;

CREATE TABLE ph.finding_2028_h2 (
    studio_id uuid NOT NULL,
    vendor_id uuid NOT NULL,
    inspection_id uuid NOT NULL,
    ord integer NOT NULL,
    chk text NOT NULL,
    part text NOT NULL,
    set_name text NOT NULL,
    lod smallint,
    tile integer,
    pose text NOT NULL,
    file text NOT NULL,
    outcome text NOT NULL,
    blocks boolean NOT NULL,
    follows_from text NOT NULL,
    measured double precision,
    unit text NOT NULL,
    limit_key text NOT NULL,
    limit_value double precision,
    CONSTRAINT finding_ord_range CHECK ((ord >= 0)),
    CONSTRAINT finding_outcome_known CHECK ((outcome = ANY (ARRAY['pass'::text, 'warn'::text, 'fail'::text, 'not_evaluated'::text, 'not_applicable'::text])))
);

ALTER TABLE ONLY ph.finding_2028_h2 FORCE ROW LEVEL SECURITY;

ALTER TABLE ph.finding_2028_h2 OWNER TO ph_owner;

CREATE TABLE ph.finding_2029_h1 (
    studio_id uuid NOT NULL,
    vendor_id uuid NOT NULL,
    inspection_id uuid NOT NULL,
    ord integer NOT NULL,
    chk text NOT NULL,
    part text NOT NULL,
    set_name text NOT NULL,
    lod smallint,
    tile integer,
    pose text NOT NULL,
    file text NOT NULL,
    outcome text NOT NULL,
    blocks boolean NOT NULL,
    follows_from text NOT NULL,
    measured double precision,
    unit text NOT NULL,
    limit_key text NOT NULL,
    limit_value double precision,
    CONSTRAINT finding_ord_range CHECK ((ord >= 0)),
    CONSTRAINT finding_outcome_known CHECK ((outcome = ANY (ARRAY['pass'::text, 'warn'::text, 'fail'::text, 'not_evaluated'::text, 'not_applicable'::text])))
);

ALTER TABLE ONLY ph.finding_2029_h1 FORCE ROW LEVEL SECURITY;

ALTER TABLE ph.finding_2029_h1 OWNER TO ph_owner;

CREATE TABLE ph.finding_2029_h2 (
    studio_id uuid NOT NULL,
    vendor_id uuid NOT NULL,
    inspection_id uuid NOT NULL,
    ord integer NOT NULL,
    chk text NOT NULL,
    part text NOT NULL,
    set_name text NOT NULL,
    lod smallint,
    tile integer,
    pose text NOT NULL,
    file text NOT NULL,
    outcome text NOT NULL,
    blocks boolean NOT NULL,
    follows_from text NOT NULL,
    measured double precision,
    unit text NOT NULL,
    limit_key text NOT NULL,
    limit_value double precision,
    CONSTRAINT finding_ord_range CHECK ((ord >= 0)),
    CONSTRAINT finding_outcome_known CHECK ((outcome = ANY (ARRAY['pass'::text, 'warn'::text, 'fail'::text, 'not_evaluated'::text, 'not_applicable'::text])))
);

ALTER TABLE ONLY ph.finding_2029_h2 FORCE ROW LEVEL SECURITY;

ALTER TABLE ph.finding_2029_h2 OWNER TO ph_owner;

CREATE TABLE ph.finding_rest (
    studio_id uuid NOT NULL,
    vendor_id uuid NOT NULL,
    inspection_id uuid NOT NULL,
    ord integer NOT NULL,
    chk text NOT NULL,
    part text NOT NULL,
    set_name text NOT NULL,
    lod smallint,
    tile integer,
    pose text NOT NULL,
    file text NOT NULL,
    outcome text NOT NULL,
    blocks boolean NOT NULL,
    follows_from text NOT NULL,
    measured double precision,
    unit text NOT NULL,
    limit_key text NOT NULL,
    limit_value double precision,
    CONSTRAINT finding_ord_range CHECK ((ord >= 0)),
    CONSTRAINT finding_outcome_known CHECK ((outcome = ANY (ARRAY['pass'::text, 'warn'::text, 'fail'::text, 'not_evaluated'::text, 'not_applicable'::text])))
);

ALTER TABLE ONLY ph.finding_rest FORCE ROW LEVEL SECURITY;

ALTER TABLE ph.finding_rest OWNER TO ph_owner;

CREATE TABLE ph.goose_db_version (
    id integer NOT NULL,
    version_id bigint NOT NULL,
    is_applied boolean NOT NULL,
    tstamp timestamp without time zone DEFAULT now() NOT NULL
);

ALTER TABLE ph.goose_db_version OWNER TO ph_owner;

ALTER TABLE ph.goose_db_version ALTER COLUMN id ADD GENERATED BY DEFAULT AS IDENTITY (
    SEQUENCE NAME ph.goose_db_version_id_seq
    START WITH 1
    INCREMENT BY 1
    NO MINVALUE
    NO MAXVALUE
    CACHE 1
);

CREATE TABLE ph.handover (
    studio_id uuid NOT NULL,
    work_order_id uuid NOT NULL,
    id uuid NOT NULL,
    number integer NOT NULL,
    pattern text NOT NULL,
    digest bytea NOT NULL,
    by_member uuid NOT NULL,
    by_name text,
    at timestamp with time zone DEFAULT now() NOT NULL
);

ALTER TABLE ONLY ph.handover FORCE ROW LEVEL SECURITY;

ALTER TABLE ph.handover OWNER TO ph_owner;

CREATE TABLE ph.handover_file (
    studio_id uuid NOT NULL,
    handover_id uuid NOT NULL,
    ord integer NOT NULL,
    name text NOT NULL,
    file_id uuid NOT NULL
);

ALTER TABLE ONLY ph.handover_file FORCE ROW LEVEL SECURITY;

ALTER TABLE ph.handover_file OWNER TO ph_owner;

CREATE TABLE ph.hold (
    studio_id uuid NOT NULL,
    vendor_id uuid NOT NULL,
    work_order_id uuid NOT NULL,
    prop_id uuid NOT NULL,
    milestone_id uuid NOT NULL,
    id uuid NOT NULL,
    event text NOT NULL,
    reason text NOT NULL,
    by_member uuid NOT NULL,
    by_name text,
    at timestamp with time zone DEFAULT now() NOT NULL,
    CONSTRAINT hold_event_known CHECK ((event = ANY (ARRAY['hold'::text, 'resume'::text]))),
    CONSTRAINT hold_reason_length CHECK (((char_length(reason) <= 4000) AND ((event = 'resume'::text) OR (reason <> ''::text))))
);

ALTER TABLE ONLY ph.hold FORCE ROW LEVEL SECURITY;

ALTER TABLE ph.hold OWNER TO ph_owner;

CREATE TABLE ph.house_hash (
    idx bigint NOT NULL,
    hash bytea NOT NULL,
    CONSTRAINT house_hash_length CHECK ((length(hash) = 32))
);

ALTER TABLE ONLY ph.house_hash FORCE ROW LEVEL SECURITY;

ALTER TABLE ph.house_hash OWNER TO ph_owner;

CREATE TABLE ph.house_leaf (
    idx bigint NOT NULL,
    body bytea NOT NULL
);

ALTER TABLE ONLY ph.house_leaf FORCE ROW LEVEL SECURITY;

ALTER TABLE ph.house_leaf OWNER TO ph_owner;

CREATE TABLE ph.idempotency (
    party_id uuid NOT NULL,
    member_id uuid NOT NULL,
    method text NOT NULL,
    route text NOT NULL,
    key text NOT NULL,
    body_sha256 bytea NOT NULL,
    made_kind text NOT NULL,
    made_id uuid NOT NULL,
    created_at timestamp with time zone DEFAULT now() NOT NULL,
    CONSTRAINT idempotency_body_length CHECK ((length(body_sha256) = 32)),
    CONSTRAINT idempotency_key_length CHECK (((char_length(key) >= 1) AND (char_length(key) <= 255)))
);

ALTER TABLE ONLY ph.idempotency FORCE ROW LEVEL SECURITY;

ALTER TABLE ph.idempotency OWNER TO ph_owner;

CREATE TABLE ph.inspection (
    studio_id uuid NOT NULL,
    vendor_id uuid NOT NULL,
    work_order_id uuid NOT NULL,
    prop_id uuid NOT NULL,
    milestone_id uuid NOT NULL,
    delivery_id uuid NOT NULL,
    id uuid NOT NULL,
    spec_revision_id uuid NOT NULL,
    spec_number integer NOT NULL,
    reason text NOT NULL,
    requested_by uuid,
    by_name text,
    state text DEFAULT 'queued'::text NOT NULL,
    lease_owner text,
    lease_until timestamp with time zone,
    fence bigint DEFAULT 0 NOT NULL,
    attempts integer DEFAULT 0 NOT NULL,
    queued_at timestamp with time zone DEFAULT now() NOT NULL,
    started_at timestamp with time zone,
    finished_at timestamp with time zone,
    engine text,
    engine_digest text,
    verdict text,
    headline text,
    cause text,
    evidence_sha256 bytea,
    findings_sha256 bytea,
    findings integer,
    issues integer,
    current boolean DEFAULT false NOT NULL,
    permitted integer,
    CONSTRAINT inspection_clear_has_evidence CHECK (((verdict IS NULL) OR (verdict = 'not_evaluated'::text) OR (length(evidence_sha256) = 32))),
    CONSTRAINT inspection_current_is_done CHECK (((NOT current) OR (state = 'done'::text))),
    CONSTRAINT inspection_done_has_result CHECK (((state = 'done'::text) = ((verdict IS NOT NULL) AND (finished_at IS NOT NULL) AND (findings_sha256 IS NOT NULL) AND (findings IS NOT NULL) AND (issues IS NOT NULL)))),
    CONSTRAINT inspection_pass_has_no_issues CHECK (((verdict <> 'pass'::text) OR (issues = 0))),
    CONSTRAINT inspection_running_has_lease CHECK (((state = 'running'::text) = ((lease_owner IS NOT NULL) AND (lease_until IS NOT NULL)))),
    CONSTRAINT inspection_state_known CHECK ((state = ANY (ARRAY['queued'::text, 'running'::text, 'done'::text]))),
    CONSTRAINT inspection_verdict_known CHECK ((verdict = ANY (ARRAY['pass'::text, 'fail'::text, 'not_evaluated'::text])))
);

ALTER TABLE ONLY ph.inspection FORCE ROW LEVEL SECURITY;

ALTER TABLE ph.inspection OWNER TO ph_owner;

CREATE TABLE ph.invitation (
    party_id uuid NOT NULL,
    id uuid NOT NULL,
    side text NOT NULL,
    engaged_by uuid,
    email text NOT NULL,
    roles text[] NOT NULL,
    secret_hash bytea NOT NULL,
    created_at timestamp with time zone DEFAULT now() NOT NULL,
    created_by uuid NOT NULL,
    expires_at timestamp with time zone NOT NULL,
    accepted_at timestamp with time zone,
    CONSTRAINT invitation_email_plain CHECK (((email = lower(email)) AND (email ~~ '%_@_%'::text) AND (char_length(email) <= 254)))
);

ALTER TABLE ONLY ph.invitation FORCE ROW LEVEL SECURITY;

ALTER TABLE ph.invitation OWNER TO ph_owner;

CREATE TABLE ph.log (
    studio_id uuid NOT NULL,
    vendor_id uuid,
    id uuid NOT NULL,
    size bigint DEFAULT 0 NOT NULL,
    root bytea NOT NULL,
    anchored_size bigint DEFAULT 0 NOT NULL,
    frontier bytea,
    CONSTRAINT log_root_length CHECK ((length(root) = 32)),
    CONSTRAINT log_size_range CHECK (((size >= 0) AND ((anchored_size >= 0) AND (anchored_size <= size))))
);

ALTER TABLE ONLY ph.log FORCE ROW LEVEL SECURITY;

ALTER TABLE ph.log OWNER TO ph_owner;

CREATE TABLE ph.log_hash (
    studio_id uuid NOT NULL,
    vendor_id uuid,
    log_id uuid NOT NULL,
    idx bigint NOT NULL,
    hash bytea NOT NULL,
    CONSTRAINT log_hash_length CHECK ((length(hash) = 32))
);

ALTER TABLE ONLY ph.log_hash FORCE ROW LEVEL SECURITY;

ALTER TABLE ph.log_hash OWNER TO ph_owner;

CREATE TABLE ph.maintenance (
    studio_id uuid NOT NULL,
    vendor_id uuid NOT NULL,
    work_order_id uuid NOT NULL,
    prop_id uuid NOT NULL,
    milestone_id uuid NOT NULL,
    id uuid NOT NULL,
    reason text NOT NULL,
    by_member uuid NOT NULL,
    by_name text,
    at timestamp with time zone DEFAULT now() NOT NULL,
    CONSTRAINT maintenance_reason_length CHECK (((char_length(reason) >= 1) AND (char_length(reason) <= 4000)))
);

ALTER TABLE ONLY ph.maintenance FORCE ROW LEVEL SECURITY;

ALTER TABLE ph.maintenance OWNER TO ph_owner;

CREATE TABLE ph.member (
    party_id uuid NOT NULL,
    id uuid NOT NULL,
    side text NOT NULL,
    name text NOT NULL,
    email text NOT NULL,
    password_hash text NOT NULL,
    roles text[] NOT NULL,
    created_at timestamp with time zone DEFAULT now() NOT NULL,
    disabled_at timestamp with time zone,
    CONSTRAINT member_email_plain CHECK (((email = lower(email)) AND (email ~~ '%_@_%'::text) AND (char_length(email) <= 254))),
    CONSTRAINT member_name_length CHECK ((char_length(name) <= 200)),
    CONSTRAINT member_password_hashed CHECK ((password_hash ~~ '$argon2id$%'::text))
);

ALTER TABLE ONLY ph.member FORCE ROW LEVEL SECURITY;

ALTER TABLE ph.member OWNER TO ph_owner;

CREATE TABLE ph.milestone (
    studio_id uuid NOT NULL,
    vendor_id uuid NOT NULL,
    work_order_id uuid NOT NULL,
    prop_id uuid NOT NULL,
    id uuid NOT NULL,
    "position" integer NOT NULL,
    kind text NOT NULL,
    share_bp integer NOT NULL,
    amount_minor bigint NOT NULL,
    due_on date,
    due_sort date NOT NULL,
    state text DEFAULT 'open'::text NOT NULL,
    last_event text,
    since timestamp with time zone DEFAULT now() NOT NULL,
    rounds integer DEFAULT 0 NOT NULL,
    due_moved date,
    change_minor bigint DEFAULT 0 NOT NULL,
    rework_vendor integer DEFAULT 0 NOT NULL,
    rework_studio integer DEFAULT 0 NOT NULL,
    review_due_at timestamp with time zone,
    vendor_secs bigint DEFAULT 0 NOT NULL,
    studio_secs bigint DEFAULT 0 NOT NULL,
    inspector_secs bigint DEFAULT 0 NOT NULL,
    CONSTRAINT milestone_amount_range CHECK ((amount_minor >= 0)),
    CONSTRAINT milestone_share_range CHECK (((share_bp >= 0) AND (share_bp <= 10000)))
);

ALTER TABLE ONLY ph.milestone FORCE ROW LEVEL SECURITY;

ALTER TABLE ph.milestone OWNER TO ph_owner;

CREATE TABLE ph.move (
    from_state text NOT NULL,
    event text NOT NULL,
    to_state text NOT NULL,
    actor text NOT NULL,
    machine text NOT NULL
);

ALTER TABLE ONLY ph.move FORCE ROW LEVEL SECURITY;

ALTER TABLE ph.move OWNER TO ph_owner;

CREATE TABLE ph.nda_ack (
    studio_id uuid NOT NULL,
    vendor_id uuid NOT NULL,
    work_order_id uuid NOT NULL,
    id uuid NOT NULL,
    by_member uuid NOT NULL,
    by_name text,
    at timestamp with time zone DEFAULT now() NOT NULL
);

ALTER TABLE ONLY ph.nda_ack FORCE ROW LEVEL SECURITY;

ALTER TABLE ph.nda_ack OWNER TO ph_owner;

CREATE TABLE ph.notary_key (
    number integer NOT NULL,
    verifier text NOT NULL,
    statement text NOT NULL,
    at timestamp with time zone DEFAULT now() NOT NULL
);

ALTER TABLE ONLY ph.notary_key FORCE ROW LEVEL SECURITY;

ALTER TABLE ph.notary_key OWNER TO ph_owner;

CREATE TABLE ph.note (
    studio_id uuid NOT NULL,
    vendor_id uuid,
    work_order_id uuid NOT NULL,
    delivery_id uuid NOT NULL,
    id uuid NOT NULL,
    side text NOT NULL,
    text text NOT NULL,
    salt bytea NOT NULL,
    by_member uuid NOT NULL,
    by_name text,
    at timestamp with time zone DEFAULT now() NOT NULL,
    pin jsonb,
    reply_to uuid,
    CONSTRAINT note_private_is_the_studios CHECK (((vendor_id IS NOT NULL) OR (side = 'studio'::text))),
    CONSTRAINT note_side_known CHECK ((side = ANY (ARRAY['studio'::text, 'vendor'::text]))),
    CONSTRAINT note_text_length CHECK (((char_length(text) >= 1) AND (char_length(text) <= 10000)))
);

ALTER TABLE ONLY ph.note FORCE ROW LEVEL SECURITY;

ALTER TABLE ph.note OWNER TO ph_owner;

CREATE TABLE ph.note_resolution (
    studio_id uuid NOT NULL,
    vendor_id uuid,
    work_order_id uuid NOT NULL,
    note_id uuid NOT NULL,
    id uuid NOT NULL,
    side text NOT NULL,
    resolved boolean NOT NULL,
    delivery_id uuid,
    by_member uuid NOT NULL,
    by_name text,
    at timestamp with time zone DEFAULT now() NOT NULL,
    CONSTRAINT note_resolution_private_is_the_studios CHECK (((vendor_id IS NOT NULL) OR (side = 'studio'::text))),
    CONSTRAINT note_resolution_side_known CHECK ((side = ANY (ARRAY['studio'::text, 'vendor'::text])))
);

ALTER TABLE ONLY ph.note_resolution FORCE ROW LEVEL SECURITY;

ALTER TABLE ph.note_resolution OWNER TO ph_owner;

CREATE TABLE ph.order_calendar (
    studio_id uuid NOT NULL,
    vendor_id uuid NOT NULL,
    work_order_id uuid NOT NULL,
    id uuid NOT NULL,
    side text NOT NULL,
    calendar_id uuid NOT NULL,
    number integer NOT NULL,
    time_zone text NOT NULL,
    workdays smallint[] NOT NULL,
    holidays date[] NOT NULL,
    by_member uuid NOT NULL,
    by_name text,
    at timestamp with time zone DEFAULT now() NOT NULL,
    CONSTRAINT order_calendar_side_known CHECK ((side = ANY (ARRAY['studio'::text, 'vendor'::text])))
);

ALTER TABLE ONLY ph.order_calendar FORCE ROW LEVEL SECURITY;

ALTER TABLE ph.order_calendar OWNER TO ph_owner;

CREATE TABLE ph.party (
    id uuid NOT NULL,
    side text NOT NULL,
    name text NOT NULL,
    created_at timestamp with time zone DEFAULT now() NOT NULL,
    CONSTRAINT party_name_length CHECK (((char_length(name) >= 1) AND (char_length(name) <= 200))),
    CONSTRAINT party_side_known CHECK ((side = ANY (ARRAY['studio'::text, 'vendor'::text])))
);

ALTER TABLE ONLY ph.party FORCE ROW LEVEL SECURITY;

ALTER TABLE ph.party OWNER TO ph_owner;

CREATE TABLE ph.payable (
    studio_id uuid NOT NULL,
    vendor_id uuid NOT NULL,
    work_order_id uuid NOT NULL,
    prop_id uuid NOT NULL,
    milestone_id uuid NOT NULL,
    sign_off_id uuid,
    id uuid NOT NULL,
    amount_minor bigint NOT NULL,
    currency text NOT NULL,
    at timestamp with time zone DEFAULT now() NOT NULL,
    kind text DEFAULT 'milestone'::text NOT NULL,
    cancellation_id uuid,
    CONSTRAINT payable_amount_range CHECK ((amount_minor >= 0)),
    CONSTRAINT payable_currency_form CHECK ((currency ~ '^[A-Z]{3}$'::text))
);

ALTER TABLE ONLY ph.payable FORCE ROW LEVEL SECURITY;

ALTER TABLE ph.payable OWNER TO ph_owner;

CREATE TABLE ph.payment_hold (
    studio_id uuid NOT NULL,
    vendor_id uuid NOT NULL,
    work_order_id uuid NOT NULL,
    prop_id uuid NOT NULL,
    milestone_id uuid NOT NULL,
    sign_off_id uuid NOT NULL,
    id uuid NOT NULL,
    amount_minor bigint NOT NULL,
    currency text NOT NULL,
    missing text[] NOT NULL,
    at timestamp with time zone DEFAULT now() NOT NULL
);

ALTER TABLE ONLY ph.payment_hold FORCE ROW LEVEL SECURITY;

ALTER TABLE ph.payment_hold OWNER TO ph_owner;

CREATE TABLE ph.payment_hold_end (
    studio_id uuid NOT NULL,
    vendor_id uuid NOT NULL,
    work_order_id uuid NOT NULL,
    hold_id uuid NOT NULL,
    id uuid NOT NULL,
    waived text[] NOT NULL,
    reason text NOT NULL,
    by_member uuid NOT NULL,
    by_name text,
    at timestamp with time zone DEFAULT now() NOT NULL,
    CONSTRAINT payment_hold_end_says_why CHECK (((cardinality(waived) = 0) OR (reason <> ''::text)))
);

ALTER TABLE ONLY ph.payment_hold_end FORCE ROW LEVEL SECURITY;

ALTER TABLE ph.payment_hold_end OWNER TO ph_owner;

CREATE TABLE ph.permission (
    studio_id uuid NOT NULL,
    vendor_id uuid NOT NULL,
    work_order_id uuid NOT NULL,
    id uuid NOT NULL,
    kind text NOT NULL,
    prop_id uuid,
    kit text,
    chk text NOT NULL,
    part text NOT NULL,
    set_name text NOT NULL,
    worst double precision,
    until_on date,
    reason text NOT NULL,
    state text NOT NULL,
    last_event text NOT NULL,
    since timestamp with time zone DEFAULT now() NOT NULL,
    side text NOT NULL,
    by_member uuid NOT NULL,
    by_name text,
    at timestamp with time zone DEFAULT now() NOT NULL,
    CONSTRAINT permission_kind_known CHECK ((kind = ANY (ARRAY['permit'::text, 'concession'::text]))),
    CONSTRAINT permission_one_scope CHECK (((prop_id IS NULL) OR (kit IS NULL))),
    CONSTRAINT permission_reason_length CHECK (((char_length(reason) >= 1) AND (char_length(reason) <= 4000))),
    CONSTRAINT permission_side_known CHECK ((side = ANY (ARRAY['studio'::text, 'vendor'::text]))),
    CONSTRAINT permission_state_known CHECK ((state = ANY (ARRAY['requested'::text, 'granted'::text, 'refused'::text, 'withdrawn'::text, 'revoked'::text])))
);

ALTER TABLE ONLY ph.permission FORCE ROW LEVEL SECURITY;

ALTER TABLE ph.permission OWNER TO ph_owner;

CREATE TABLE ph.permission_decision (
    studio_id uuid NOT NULL,
    vendor_id uuid NOT NULL,
    work_order_id uuid NOT NULL,
    permission_id uuid NOT NULL,
    id uuid NOT NULL,
    side text NOT NULL,
    event text NOT NULL,
    reason text NOT NULL,
    by_member uuid NOT NULL,
    by_name text,
    at timestamp with time zone DEFAULT now() NOT NULL,
    CONSTRAINT permission_decision_reason_length CHECK ((char_length(reason) <= 4000)),
    CONSTRAINT permission_decision_side_known CHECK ((side = ANY (ARRAY['studio'::text, 'vendor'::text])))
);

ALTER TABLE ONLY ph.permission_decision FORCE ROW LEVEL SECURITY;

ALTER TABLE ph.permission_decision OWNER TO ph_owner;

CREATE TABLE ph.project (
    studio_id uuid NOT NULL,
    id uuid NOT NULL,
    code text NOT NULL,
    title text NOT NULL,
    created_at timestamp with time zone DEFAULT now() NOT NULL,
    created_by uuid NOT NULL,
    by_name text,
    CONSTRAINT project_code_form CHECK ((code ~ '^[A-Za-z0-9][A-Za-z0-9_.-]{0,63}$'::text)),
    CONSTRAINT project_title_length CHECK (((char_length(title) >= 1) AND (char_length(title) <= 200)))
);

ALTER TABLE ONLY ph.project FORCE ROW LEVEL SECURITY;

ALTER TABLE ph.project OWNER TO ph_owner;

CREATE TABLE ph.prop (
    studio_id uuid NOT NULL,
    vendor_id uuid NOT NULL,
    work_order_id uuid NOT NULL,
    id uuid NOT NULL,
    code text NOT NULL,
    title text NOT NULL,
    tier text NOT NULL,
    price_minor bigint NOT NULL,
    ordered_at timestamp with time zone DEFAULT now() NOT NULL,
    ordered_by uuid NOT NULL,
    by_name text,
    work_began_at timestamp with time zone,
    spec_in_force uuid,
    kind text DEFAULT 'prop'::text NOT NULL,
    kit text,
    pilot boolean DEFAULT false NOT NULL,
    blocked_by integer DEFAULT 0 NOT NULL,
    blocked_since timestamp with time zone,
    blocked_secs bigint DEFAULT 0 NOT NULL,
    CONSTRAINT prop_code_form CHECK ((code ~ '^[A-Za-z0-9][A-Za-z0-9_.-]{0,63}$'::text)),
    CONSTRAINT prop_price_range CHECK (((price_minor >= 0) AND (price_minor <= '1000000000000'::bigint))),
    CONSTRAINT prop_tier_known CHECK ((tier = ANY (ARRAY['background'::text, 'mid'::text, 'hero'::text, 'close_up'::text]))),
    CONSTRAINT prop_title_length CHECK (((char_length(title) >= 1) AND (char_length(title) <= 200)))
);

ALTER TABLE ONLY ph.prop FORCE ROW LEVEL SECURITY;

ALTER TABLE ph.prop OWNER TO ph_owner;

CREATE TABLE ph.question (
    studio_id uuid NOT NULL,
    vendor_id uuid NOT NULL,
    work_order_id uuid NOT NULL,
    prop_id uuid NOT NULL,
    id uuid NOT NULL,
    number integer NOT NULL,
    blocks boolean NOT NULL,
    state text NOT NULL,
    last_event text NOT NULL,
    since timestamp with time zone DEFAULT now() NOT NULL,
    waited_secs bigint DEFAULT 0 NOT NULL,
    asked_by uuid NOT NULL,
    by_name text,
    asked_at timestamp with time zone DEFAULT now() NOT NULL,
    CONSTRAINT question_state_known CHECK ((state = ANY (ARRAY['asked'::text, 'answered'::text, 'closed'::text])))
);

ALTER TABLE ONLY ph.question FORCE ROW LEVEL SECURITY;

ALTER TABLE ph.question OWNER TO ph_owner;

CREATE TABLE ph.question_message (
    studio_id uuid NOT NULL,
    vendor_id uuid NOT NULL,
    work_order_id uuid NOT NULL,
    question_id uuid NOT NULL,
    id uuid NOT NULL,
    side text NOT NULL,
    event text NOT NULL,
    text text NOT NULL,
    salt bytea NOT NULL,
    spec_revision_id uuid,
    by_member uuid NOT NULL,
    by_name text,
    at timestamp with time zone DEFAULT now() NOT NULL,
    CONSTRAINT question_message_side_known CHECK ((side = ANY (ARRAY['studio'::text, 'vendor'::text]))),
    CONSTRAINT question_message_text_length CHECK (((char_length(text) >= ((event <> 'close'::text))::integer) AND (char_length(text) <= 10000)))
);

ALTER TABLE ONLY ph.question_message FORCE ROW LEVEL SECURITY;

ALTER TABLE ph.question_message OWNER TO ph_owner;

CREATE TABLE ph.reference_ack (
    studio_id uuid NOT NULL,
    vendor_id uuid NOT NULL,
    work_order_id uuid NOT NULL,
    pack_id uuid NOT NULL,
    id uuid NOT NULL,
    by_member uuid NOT NULL,
    by_name text,
    at timestamp with time zone DEFAULT now() NOT NULL
);

ALTER TABLE ONLY ph.reference_ack FORCE ROW LEVEL SECURITY;

ALTER TABLE ph.reference_ack OWNER TO ph_owner;

CREATE TABLE ph.reference_file (
    studio_id uuid NOT NULL,
    vendor_id uuid NOT NULL,
    work_order_id uuid NOT NULL,
    pack_id uuid NOT NULL,
    id uuid NOT NULL,
    ord integer NOT NULL,
    path text NOT NULL,
    what text NOT NULL,
    size bigint NOT NULL,
    sha256 bytea NOT NULL,
    media_type text NOT NULL,
    object_key text NOT NULL,
    published boolean DEFAULT false NOT NULL,
    CONSTRAINT reference_file_path_form CHECK ((((char_length(path) >= 1) AND (char_length(path) <= 1024)) AND (path !~ '(^/|\\|(^|/)\.\.?(/|$)|//|[[:cntrl:]])'::text))),
    CONSTRAINT reference_file_sha256_length CHECK ((length(sha256) = 32)),
    CONSTRAINT reference_file_what_known CHECK ((what = ANY (ARRAY['concept'::text, 'scale'::text, 'material_board'::text, 'neighbour'::text, 'block_out_view'::text, 'yardstick'::text, 'avoid'::text, 'other'::text])))
);

ALTER TABLE ONLY ph.reference_file FORCE ROW LEVEL SECURITY;

ALTER TABLE ph.reference_file OWNER TO ph_owner;

CREATE TABLE ph.reference_pack (
    studio_id uuid NOT NULL,
    vendor_id uuid NOT NULL,
    work_order_id uuid NOT NULL,
    id uuid NOT NULL,
    number integer NOT NULL,
    note text NOT NULL,
    by_member uuid NOT NULL,
    by_name text,
    at timestamp with time zone DEFAULT now() NOT NULL,
    published_at timestamp with time zone,
    CONSTRAINT reference_pack_note_length CHECK ((char_length(note) <= 4000))
);

ALTER TABLE ONLY ph.reference_pack FORCE ROW LEVEL SECURITY;

ALTER TABLE ph.reference_pack OWNER TO ph_owner;

CREATE TABLE ph.reminder (
    studio_id uuid NOT NULL,
    vendor_id uuid NOT NULL,
    work_order_id uuid NOT NULL,
    prop_id uuid NOT NULL,
    milestone_id uuid NOT NULL,
    delivery_id uuid NOT NULL,
    id uuid NOT NULL,
    review_due_at timestamp with time zone NOT NULL,
    effective_at timestamp with time zone NOT NULL,
    at timestamp with time zone DEFAULT now() NOT NULL,
    CONSTRAINT reminder_leaves_time CHECK (((effective_at >= (at + '20:00:00'::interval)) AND (effective_at >= review_due_at)))
);

ALTER TABLE ONLY ph.reminder FORCE ROW LEVEL SECURITY;

ALTER TABLE ph.reminder OWNER TO ph_owner;

CREATE TABLE ph.session (
    party_id uuid NOT NULL,
    member_id uuid NOT NULL,
    id uuid NOT NULL,
    secret_hash bytea NOT NULL,
    created_at timestamp with time zone DEFAULT now() NOT NULL,
    expires_at timestamp with time zone NOT NULL,
    last_seen_at timestamp with time zone,
    ended_at timestamp with time zone
);

ALTER TABLE ONLY ph.session FORCE ROW LEVEL SECURITY;

ALTER TABLE ph.session OWNER TO ph_owner;

CREATE TABLE ph.set_use (
    studio_id uuid NOT NULL,
    vendor_id uuid NOT NULL,
    work_order_id uuid NOT NULL,
    prop_id uuid NOT NULL,
    set_id uuid NOT NULL,
    delivery_id uuid NOT NULL,
    id uuid NOT NULL,
    side text NOT NULL,
    by_member uuid NOT NULL,
    by_name text,
    at timestamp with time zone DEFAULT now() NOT NULL,
    CONSTRAINT set_use_not_itself CHECK ((prop_id <> set_id)),
    CONSTRAINT set_use_side_known CHECK ((side = ANY (ARRAY['studio'::text, 'vendor'::text])))
);

ALTER TABLE ONLY ph.set_use FORCE ROW LEVEL SECURITY;

ALTER TABLE ph.set_use OWNER TO ph_owner;

CREATE TABLE ph.sign_off (
    studio_id uuid NOT NULL,
    vendor_id uuid NOT NULL,
    work_order_id uuid NOT NULL,
    prop_id uuid NOT NULL,
    milestone_id uuid NOT NULL,
    delivery_id uuid NOT NULL,
    inspection_id uuid NOT NULL,
    id uuid NOT NULL,
    decision text NOT NULL,
    reason text NOT NULL,
    by_member uuid,
    by_name text,
    by_role text NOT NULL,
    opened_by uuid NOT NULL,
    sealed_by uuid NOT NULL,
    at timestamp with time zone DEFAULT now() NOT NULL,
    cause text,
    reminder_id uuid,
    effective_at timestamp with time zone,
    deputy_id uuid,
    CONSTRAINT sign_off_reason_given CHECK (((decision = 'accept'::text) OR (char_length(reason) > 0))),
    CONSTRAINT sign_off_reason_length CHECK ((char_length(reason) <= 4000))
);

ALTER TABLE ONLY ph.sign_off FORCE ROW LEVEL SECURITY;

ALTER TABLE ph.sign_off OWNER TO ph_owner;

CREATE TABLE ph.spec_ack (
    studio_id uuid NOT NULL,
    vendor_id uuid NOT NULL,
    work_order_id uuid NOT NULL,
    prop_id uuid NOT NULL,
    spec_revision_id uuid NOT NULL,
    id uuid NOT NULL,
    by_member uuid NOT NULL,
    by_name text,
    at timestamp with time zone DEFAULT now() NOT NULL
);

ALTER TABLE ONLY ph.spec_ack FORCE ROW LEVEL SECURITY;

ALTER TABLE ph.spec_ack OWNER TO ph_owner;

CREATE TABLE ph.spec_revision (
    studio_id uuid NOT NULL,
    vendor_id uuid NOT NULL,
    work_order_id uuid NOT NULL,
    prop_id uuid NOT NULL,
    id uuid NOT NULL,
    number integer NOT NULL,
    parent_id uuid,
    document bytea NOT NULL,
    document_sha256 bytea NOT NULL,
    digest bytea NOT NULL,
    note text NOT NULL,
    by_member uuid NOT NULL,
    by_name text,
    created_at timestamp with time zone DEFAULT now() NOT NULL,
    CONSTRAINT spec_revision_digest_length CHECK (((length(digest) = 32) AND (length(document_sha256) = 32))),
    CONSTRAINT spec_revision_document_size CHECK (((length(document) >= 1) AND (length(document) <= 1048576))),
    CONSTRAINT spec_revision_first_has_no_parent CHECK (((number = 1) = (parent_id IS NULL))),
    CONSTRAINT spec_revision_note_length CHECK ((char_length(note) <= 4000))
);

ALTER TABLE ONLY ph.spec_revision FORCE ROW LEVEL SECURITY;

ALTER TABLE ph.spec_revision OWNER TO ph_owner;

CREATE TABLE ph.token (
    party_id uuid NOT NULL,
    member_id uuid NOT NULL,
    id uuid NOT NULL,
    name text NOT NULL,
    hint text NOT NULL,
    secret_hash bytea NOT NULL,
    scopes text[] NOT NULL,
    created_at timestamp with time zone DEFAULT now() NOT NULL,
    expires_at timestamp with time zone NOT NULL,
    last_used_at timestamp with time zone,
    revoked_at timestamp with time zone,
    CONSTRAINT token_name_length CHECK (((char_length(name) >= 1) AND (char_length(name) <= 100))),
    CONSTRAINT token_scopes_known CHECK (((cardinality(scopes) > 0) AND (scopes <@ ARRAY['read'::text, 'deliver'::text, 'order'::text, 'review'::text, 'admin'::text])))
);

ALTER TABLE ONLY ph.token FORCE ROW LEVEL SECURITY;

ALTER TABLE ph.token OWNER TO ph_owner;

CREATE TABLE ph.work_order (
    studio_id uuid NOT NULL,
    vendor_id uuid NOT NULL,
    id uuid NOT NULL,
    project_id uuid NOT NULL,
    code text NOT NULL,
    title text NOT NULL,
    currency text NOT NULL,
    rounds_included integer NOT NULL,
    review_days integer NOT NULL,
    terms text NOT NULL,
    placed_at timestamp with time zone DEFAULT now() NOT NULL,
    placed_by uuid NOT NULL,
    by_name text,
    silence_accepts boolean DEFAULT false NOT NULL,
    kill_fee_bp integer DEFAULT 0 NOT NULL,
    codename text DEFAULT ''::text NOT NULL,
    nda_required boolean DEFAULT false NOT NULL,
    source_roles text[] DEFAULT '{}'::text[] NOT NULL,
    CONSTRAINT work_order_code_form CHECK ((code ~ '^[A-Za-z0-9][A-Za-z0-9_.-]{0,63}$'::text)),
    CONSTRAINT work_order_currency_form CHECK ((currency ~ '^[A-Z]{3}$'::text)),
    CONSTRAINT work_order_review_range CHECK (((review_days >= 1) AND (review_days <= 365))),
    CONSTRAINT work_order_rounds_range CHECK (((rounds_included >= 0) AND (rounds_included <= 100))),
    CONSTRAINT work_order_terms_length CHECK ((char_length(terms) <= 100000)),
    CONSTRAINT work_order_title_length CHECK (((char_length(title) >= 1) AND (char_length(title) <= 200)))
);

ALTER TABLE ONLY ph.work_order FORCE ROW LEVEL SECURITY;

ALTER TABLE ph.work_order OWNER TO ph_owner;

ALTER TABLE ONLY ph.finding ATTACH PARTITION ph.finding_2026_h1 FOR VALUES FROM ('019b76da-a800-0000-0000-000000000000') TO ('019f1af9-b400-0000-0000-000000000000');

ALTER TABLE ONLY ph.finding ATTACH PARTITION ph.finding_2026_h2 FOR VALUES FROM ('019f1af9-b400-0000-0000-000000000000') TO ('01a2ce8b-d400-0000-0000-000000000000');

ALTER TABLE ONLY ph.finding ATTACH PARTITION ph.finding_2027_h1 FOR VALUES FROM ('01a2ce8b-d400-0000-0000-000000000000') TO ('01a672aa-e000-0000-0000-000000000000');

ALTER TABLE ONLY ph.finding ATTACH PARTITION ph.finding_2027_h2 FOR VALUES FROM ('01a672aa-e000-0000-0000-000000000000') TO ('01aa263d-0000-0000-0000-000000000000');

ALTER TABLE ONLY ph.finding ATTACH PARTITION ph.finding_2028_h1 FOR VALUES FROM ('01aa263d-0000-0000-0000-000000000000') TO ('01adcf82-6800-0000-0000-000000000000');

ALTER TABLE ONLY ph.finding ATTACH PARTITION ph.finding_2028_h2 FOR VALUES FROM ('01adcf82-6800-0000-0000-000000000000') TO ('01b18314-8800-0000-0000-000000000000');

ALTER TABLE ONLY ph.finding ATTACH PARTITION ph.finding_2029_h1 FOR VALUES FROM ('01b18314-8800-0000-0000-000000000000') TO ('01b52733-9400-0000-0000-000000000000');

ALTER TABLE ONLY ph.finding ATTACH PARTITION ph.finding_2029_h2 FOR VALUES FROM ('01b52733-9400-0000-0000-000000000000') TO ('01b8dac5-b400-0000-0000-000000000000');

ALTER TABLE ONLY ph.finding ATTACH PARTITION ph.finding_rest DEFAULT;

ALTER TABLE ONLY ph.anchor
    ADD CONSTRAINT anchor_pkey PRIMARY KEY (studio_id, log_id, size);

ALTER TABLE ONLY ph.batch
    ADD CONSTRAINT batch_number_key UNIQUE (studio_id, work_order_id, number);

ALTER TABLE ONLY ph.batch
    ADD CONSTRAINT batch_parties UNIQUE (studio_id, vendor_id, work_order_id, id);

ALTER TABLE ONLY ph.batch
    ADD CONSTRAINT batch_pkey PRIMARY KEY (studio_id, id);

ALTER TABLE ONLY ph.calendar
    ADD CONSTRAINT calendar_number_key UNIQUE (party_id, number);

ALTER TABLE ONLY ph.calendar
    ADD CONSTRAINT calendar_pkey PRIMARY KEY (party_id, id);

ALTER TABLE ph.cancellation
    ADD CONSTRAINT cancellation_fee_range CHECK ((fee_minor >= 0)) NOT VALID;

ALTER TABLE ONLY ph.cancellation
    ADD CONSTRAINT cancellation_once UNIQUE (studio_id, milestone_id);

ALTER TABLE ONLY ph.cancellation
    ADD CONSTRAINT cancellation_parties UNIQUE (studio_id, vendor_id, work_order_id, id);

ALTER TABLE ONLY ph.cancellation
    ADD CONSTRAINT cancellation_pkey PRIMARY KEY (studio_id, id);

ALTER TABLE ONLY ph.change_order
    ADD CONSTRAINT change_order_parties UNIQUE (studio_id, vendor_id, work_order_id, id);

ALTER TABLE ONLY ph.change_order
    ADD CONSTRAINT change_order_pkey PRIMARY KEY (studio_id, id);

ALTER TABLE ONLY ph.checkpoint
    ADD CONSTRAINT checkpoint_pkey PRIMARY KEY (size);

ALTER TABLE ONLY ph.concession
    ADD CONSTRAINT concession_once UNIQUE (studio_id, inspection_id, ord);

ALTER TABLE ONLY ph.concession
    ADD CONSTRAINT concession_pkey PRIMARY KEY (studio_id, id);

ALTER TABLE ONLY ph.daily_check
    ADD CONSTRAINT daily_check_pkey PRIMARY KEY (studio_id, day, vendor_id, project_id, tier, chk, shard);

ALTER TABLE ONLY ph.daily_milestone
    ADD CONSTRAINT daily_milestone_pkey PRIMARY KEY (studio_id, day, vendor_id, project_id, tier, shard);

ALTER TABLE ONLY ph.delivery
    ADD CONSTRAINT delivery_number_key UNIQUE (studio_id, milestone_id, number);

ALTER TABLE ONLY ph.delivery
    ADD CONSTRAINT delivery_of_order UNIQUE (studio_id, vendor_id, work_order_id, id);

ALTER TABLE ONLY ph.delivery
    ADD CONSTRAINT delivery_parties UNIQUE (studio_id, vendor_id, work_order_id, prop_id, milestone_id, id);

ALTER TABLE ONLY ph.delivery
    ADD CONSTRAINT delivery_pkey PRIMARY KEY (studio_id, id);

ALTER TABLE ph.delivery
    ADD CONSTRAINT delivery_round_cause_known CHECK ((round_cause = ANY (ARRAY['first'::text, 'nonconformity'::text, 'changed_mind'::text, 'not_evaluated'::text]))) NOT VALID;

ALTER TABLE ONLY ph.deputy
    ADD CONSTRAINT deputy_pkey PRIMARY KEY (studio_id, id);

ALTER TABLE ONLY ph.engagement
    ADD CONSTRAINT engagement_pkey PRIMARY KEY (studio_id, vendor_id);

ALTER TABLE ONLY ph.erasure
    ADD CONSTRAINT erasure_once UNIQUE (studio_id, log_id, member_id);

ALTER TABLE ONLY ph.erasure
    ADD CONSTRAINT erasure_pkey PRIMARY KEY (studio_id, id);

ALTER TABLE ONLY ph.evidence
    ADD CONSTRAINT evidence_pkey PRIMARY KEY (studio_id, inspection_id, name);

ALTER TABLE ONLY ph.fact_person
    ADD CONSTRAINT fact_person_pkey PRIMARY KEY (studio_id, log_id, idx);

ALTER TABLE ONLY ph.fact
    ADD CONSTRAINT fact_pkey PRIMARY KEY (studio_id, log_id, idx);

ALTER TABLE ONLY ph.file
    ADD CONSTRAINT file_ord_key UNIQUE (studio_id, delivery_id, ord);

ALTER TABLE ONLY ph.file_part
    ADD CONSTRAINT file_part_pkey PRIMARY KEY (studio_id, file_id, number);

ALTER TABLE ONLY ph.file
    ADD CONSTRAINT file_parties UNIQUE (studio_id, vendor_id, id);

ALTER TABLE ONLY ph.file
    ADD CONSTRAINT file_pkey PRIMARY KEY (studio_id, id);

ALTER TABLE ONLY ph.finding
    ADD CONSTRAINT finding_pkey PRIMARY KEY (inspection_id, ord);

ALTER TABLE ONLY ph.finding_2026_h1
    ADD CONSTRAINT finding_2026_h1_pkey PRIMARY KEY (inspection_id, ord);

ALTER TABLE ONLY ph.finding_2026_h2
    ADD CONSTRAINT finding_2026_h2_pkey PRIMARY KEY (inspection_id, ord);

ALTER TABLE ONLY ph.finding_2027_h1
    ADD CONSTRAINT finding_2027_h1_pkey PRIMARY KEY (inspection_id, ord);

ALTER TABLE ONLY ph.finding_2027_h2
    ADD CONSTRAINT finding_2027_h2_pkey PRIMARY KEY (inspection_id, ord);

ALTER TABLE ONLY ph.finding_2028_h1
    ADD CONSTRAINT finding_2028_h1_pkey PRIMARY KEY (inspection_id, ord);

ALTER TABLE ONLY ph.finding_2028_h2
    ADD CONSTRAINT finding_2028_h2_pkey PRIMARY KEY (inspection_id, ord);

ALTER TABLE ONLY ph.finding_2029_h1
    ADD CONSTRAINT finding_2029_h1_pkey PRIMARY KEY (inspection_id, ord);

ALTER TABLE ONLY ph.finding_2029_h2
    ADD CONSTRAINT finding_2029_h2_pkey PRIMARY KEY (inspection_id, ord);

ALTER TABLE ONLY ph.finding_rest
    ADD CONSTRAINT finding_rest_pkey PRIMARY KEY (inspection_id, ord);

ALTER TABLE ONLY ph.goose_db_version
    ADD CONSTRAINT goose_db_version_pkey PRIMARY KEY (id);

ALTER TABLE ONLY ph.handover_file
    ADD CONSTRAINT handover_file_pkey PRIMARY KEY (studio_id, handover_id, ord);

ALTER TABLE ONLY ph.handover
    ADD CONSTRAINT handover_number_key UNIQUE (studio_id, work_order_id, number);

ALTER TABLE ONLY ph.handover
    ADD CONSTRAINT handover_pkey PRIMARY KEY (studio_id, id);

ALTER TABLE ONLY ph.hold
    ADD CONSTRAINT hold_pkey PRIMARY KEY (studio_id, id);

ALTER TABLE ONLY ph.house_hash
    ADD CONSTRAINT house_hash_pkey PRIMARY KEY (idx);

ALTER TABLE ONLY ph.house_leaf
    ADD CONSTRAINT house_leaf_pkey PRIMARY KEY (idx);

ALTER TABLE ONLY ph.idempotency
    ADD CONSTRAINT idempotency_pkey PRIMARY KEY (party_id, member_id, method, route, key);

ALTER TABLE ONLY ph.inspection
    ADD CONSTRAINT inspection_parties UNIQUE (studio_id, vendor_id, id);

ALTER TABLE ONLY ph.inspection
    ADD CONSTRAINT inspection_pkey PRIMARY KEY (studio_id, id);

ALTER TABLE ONLY ph.invitation
    ADD CONSTRAINT invitation_pkey PRIMARY KEY (party_id, id);

ALTER TABLE ph.invitation
    ADD CONSTRAINT invitation_roles_fit_side CHECK (((cardinality(roles) > 0) AND (((side = 'studio'::text) AND (roles <@ ARRAY['producer'::text, 'art_director'::text, 'art_lead'::text, 'technical_artist'::text])) OR ((side = 'vendor'::text) AND (roles <@ ARRAY['vendor_lead'::text, 'vendor_artist'::text]))))) NOT VALID;

ALTER TABLE ONLY ph.log_hash
    ADD CONSTRAINT log_hash_pkey PRIMARY KEY (studio_id, log_id, idx);

ALTER TABLE ONLY ph.log
    ADD CONSTRAINT log_pkey PRIMARY KEY (studio_id, id);

ALTER TABLE ONLY ph.maintenance
    ADD CONSTRAINT maintenance_once UNIQUE (studio_id, milestone_id);

ALTER TABLE ONLY ph.maintenance
    ADD CONSTRAINT maintenance_pkey PRIMARY KEY (studio_id, id);

ALTER TABLE ONLY ph.member
    ADD CONSTRAINT member_pkey PRIMARY KEY (party_id, id);

ALTER TABLE ph.member
    ADD CONSTRAINT member_roles_fit_side CHECK (((cardinality(roles) > 0) AND (((side = 'studio'::text) AND (roles <@ ARRAY['producer'::text, 'art_director'::text, 'art_lead'::text, 'technical_artist'::text])) OR ((side = 'vendor'::text) AND (roles <@ ARRAY['vendor_lead'::text, 'vendor_artist'::text]))))) NOT VALID;

ALTER TABLE ph.milestone
    ADD CONSTRAINT milestone_changed_amount_range CHECK (((amount_minor + change_minor) >= 0)) NOT VALID;

ALTER TABLE ph.milestone
    ADD CONSTRAINT milestone_kind_known CHECK (((kind = ANY (ARRAY['block_out'::text, 'sculpt'::text, 'game_mesh'::text, 'maps'::text, 'final'::text, 'maintenance'::text])) AND ((kind <> 'maintenance'::text) OR ((share_bp + amount_minor) = 0)))) NOT VALID;

ALTER TABLE ONLY ph.milestone
    ADD CONSTRAINT milestone_parties UNIQUE (studio_id, vendor_id, work_order_id, prop_id, id);

ALTER TABLE ONLY ph.milestone
    ADD CONSTRAINT milestone_pkey PRIMARY KEY (studio_id, id);

ALTER TABLE ONLY ph.milestone
    ADD CONSTRAINT milestone_position_key UNIQUE (studio_id, prop_id, "position");

ALTER TABLE ph.milestone
    ADD CONSTRAINT milestone_state_known CHECK ((state = ANY (ARRAY['open'::text, 'inspecting'::text, 'failed'::text, 'stuck'::text, 'review'::text, 'held'::text, 'returned'::text, 'accepted'::text, 'cancelled'::text]))) NOT VALID;

ALTER TABLE ONLY ph.move
    ADD CONSTRAINT move_pkey PRIMARY KEY (machine, from_state, event);

ALTER TABLE ONLY ph.nda_ack
    ADD CONSTRAINT nda_ack_once UNIQUE (studio_id, work_order_id, by_member);

ALTER TABLE ONLY ph.nda_ack
    ADD CONSTRAINT nda_ack_pkey PRIMARY KEY (studio_id, id);

ALTER TABLE ONLY ph.notary_key
    ADD CONSTRAINT notary_key_pkey PRIMARY KEY (number);

ALTER TABLE ONLY ph.notary_key
    ADD CONSTRAINT notary_key_verifier_key UNIQUE (verifier);

ALTER TABLE ONLY ph.note
    ADD CONSTRAINT note_pkey PRIMARY KEY (studio_id, id);

ALTER TABLE ONLY ph.note_resolution
    ADD CONSTRAINT note_resolution_pkey PRIMARY KEY (studio_id, id);

ALTER TABLE ONLY ph.order_calendar
    ADD CONSTRAINT order_calendar_once UNIQUE (studio_id, work_order_id, side);

ALTER TABLE ONLY ph.order_calendar
    ADD CONSTRAINT order_calendar_pkey PRIMARY KEY (studio_id, id);

ALTER TABLE ONLY ph.party
    ADD CONSTRAINT party_pkey PRIMARY KEY (id);

ALTER TABLE ph.payable
    ADD CONSTRAINT payable_has_its_ground CHECK (
CASE kind
    WHEN 'milestone'::text THEN ((sign_off_id IS NOT NULL) AND (cancellation_id IS NULL))
    WHEN 'kill_fee'::text THEN ((sign_off_id IS NULL) AND (cancellation_id IS NOT NULL))
    ELSE false
END) NOT VALID;

ALTER TABLE ONLY ph.payable
    ADD CONSTRAINT payable_once UNIQUE (studio_id, milestone_id);

ALTER TABLE ONLY ph.payable
    ADD CONSTRAINT payable_pkey PRIMARY KEY (studio_id, id);

ALTER TABLE ONLY ph.payment_hold_end
    ADD CONSTRAINT payment_hold_end_once UNIQUE (studio_id, hold_id);

ALTER TABLE ONLY ph.payment_hold_end
    ADD CONSTRAINT payment_hold_end_pkey PRIMARY KEY (studio_id, id);

ALTER TABLE ONLY ph.payment_hold
    ADD CONSTRAINT payment_hold_once UNIQUE (studio_id, milestone_id);

ALTER TABLE ONLY ph.payment_hold
    ADD CONSTRAINT payment_hold_pkey PRIMARY KEY (studio_id, id);

ALTER TABLE ONLY ph.permission_decision
    ADD CONSTRAINT permission_decision_pkey PRIMARY KEY (studio_id, id);

ALTER TABLE ONLY ph.permission
    ADD CONSTRAINT permission_parties UNIQUE (studio_id, vendor_id, work_order_id, id);

ALTER TABLE ONLY ph.permission
    ADD CONSTRAINT permission_pkey PRIMARY KEY (studio_id, id);

ALTER TABLE ONLY ph.project
    ADD CONSTRAINT project_code_key UNIQUE (studio_id, code);

ALTER TABLE ONLY ph.project
    ADD CONSTRAINT project_pkey PRIMARY KEY (studio_id, id);

ALTER TABLE ONLY ph.prop
    ADD CONSTRAINT prop_code_key UNIQUE (studio_id, work_order_id, code);

ALTER TABLE ph.prop
    ADD CONSTRAINT prop_kind_known CHECK ((kind = ANY (ARRAY['prop'::text, 'texture_set'::text, 'kit'::text]))) NOT VALID;

ALTER TABLE ph.prop
    ADD CONSTRAINT prop_kit_form CHECK ((kit ~ '^[A-Za-z0-9][A-Za-z0-9_.-]{0,63}$'::text)) NOT VALID;

ALTER TABLE ONLY ph.prop
    ADD CONSTRAINT prop_parties UNIQUE (studio_id, vendor_id, work_order_id, id);

ALTER TABLE ph.prop
    ADD CONSTRAINT prop_pilot_has_kit CHECK (((NOT pilot) OR (kit IS NOT NULL))) NOT VALID;

ALTER TABLE ONLY ph.prop
    ADD CONSTRAINT prop_pkey PRIMARY KEY (studio_id, id);

ALTER TABLE ONLY ph.question_message
    ADD CONSTRAINT question_message_pkey PRIMARY KEY (studio_id, id);

ALTER TABLE ONLY ph.question
    ADD CONSTRAINT question_number_key UNIQUE (studio_id, prop_id, number);

ALTER TABLE ONLY ph.question
    ADD CONSTRAINT question_parties UNIQUE (studio_id, vendor_id, work_order_id, id);

ALTER TABLE ONLY ph.question
    ADD CONSTRAINT question_pkey PRIMARY KEY (studio_id, id);

ALTER TABLE ONLY ph.reference_ack
    ADD CONSTRAINT reference_ack_once UNIQUE (studio_id, pack_id);

ALTER TABLE ONLY ph.reference_ack
    ADD CONSTRAINT reference_ack_pkey PRIMARY KEY (studio_id, id);

ALTER TABLE ONLY ph.reference_file
    ADD CONSTRAINT reference_file_ord_key UNIQUE (studio_id, pack_id, ord);

ALTER TABLE ONLY ph.reference_file
    ADD CONSTRAINT reference_file_pkey PRIMARY KEY (studio_id, id);

ALTER TABLE ONLY ph.reference_pack
    ADD CONSTRAINT reference_pack_number_key UNIQUE (studio_id, work_order_id, number);

ALTER TABLE ONLY ph.reference_pack
    ADD CONSTRAINT reference_pack_parties UNIQUE (studio_id, vendor_id, work_order_id, id);

ALTER TABLE ONLY ph.reference_pack
    ADD CONSTRAINT reference_pack_pkey PRIMARY KEY (studio_id, id);

ALTER TABLE ONLY ph.reminder
    ADD CONSTRAINT reminder_of_delivery UNIQUE (studio_id, delivery_id, id, effective_at);

ALTER TABLE ONLY ph.reminder
    ADD CONSTRAINT reminder_pkey PRIMARY KEY (studio_id, id);

ALTER TABLE ONLY ph.session
    ADD CONSTRAINT session_pkey PRIMARY KEY (party_id, id);

ALTER TABLE ONLY ph.set_use
    ADD CONSTRAINT set_use_pkey PRIMARY KEY (studio_id, id);

ALTER TABLE ph.sign_off
    ADD CONSTRAINT sign_off_by_somebody CHECK ((((decision = 'deemed'::text) = (by_member IS NULL)) AND ((decision = 'deemed'::text) = (by_role = 'clock'::text)))) NOT VALID;

ALTER TABLE ph.sign_off
    ADD CONSTRAINT sign_off_cause_known CHECK (((cause IS NULL) OR ((cause = ANY (ARRAY['nonconformity'::text, 'changed_mind'::text])) AND (decision = 'return'::text)))) NOT VALID;

ALTER TABLE ph.sign_off
    ADD CONSTRAINT sign_off_decision_known CHECK ((decision = ANY (ARRAY['accept'::text, 'accept_note'::text, 'accept_as_is'::text, 'return'::text, 'deemed'::text]))) NOT VALID;

ALTER TABLE ph.sign_off
    ADD CONSTRAINT sign_off_not_by_own_hand CHECK (((by_member <> opened_by) AND (by_member <> sealed_by))) NOT VALID;

ALTER TABLE ONLY ph.sign_off
    ADD CONSTRAINT sign_off_once UNIQUE (studio_id, delivery_id);

ALTER TABLE ONLY ph.sign_off
    ADD CONSTRAINT sign_off_parties UNIQUE (studio_id, vendor_id, work_order_id, id);

ALTER TABLE ONLY ph.sign_off
    ADD CONSTRAINT sign_off_pkey PRIMARY KEY (studio_id, id);

ALTER TABLE ph.sign_off
    ADD CONSTRAINT sign_off_role_known CHECK ((by_role = ANY (ARRAY['art_director'::text, 'art_lead'::text, 'technical_artist'::text, 'clock'::text]))) NOT VALID;

ALTER TABLE ph.sign_off
    ADD CONSTRAINT sign_off_silence_was_announced CHECK ((((decision = 'deemed'::text) = (reminder_id IS NOT NULL)) AND ((decision = 'deemed'::text) = (effective_at IS NOT NULL)) AND ((effective_at IS NULL) OR (effective_at <= at)))) NOT VALID;

ALTER TABLE ONLY ph.spec_ack
    ADD CONSTRAINT spec_ack_once UNIQUE (studio_id, spec_revision_id);

ALTER TABLE ONLY ph.spec_ack
    ADD CONSTRAINT spec_ack_pkey PRIMARY KEY (studio_id, id);

ALTER TABLE ONLY ph.spec_revision
    ADD CONSTRAINT spec_revision_number_key UNIQUE (studio_id, prop_id, number);

ALTER TABLE ONLY ph.spec_revision
    ADD CONSTRAINT spec_revision_pkey PRIMARY KEY (studio_id, id);

ALTER TABLE ONLY ph.spec_revision
    ADD CONSTRAINT spec_revision_prop UNIQUE (studio_id, prop_id, id);

ALTER TABLE ONLY ph.token
    ADD CONSTRAINT token_pkey PRIMARY KEY (party_id, id);

ALTER TABLE ONLY ph.work_order
    ADD CONSTRAINT work_order_code_key UNIQUE (studio_id, code);

ALTER TABLE ph.work_order
    ADD CONSTRAINT work_order_codename_length CHECK ((char_length(codename) <= 64)) NOT VALID;

ALTER TABLE ph.work_order
    ADD CONSTRAINT work_order_kill_fee_range CHECK (((kill_fee_bp >= 0) AND (kill_fee_bp <= 10000))) NOT VALID;

ALTER TABLE ONLY ph.work_order
    ADD CONSTRAINT work_order_parties UNIQUE (studio_id, vendor_id, id);

ALTER TABLE ONLY ph.work_order
    ADD CONSTRAINT work_order_pkey PRIMARY KEY (studio_id, id);

ALTER TABLE ph.work_order
    ADD CONSTRAINT work_order_source_roles_few CHECK ((cardinality(source_roles) <= 20)) NOT VALID;

CREATE INDEX batch_by_vendor ON ph.batch USING btree (vendor_id, id);

CREATE INDEX change_order_by_vendor ON ph.change_order USING btree (vendor_id, id);

CREATE INDEX change_order_of_milestone ON ph.change_order USING btree (studio_id, milestone_id);

CREATE INDEX change_order_of_order ON ph.change_order USING btree (studio_id, work_order_id, id);

CREATE UNIQUE INDEX change_order_of_spec_key ON ph.change_order USING btree (studio_id, spec_revision_id) WHERE (state = ANY (ARRAY['for_vendor'::text, 'for_studio'::text, 'agreed'::text]));

CREATE INDEX concession_of_delivery ON ph.concession USING btree (studio_id, delivery_id, id);

CREATE INDEX daily_check_by_vendor ON ph.daily_check USING btree (vendor_id, day);

CREATE INDEX daily_milestone_by_vendor ON ph.daily_milestone USING btree (vendor_id, day);

CREATE INDEX delivery_by_order ON ph.delivery USING btree (studio_id, work_order_id, id);

CREATE INDEX delivery_by_prop ON ph.delivery USING btree (studio_id, prop_id, id);

CREATE INDEX delivery_by_vendor ON ph.delivery USING btree (vendor_id, id);

CREATE INDEX delivery_of_batch ON ph.delivery USING btree (studio_id, batch_id, id) WHERE (batch_id IS NOT NULL);

CREATE INDEX delivery_to_sweep ON ph.delivery USING btree (opened_at, id) WHERE ((state = ANY (ARRAY['open'::text, 'abandoned'::text])) AND (swept_at IS NULL));

CREATE UNIQUE INDEX delivery_under_way_key ON ph.delivery USING btree (studio_id, milestone_id) WHERE (state = ANY (ARRAY['open'::text, 'sealing'::text]));

CREATE INDEX deputy_of_member ON ph.deputy USING btree (studio_id, member_id, until_on);

CREATE INDEX engagement_by_vendor ON ph.engagement USING btree (vendor_id, studio_id);

CREATE INDEX fact_of_member ON ph.fact USING btree (member_id, studio_id, log_id) WHERE (member_id IS NOT NULL);

CREATE INDEX fact_of_subject ON ph.fact USING btree (studio_id, subject_id, kind);

CREATE UNIQUE INDEX file_path_key ON ph.file USING btree (studio_id, delivery_id, lower(path));

CREATE INDEX finding_failing ON ONLY ph.finding USING btree (vendor_id, chk, inspection_id) WHERE (outcome <> 'pass'::text);

CREATE INDEX finding_2026_h1_vendor_id_chk_inspection_id_idx ON ph.finding_2026_h1 USING btree (vendor_id, chk, inspection_id) WHERE (outcome <> 'pass'::text);

CREATE INDEX finding_2026_h2_vendor_id_chk_inspection_id_idx ON ph.finding_2026_h2 USING btree (vendor_id, chk, inspection_id) WHERE (outcome <> 'pass'::text);

CREATE INDEX finding_2027_h1_vendor_id_chk_inspection_id_idx ON ph.finding_2027_h1 USING btree (vendor_id, chk, inspection_id) WHERE (outcome <> 'pass'::text);

CREATE INDEX finding_2027_h2_vendor_id_chk_inspection_id_idx ON ph.finding_2027_h2 USING btree (vendor_id, chk, inspection_id) WHERE (outcome <> 'pass'::text);

CREATE INDEX finding_2028_h1_vendor_id_chk_inspection_id_idx ON ph.finding_2028_h1 USING btree (vendor_id, chk, inspection_id) WHERE (outcome <> 'pass'::text);

CREATE INDEX finding_2028_h2_vendor_id_chk_inspection_id_idx ON ph.finding_2028_h2 USING btree (vendor_id, chk, inspection_id) WHERE (outcome <> 'pass'::text);

CREATE INDEX finding_2029_h1_vendor_id_chk_inspection_id_idx ON ph.finding_2029_h1 USING btree (vendor_id, chk, inspection_id) WHERE (outcome <> 'pass'::text);

CREATE INDEX finding_2029_h2_vendor_id_chk_inspection_id_idx ON ph.finding_2029_h2 USING btree (vendor_id, chk, inspection_id) WHERE (outcome <> 'pass'::text);

CREATE INDEX finding_rest_vendor_id_chk_inspection_id_idx ON ph.finding_rest USING btree (vendor_id, chk, inspection_id) WHERE (outcome <> 'pass'::text);

CREATE UNIQUE INDEX handover_file_name_key ON ph.handover_file USING btree (studio_id, handover_id, lower(name));

CREATE INDEX hold_of_milestone ON ph.hold USING btree (studio_id, milestone_id, id);

CREATE INDEX hold_of_order ON ph.hold USING btree (studio_id, work_order_id, id);

CREATE INDEX idempotency_age ON ph.idempotency USING btree (created_at);

CREATE INDEX inspection_by_id ON ph.inspection USING btree (id);

CREATE INDEX inspection_by_vendor ON ph.inspection USING btree (vendor_id, id);

CREATE UNIQUE INDEX inspection_current_key ON ph.inspection USING btree (studio_id, delivery_id) WHERE current;

CREATE INDEX inspection_leases ON ph.inspection USING btree (lease_until) WHERE (state = 'running'::text);

CREATE INDEX inspection_of_delivery ON ph.inspection USING btree (studio_id, delivery_id, id);

CREATE INDEX inspection_running ON ph.inspection USING btree (vendor_id) WHERE (state = 'running'::text);

CREATE UNIQUE INDEX inspection_under_way_key ON ph.inspection USING btree (studio_id, delivery_id) WHERE (state <> 'done'::text);

CREATE INDEX inspection_waiting ON ph.inspection USING btree (vendor_id, queued_at, id) WHERE (state = 'queued'::text);

CREATE UNIQUE INDEX invitation_secret_key ON ph.invitation USING btree (secret_hash);

CREATE INDEX log_by_vendor ON ph.log USING btree (vendor_id, id);

CREATE INDEX log_to_anchor ON ph.log USING btree (id) WHERE (anchored_size < size);

CREATE UNIQUE INDEX member_email_key ON ph.member USING btree (email);

CREATE INDEX milestone_all_of_studio ON ph.milestone USING btree (studio_id, due_sort, id);

CREATE INDEX milestone_all_of_vendor ON ph.milestone USING btree (vendor_id, due_sort, id);

CREATE INDEX milestone_by_vendor ON ph.milestone USING btree (vendor_id, id);

CREATE UNIQUE INDEX milestone_kind_key ON ph.milestone USING btree (studio_id, prop_id, kind) WHERE (kind <> 'maintenance'::text);

CREATE INDEX milestone_of_order ON ph.milestone USING btree (studio_id, work_order_id, due_sort, id);

CREATE INDEX milestone_review_due ON ph.milestone USING btree (review_due_at, id) WHERE (state = 'review'::text);

CREATE INDEX milestone_work_of_studio ON ph.milestone USING btree (studio_id, due_sort, id) WHERE (state <> ALL (ARRAY['accepted'::text, 'cancelled'::text]));

CREATE INDEX milestone_work_of_vendor ON ph.milestone USING btree (vendor_id, due_sort, id) WHERE (state <> ALL (ARRAY['accepted'::text, 'cancelled'::text]));

CREATE INDEX note_of_delivery ON ph.note USING btree (studio_id, delivery_id, id);

CREATE INDEX note_resolution_of ON ph.note_resolution USING btree (studio_id, note_id, id);

CREATE INDEX note_resolution_of_order ON ph.note_resolution USING btree (studio_id, work_order_id, id);

CREATE INDEX order_calendar_by_vendor ON ph.order_calendar USING btree (vendor_id, work_order_id);

CREATE INDEX payable_by_order ON ph.payable USING btree (studio_id, work_order_id, id);

CREATE INDEX payable_by_time ON ph.payable USING btree (studio_id, at, id);

CREATE INDEX payable_by_time_of_vendor ON ph.payable USING btree (vendor_id, at, id);

CREATE INDEX payable_by_vendor ON ph.payable USING btree (vendor_id, id);

CREATE INDEX permission_by_vendor ON ph.permission USING btree (vendor_id, id);

CREATE INDEX permission_decision_of ON ph.permission_decision USING btree (studio_id, permission_id, id);

CREATE INDEX permission_decision_of_order ON ph.permission_decision USING btree (studio_id, work_order_id, id);

CREATE INDEX permission_granted ON ph.permission USING btree (studio_id, work_order_id, chk) WHERE (state = 'granted'::text);

CREATE INDEX permission_of_order ON ph.permission USING btree (studio_id, work_order_id, id);

CREATE INDEX prop_by_order ON ph.prop USING btree (studio_id, work_order_id, id);

CREATE INDEX prop_by_vendor ON ph.prop USING btree (vendor_id, id);

CREATE UNIQUE INDEX prop_pilot_key ON ph.prop USING btree (studio_id, work_order_id, kit) WHERE pilot;

CREATE INDEX question_by_vendor ON ph.question USING btree (vendor_id, id);

CREATE INDEX question_message_of ON ph.question_message USING btree (studio_id, question_id, id);

CREATE INDEX question_message_of_order ON ph.question_message USING btree (studio_id, work_order_id, id);

CREATE INDEX question_of_order ON ph.question USING btree (studio_id, work_order_id, id);

CREATE INDEX reminder_due ON ph.reminder USING btree (effective_at, id);

CREATE INDEX reminder_of_milestone ON ph.reminder USING btree (studio_id, milestone_id, id);

CREATE UNIQUE INDEX session_secret_key ON ph.session USING btree (secret_hash);

CREATE INDEX set_use_of_prop ON ph.set_use USING btree (studio_id, prop_id, set_id, id);

CREATE INDEX set_use_of_set ON ph.set_use USING btree (studio_id, set_id, prop_id, id);

CREATE INDEX spec_revision_by_vendor ON ph.spec_revision USING btree (vendor_id, id);

CREATE UNIQUE INDEX token_secret_key ON ph.token USING btree (secret_hash);

CREATE INDEX work_order_by_vendor ON ph.work_order USING btree (vendor_id, id);

ALTER INDEX ph.finding_pkey ATTACH PARTITION ph.finding_2026_h1_pkey;

ALTER INDEX ph.finding_failing ATTACH PARTITION ph.finding_2026_h1_vendor_id_chk_inspection_id_idx;

ALTER INDEX ph.finding_pkey ATTACH PARTITION ph.finding_2026_h2_pkey;

ALTER INDEX ph.finding_failing ATTACH PARTITION ph.finding_2026_h2_vendor_id_chk_inspection_id_idx;

ALTER INDEX ph.finding_pkey ATTACH PARTITION ph.finding_2027_h1_pkey;

ALTER INDEX ph.finding_failing ATTACH PARTITION ph.finding_2027_h1_vendor_id_chk_inspection_id_idx;

ALTER INDEX ph.finding_pkey ATTACH PARTITION ph.finding_2027_h2_pkey;

ALTER INDEX ph.finding_failing ATTACH PARTITION ph.finding_2027_h2_vendor_id_chk_inspection_id_idx;

ALTER INDEX ph.finding_pkey ATTACH PARTITION ph.finding_2028_h1_pkey;

ALTER INDEX ph.finding_failing ATTACH PARTITION ph.finding_2028_h1_vendor_id_chk_inspection_id_idx;

ALTER INDEX ph.finding_pkey ATTACH PARTITION ph.finding_2028_h2_pkey;

ALTER INDEX ph.finding_failing ATTACH PARTITION ph.finding_2028_h2_vendor_id_chk_inspection_id_idx;

ALTER INDEX ph.finding_pkey ATTACH PARTITION ph.finding_2029_h1_pkey;

ALTER INDEX ph.finding_failing ATTACH PARTITION ph.finding_2029_h1_vendor_id_chk_inspection_id_idx;

ALTER INDEX ph.finding_pkey ATTACH PARTITION ph.finding_2029_h2_pkey;

ALTER INDEX ph.finding_failing ATTACH PARTITION ph.finding_2029_h2_vendor_id_chk_inspection_id_idx;

ALTER INDEX ph.finding_pkey ATTACH PARTITION ph.finding_rest_pkey;

ALTER INDEX ph.finding_failing ATTACH PARTITION ph.finding_rest_vendor_id_chk_inspection_id_idx;

CREATE TRIGGER change_order_agreed AFTER UPDATE ON ph.change_order FOR EACH ROW EXECUTE FUNCTION ph.change_order_agreed();

CREATE TRIGGER change_order_guard BEFORE INSERT OR UPDATE OF state, last_event, since ON ph.change_order FOR EACH ROW EXECUTE FUNCTION ph.state_guard('change_order');

CREATE TRIGGER delivery_guard BEFORE INSERT OR UPDATE OF state ON ph.delivery FOR EACH ROW EXECUTE FUNCTION ph.delivery_guard();

CREATE TRIGGER file_guard BEFORE DELETE OR UPDATE ON ph.file FOR EACH ROW EXECUTE FUNCTION ph.file_guard();

CREATE TRIGGER inspection_guard BEFORE INSERT OR UPDATE ON ph.inspection FOR EACH ROW EXECUTE FUNCTION ph.inspection_guard();

CREATE TRIGGER log_guard BEFORE UPDATE ON ph.log FOR EACH ROW EXECUTE FUNCTION ph.log_guard();

CREATE TRIGGER milestone_counted AFTER UPDATE OF state ON ph.milestone FOR EACH ROW EXECUTE FUNCTION ph.milestone_counted();

CREATE TRIGGER milestone_guard BEFORE INSERT OR UPDATE OF state, last_event ON ph.milestone FOR EACH ROW EXECUTE FUNCTION ph.milestone_guard();

CREATE CONSTRAINT TRIGGER milestone_sums AFTER INSERT ON ph.milestone DEFERRABLE INITIALLY DEFERRED FOR EACH ROW EXECUTE FUNCTION ph.milestone_sums();

CREATE TRIGGER permission_guard BEFORE INSERT OR UPDATE OF state, last_event, since ON ph.permission FOR EACH ROW EXECUTE FUNCTION ph.state_guard('permission');

CREATE TRIGGER question_blocks AFTER INSERT OR UPDATE ON ph.question FOR EACH ROW EXECUTE FUNCTION ph.question_blocks();

CREATE TRIGGER question_clock BEFORE UPDATE OF state, last_event, since ON ph.question FOR EACH ROW EXECUTE FUNCTION ph.question_clock();

CREATE TRIGGER question_guard BEFORE INSERT OR UPDATE OF state, last_event, since ON ph.question FOR EACH ROW EXECUTE FUNCTION ph.state_guard('question');

ALTER TABLE ONLY ph.anchor
    ADD CONSTRAINT anchor_studio_id_log_id_fkey FOREIGN KEY (studio_id, log_id) REFERENCES ph.log(studio_id, id);

ALTER TABLE ONLY ph.batch
    ADD CONSTRAINT batch_studio_id_vendor_id_work_order_id_fkey FOREIGN KEY (studio_id, vendor_id, work_order_id) REFERENCES ph.work_order(studio_id, vendor_id, id);

ALTER TABLE ONLY ph.calendar
    ADD CONSTRAINT calendar_party_id_fkey FOREIGN KEY (party_id) REFERENCES ph.party(id);

ALTER TABLE ONLY ph.cancellation
    ADD CONSTRAINT cancellation_studio_id_vendor_id_work_order_id_prop_id_mil_fkey FOREIGN KEY (studio_id, vendor_id, work_order_id, prop_id, milestone_id) REFERENCES ph.milestone(studio_id, vendor_id, work_order_id, prop_id, id);

ALTER TABLE ONLY ph.change_order
    ADD CONSTRAINT change_order_studio_id_prop_id_spec_revision_id_fkey FOREIGN KEY (studio_id, prop_id, spec_revision_id) REFERENCES ph.spec_revision(studio_id, prop_id, id);

ALTER TABLE ONLY ph.change_order
    ADD CONSTRAINT change_order_studio_id_vendor_id_work_order_id_delivery_id_fkey FOREIGN KEY (studio_id, vendor_id, work_order_id, delivery_id) REFERENCES ph.delivery(studio_id, vendor_id, work_order_id, id);

ALTER TABLE ONLY ph.change_order
    ADD CONSTRAINT change_order_studio_id_vendor_id_work_order_id_prop_id_mil_fkey FOREIGN KEY (studio_id, vendor_id, work_order_id, prop_id, milestone_id) REFERENCES ph.milestone(studio_id, vendor_id, work_order_id, prop_id, id);

ALTER TABLE ONLY ph.concession
    ADD CONSTRAINT concession_inspection_id_ord_fkey FOREIGN KEY (inspection_id, ord) REFERENCES ph.finding(inspection_id, ord);

ALTER TABLE ONLY ph.concession
    ADD CONSTRAINT concession_permission FOREIGN KEY (studio_id, vendor_id, work_order_id, permission_id) REFERENCES ph.permission(studio_id, vendor_id, work_order_id, id);

ALTER TABLE ONLY ph.concession
    ADD CONSTRAINT concession_studio_id_vendor_id_inspection_id_fkey FOREIGN KEY (studio_id, vendor_id, inspection_id) REFERENCES ph.inspection(studio_id, vendor_id, id);

ALTER TABLE ONLY ph.concession
    ADD CONSTRAINT concession_studio_id_vendor_id_work_order_id_delivery_id_fkey FOREIGN KEY (studio_id, vendor_id, work_order_id, delivery_id) REFERENCES ph.delivery(studio_id, vendor_id, work_order_id, id);

ALTER TABLE ONLY ph.delivery
    ADD CONSTRAINT delivery_batch FOREIGN KEY (studio_id, vendor_id, work_order_id, batch_id) REFERENCES ph.batch(studio_id, vendor_id, work_order_id, id);

ALTER TABLE ONLY ph.delivery
    ADD CONSTRAINT delivery_studio_id_prop_id_spec_revision_id_fkey FOREIGN KEY (studio_id, prop_id, spec_revision_id) REFERENCES ph.spec_revision(studio_id, prop_id, id);

ALTER TABLE ONLY ph.delivery
    ADD CONSTRAINT delivery_studio_id_vendor_id_work_order_id_prop_id_milesto_fkey FOREIGN KEY (studio_id, vendor_id, work_order_id, prop_id, milestone_id) REFERENCES ph.milestone(studio_id, vendor_id, work_order_id, prop_id, id);

ALTER TABLE ONLY ph.deputy
    ADD CONSTRAINT deputy_studio_id_member_id_fkey FOREIGN KEY (studio_id, member_id) REFERENCES ph.member(party_id, id);

ALTER TABLE ONLY ph.engagement
    ADD CONSTRAINT engagement_studio_id_fkey FOREIGN KEY (studio_id) REFERENCES ph.party(id);

ALTER TABLE ONLY ph.engagement
    ADD CONSTRAINT engagement_vendor_id_fkey FOREIGN KEY (vendor_id) REFERENCES ph.party(id);

ALTER TABLE ONLY ph.erasure
    ADD CONSTRAINT erasure_studio_id_log_id_fkey FOREIGN KEY (studio_id, log_id) REFERENCES ph.log(studio_id, id);

ALTER TABLE ONLY ph.evidence
    ADD CONSTRAINT evidence_studio_id_vendor_id_inspection_id_fkey FOREIGN KEY (studio_id, vendor_id, inspection_id) REFERENCES ph.inspection(studio_id, vendor_id, id);

ALTER TABLE ONLY ph.fact_person
    ADD CONSTRAINT fact_person_studio_id_log_id_idx_fkey FOREIGN KEY (studio_id, log_id, idx) REFERENCES ph.fact(studio_id, log_id, idx);

ALTER TABLE ONLY ph.fact
    ADD CONSTRAINT fact_studio_id_log_id_fkey FOREIGN KEY (studio_id, log_id) REFERENCES ph.log(studio_id, id);

ALTER TABLE ONLY ph.file_part
    ADD CONSTRAINT file_part_studio_id_vendor_id_file_id_fkey FOREIGN KEY (studio_id, vendor_id, file_id) REFERENCES ph.file(studio_id, vendor_id, id);

ALTER TABLE ONLY ph.file
    ADD CONSTRAINT file_studio_id_vendor_id_work_order_id_delivery_id_fkey FOREIGN KEY (studio_id, vendor_id, work_order_id, delivery_id) REFERENCES ph.delivery(studio_id, vendor_id, work_order_id, id);

ALTER TABLE ph.finding
    ADD CONSTRAINT finding_studio_id_vendor_id_inspection_id_fkey FOREIGN KEY (studio_id, vendor_id, inspection_id) REFERENCES ph.inspection(studio_id, vendor_id, id);

ALTER TABLE ONLY ph.handover_file
    ADD CONSTRAINT handover_file_studio_id_file_id_fkey FOREIGN KEY (studio_id, file_id) REFERENCES ph.file(studio_id, id);

ALTER TABLE ONLY ph.handover_file
    ADD CONSTRAINT handover_file_studio_id_handover_id_fkey FOREIGN KEY (studio_id, handover_id) REFERENCES ph.handover(studio_id, id);

ALTER TABLE ONLY ph.handover
    ADD CONSTRAINT handover_studio_id_work_order_id_fkey FOREIGN KEY (studio_id, work_order_id) REFERENCES ph.work_order(studio_id, id);

ALTER TABLE ONLY ph.hold
    ADD CONSTRAINT hold_studio_id_vendor_id_work_order_id_prop_id_milestone_i_fkey FOREIGN KEY (studio_id, vendor_id, work_order_id, prop_id, milestone_id) REFERENCES ph.milestone(studio_id, vendor_id, work_order_id, prop_id, id);

ALTER TABLE ONLY ph.inspection
    ADD CONSTRAINT inspection_studio_id_prop_id_spec_revision_id_fkey FOREIGN KEY (studio_id, prop_id, spec_revision_id) REFERENCES ph.spec_revision(studio_id, prop_id, id);

ALTER TABLE ONLY ph.inspection
    ADD CONSTRAINT inspection_studio_id_vendor_id_work_order_id_prop_id_miles_fkey FOREIGN KEY (studio_id, vendor_id, work_order_id, prop_id, milestone_id, delivery_id) REFERENCES ph.delivery(studio_id, vendor_id, work_order_id, prop_id, milestone_id, id);

ALTER TABLE ONLY ph.invitation
    ADD CONSTRAINT invitation_of_engaged_vendor FOREIGN KEY (engaged_by, party_id) REFERENCES ph.engagement(studio_id, vendor_id);

ALTER TABLE ONLY ph.invitation
    ADD CONSTRAINT invitation_party_id_fkey FOREIGN KEY (party_id) REFERENCES ph.party(id);

ALTER TABLE ONLY ph.log_hash
    ADD CONSTRAINT log_hash_studio_id_log_id_fkey FOREIGN KEY (studio_id, log_id) REFERENCES ph.log(studio_id, id);

ALTER TABLE ONLY ph.maintenance
    ADD CONSTRAINT maintenance_studio_id_vendor_id_work_order_id_prop_id_mile_fkey FOREIGN KEY (studio_id, vendor_id, work_order_id, prop_id, milestone_id) REFERENCES ph.milestone(studio_id, vendor_id, work_order_id, prop_id, id);

ALTER TABLE ONLY ph.member
    ADD CONSTRAINT member_party_id_fkey FOREIGN KEY (party_id) REFERENCES ph.party(id);

ALTER TABLE ONLY ph.milestone
    ADD CONSTRAINT milestone_studio_id_vendor_id_work_order_id_prop_id_fkey FOREIGN KEY (studio_id, vendor_id, work_order_id, prop_id) REFERENCES ph.prop(studio_id, vendor_id, work_order_id, id);

ALTER TABLE ONLY ph.nda_ack
    ADD CONSTRAINT nda_ack_studio_id_vendor_id_work_order_id_fkey FOREIGN KEY (studio_id, vendor_id, work_order_id) REFERENCES ph.work_order(studio_id, vendor_id, id);

ALTER TABLE ONLY ph.note
    ADD CONSTRAINT note_reply FOREIGN KEY (studio_id, reply_to) REFERENCES ph.note(studio_id, id);

ALTER TABLE ONLY ph.note_resolution
    ADD CONSTRAINT note_resolution_studio_id_delivery_id_fkey FOREIGN KEY (studio_id, delivery_id) REFERENCES ph.delivery(studio_id, id);

ALTER TABLE ONLY ph.note_resolution
    ADD CONSTRAINT note_resolution_studio_id_note_id_fkey FOREIGN KEY (studio_id, note_id) REFERENCES ph.note(studio_id, id);

ALTER TABLE ONLY ph.note
    ADD CONSTRAINT note_studio_id_delivery_id_fkey FOREIGN KEY (studio_id, delivery_id) REFERENCES ph.delivery(studio_id, id);

ALTER TABLE ONLY ph.note
    ADD CONSTRAINT note_studio_id_vendor_id_work_order_id_delivery_id_fkey FOREIGN KEY (studio_id, vendor_id, work_order_id, delivery_id) REFERENCES ph.delivery(studio_id, vendor_id, work_order_id, id);

ALTER TABLE ONLY ph.order_calendar
    ADD CONSTRAINT order_calendar_studio_id_vendor_id_work_order_id_fkey FOREIGN KEY (studio_id, vendor_id, work_order_id) REFERENCES ph.work_order(studio_id, vendor_id, id);

ALTER TABLE ONLY ph.payable
    ADD CONSTRAINT payable_cancellation FOREIGN KEY (studio_id, vendor_id, work_order_id, cancellation_id) REFERENCES ph.cancellation(studio_id, vendor_id, work_order_id, id);

ALTER TABLE ONLY ph.payable
    ADD CONSTRAINT payable_studio_id_vendor_id_work_order_id_prop_id_mileston_fkey FOREIGN KEY (studio_id, vendor_id, work_order_id, prop_id, milestone_id) REFERENCES ph.milestone(studio_id, vendor_id, work_order_id, prop_id, id);

ALTER TABLE ONLY ph.payable
    ADD CONSTRAINT payable_studio_id_vendor_id_work_order_id_sign_off_id_fkey FOREIGN KEY (studio_id, vendor_id, work_order_id, sign_off_id) REFERENCES ph.sign_off(studio_id, vendor_id, work_order_id, id);

ALTER TABLE ONLY ph.payment_hold_end
    ADD CONSTRAINT payment_hold_end_studio_id_hold_id_fkey FOREIGN KEY (studio_id, hold_id) REFERENCES ph.payment_hold(studio_id, id);

ALTER TABLE ONLY ph.payment_hold
    ADD CONSTRAINT payment_hold_studio_id_vendor_id_work_order_id_prop_id_mil_fkey FOREIGN KEY (studio_id, vendor_id, work_order_id, prop_id, milestone_id) REFERENCES ph.milestone(studio_id, vendor_id, work_order_id, prop_id, id);

ALTER TABLE ONLY ph.payment_hold
    ADD CONSTRAINT payment_hold_studio_id_vendor_id_work_order_id_sign_off_id_fkey FOREIGN KEY (studio_id, vendor_id, work_order_id, sign_off_id) REFERENCES ph.sign_off(studio_id, vendor_id, work_order_id, id);

ALTER TABLE ONLY ph.permission_decision
    ADD CONSTRAINT permission_decision_studio_id_vendor_id_work_order_id_perm_fkey FOREIGN KEY (studio_id, vendor_id, work_order_id, permission_id) REFERENCES ph.permission(studio_id, vendor_id, work_order_id, id);

ALTER TABLE ONLY ph.permission
    ADD CONSTRAINT permission_studio_id_vendor_id_work_order_id_fkey FOREIGN KEY (studio_id, vendor_id, work_order_id) REFERENCES ph.work_order(studio_id, vendor_id, id);

ALTER TABLE ONLY ph.permission
    ADD CONSTRAINT permission_studio_id_vendor_id_work_order_id_prop_id_fkey FOREIGN KEY (studio_id, vendor_id, work_order_id, prop_id) REFERENCES ph.prop(studio_id, vendor_id, work_order_id, id);

ALTER TABLE ONLY ph.project
    ADD CONSTRAINT project_studio_id_fkey FOREIGN KEY (studio_id) REFERENCES ph.party(id);

ALTER TABLE ONLY ph.prop
    ADD CONSTRAINT prop_spec_of_this_prop FOREIGN KEY (studio_id, id, spec_in_force) REFERENCES ph.spec_revision(studio_id, prop_id, id);

ALTER TABLE ONLY ph.prop
    ADD CONSTRAINT prop_studio_id_vendor_id_work_order_id_fkey FOREIGN KEY (studio_id, vendor_id, work_order_id) REFERENCES ph.work_order(studio_id, vendor_id, id);

ALTER TABLE ONLY ph.question_message
    ADD CONSTRAINT question_message_studio_id_spec_revision_id_fkey FOREIGN KEY (studio_id, spec_revision_id) REFERENCES ph.spec_revision(studio_id, id);

ALTER TABLE ONLY ph.question_message
    ADD CONSTRAINT question_message_studio_id_vendor_id_work_order_id_questio_fkey FOREIGN KEY (studio_id, vendor_id, work_order_id, question_id) REFERENCES ph.question(studio_id, vendor_id, work_order_id, id);

ALTER TABLE ONLY ph.question
    ADD CONSTRAINT question_studio_id_vendor_id_work_order_id_prop_id_fkey FOREIGN KEY (studio_id, vendor_id, work_order_id, prop_id) REFERENCES ph.prop(studio_id, vendor_id, work_order_id, id);

ALTER TABLE ONLY ph.reference_ack
    ADD CONSTRAINT reference_ack_studio_id_vendor_id_work_order_id_pack_id_fkey FOREIGN KEY (studio_id, vendor_id, work_order_id, pack_id) REFERENCES ph.reference_pack(studio_id, vendor_id, work_order_id, id);

ALTER TABLE ONLY ph.reference_file
    ADD CONSTRAINT reference_file_studio_id_vendor_id_work_order_id_pack_id_fkey FOREIGN KEY (studio_id, vendor_id, work_order_id, pack_id) REFERENCES ph.reference_pack(studio_id, vendor_id, work_order_id, id);

ALTER TABLE ONLY ph.reference_pack
    ADD CONSTRAINT reference_pack_studio_id_vendor_id_work_order_id_fkey FOREIGN KEY (studio_id, vendor_id, work_order_id) REFERENCES ph.work_order(studio_id, vendor_id, id);

ALTER TABLE ONLY ph.reminder
    ADD CONSTRAINT reminder_studio_id_vendor_id_work_order_id_prop_id_milesto_fkey FOREIGN KEY (studio_id, vendor_id, work_order_id, prop_id, milestone_id, delivery_id) REFERENCES ph.delivery(studio_id, vendor_id, work_order_id, prop_id, milestone_id, id);

ALTER TABLE ONLY ph.session
    ADD CONSTRAINT session_party_id_member_id_fkey FOREIGN KEY (party_id, member_id) REFERENCES ph.member(party_id, id);

ALTER TABLE ONLY ph.set_use
    ADD CONSTRAINT set_use_studio_id_vendor_id_work_order_id_delivery_id_fkey FOREIGN KEY (studio_id, vendor_id, work_order_id, delivery_id) REFERENCES ph.delivery(studio_id, vendor_id, work_order_id, id);

ALTER TABLE ONLY ph.set_use
    ADD CONSTRAINT set_use_studio_id_vendor_id_work_order_id_prop_id_fkey FOREIGN KEY (studio_id, vendor_id, work_order_id, prop_id) REFERENCES ph.prop(studio_id, vendor_id, work_order_id, id);

ALTER TABLE ONLY ph.set_use
    ADD CONSTRAINT set_use_studio_id_vendor_id_work_order_id_set_id_fkey FOREIGN KEY (studio_id, vendor_id, work_order_id, set_id) REFERENCES ph.prop(studio_id, vendor_id, work_order_id, id);

ALTER TABLE ONLY ph.sign_off
    ADD CONSTRAINT sign_off_deputy FOREIGN KEY (studio_id, deputy_id) REFERENCES ph.deputy(studio_id, id);

ALTER TABLE ONLY ph.sign_off
    ADD CONSTRAINT sign_off_reminder FOREIGN KEY (studio_id, delivery_id, reminder_id, effective_at) REFERENCES ph.reminder(studio_id, delivery_id, id, effective_at);

ALTER TABLE ONLY ph.sign_off
    ADD CONSTRAINT sign_off_studio_id_vendor_id_inspection_id_fkey FOREIGN KEY (studio_id, vendor_id, inspection_id) REFERENCES ph.inspection(studio_id, vendor_id, id);

ALTER TABLE ONLY ph.sign_off
    ADD CONSTRAINT sign_off_studio_id_vendor_id_work_order_id_prop_id_milesto_fkey FOREIGN KEY (studio_id, vendor_id, work_order_id, prop_id, milestone_id, delivery_id) REFERENCES ph.delivery(studio_id, vendor_id, work_order_id, prop_id, milestone_id, id);

ALTER TABLE ONLY ph.spec_ack
    ADD CONSTRAINT spec_ack_studio_id_prop_id_spec_revision_id_fkey FOREIGN KEY (studio_id, prop_id, spec_revision_id) REFERENCES ph.spec_revision(studio_id, prop_id, id);

ALTER TABLE ONLY ph.spec_ack
    ADD CONSTRAINT spec_ack_studio_id_vendor_id_work_order_id_prop_id_fkey FOREIGN KEY (studio_id, vendor_id, work_order_id, prop_id) REFERENCES ph.prop(studio_id, vendor_id, work_order_id, id);

ALTER TABLE ONLY ph.spec_revision
    ADD CONSTRAINT spec_revision_parent FOREIGN KEY (studio_id, prop_id, parent_id) REFERENCES ph.spec_revision(studio_id, prop_id, id);

ALTER TABLE ONLY ph.spec_revision
    ADD CONSTRAINT spec_revision_studio_id_vendor_id_work_order_id_prop_id_fkey FOREIGN KEY (studio_id, vendor_id, work_order_id, prop_id) REFERENCES ph.prop(studio_id, vendor_id, work_order_id, id);

ALTER TABLE ONLY ph.token
    ADD CONSTRAINT token_party_id_member_id_fkey FOREIGN KEY (party_id, member_id) REFERENCES ph.member(party_id, id);

ALTER TABLE ONLY ph.work_order
    ADD CONSTRAINT work_order_studio_id_project_id_fkey FOREIGN KEY (studio_id, project_id) REFERENCES ph.project(studio_id, id);

ALTER TABLE ONLY ph.work_order
    ADD CONSTRAINT work_order_studio_id_vendor_id_fkey FOREIGN KEY (studio_id, vendor_id) REFERENCES ph.engagement(studio_id, vendor_id);

ALTER TABLE ph.anchor ENABLE ROW LEVEL SECURITY;

CREATE POLICY anchor_notary ON ph.anchor TO ph_notary USING (true) WITH CHECK (true);

CREATE POLICY anchor_owner ON ph.anchor TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY anchor_read ON ph.anchor FOR SELECT TO ph_api USING (((studio_id = ph.app_studio()) OR (vendor_id = ph.app_vendor())));

ALTER TABLE ph.batch ENABLE ROW LEVEL SECURITY;

CREATE POLICY batch_insert ON ph.batch FOR INSERT TO ph_api WITH CHECK ((vendor_id = ph.app_vendor()));

CREATE POLICY batch_owner ON ph.batch TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY batch_read ON ph.batch FOR SELECT TO ph_api USING (((studio_id = ph.app_studio()) OR (vendor_id = ph.app_vendor())));

CREATE POLICY batch_update ON ph.batch FOR UPDATE TO ph_api USING ((vendor_id = ph.app_vendor())) WITH CHECK ((vendor_id = ph.app_vendor()));

ALTER TABLE ph.calendar ENABLE ROW LEVEL SECURITY;

CREATE POLICY calendar_own ON ph.calendar TO ph_api USING ((party_id = ph.app_party())) WITH CHECK ((party_id = ph.app_party()));

CREATE POLICY calendar_owner ON ph.calendar TO ph_owner USING (true) WITH CHECK (true);

ALTER TABLE ph.cancellation ENABLE ROW LEVEL SECURITY;

CREATE POLICY cancellation_insert ON ph.cancellation FOR INSERT TO ph_api WITH CHECK ((studio_id = ph.app_studio()));

CREATE POLICY cancellation_owner ON ph.cancellation TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY cancellation_read ON ph.cancellation FOR SELECT TO ph_api USING (((studio_id = ph.app_studio()) OR (vendor_id = ph.app_vendor())));

ALTER TABLE ph.change_order ENABLE ROW LEVEL SECURITY;

CREATE POLICY change_order_insert ON ph.change_order FOR INSERT TO ph_api WITH CHECK (((studio_id = ph.app_studio()) OR (vendor_id = ph.app_vendor())));

CREATE POLICY change_order_owner ON ph.change_order TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY change_order_read ON ph.change_order FOR SELECT TO ph_api USING (((studio_id = ph.app_studio()) OR (vendor_id = ph.app_vendor())));

CREATE POLICY change_order_update ON ph.change_order FOR UPDATE TO ph_api USING (((studio_id = ph.app_studio()) OR (vendor_id = ph.app_vendor()))) WITH CHECK (((studio_id = ph.app_studio()) OR (vendor_id = ph.app_vendor())));

ALTER TABLE ph.checkpoint ENABLE ROW LEVEL SECURITY;

CREATE POLICY checkpoint_notary ON ph.checkpoint TO ph_notary USING (true) WITH CHECK (true);

CREATE POLICY checkpoint_owner ON ph.checkpoint TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY checkpoint_read ON ph.checkpoint FOR SELECT TO ph_api USING (true);

ALTER TABLE ph.concession ENABLE ROW LEVEL SECURITY;

CREATE POLICY concession_insert ON ph.concession FOR INSERT TO ph_api WITH CHECK ((studio_id = ph.app_studio()));

CREATE POLICY concession_owner ON ph.concession TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY concession_read ON ph.concession FOR SELECT TO ph_api USING (((studio_id = ph.app_studio()) OR (vendor_id = ph.app_vendor())));

ALTER TABLE ph.daily_check ENABLE ROW LEVEL SECURITY;

CREATE POLICY daily_check_owner ON ph.daily_check TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY daily_check_read ON ph.daily_check FOR SELECT TO ph_api USING (((studio_id = ph.app_studio()) OR (vendor_id = ph.app_vendor())));

ALTER TABLE ph.daily_milestone ENABLE ROW LEVEL SECURITY;

CREATE POLICY daily_milestone_owner ON ph.daily_milestone TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY daily_milestone_read ON ph.daily_milestone FOR SELECT TO ph_api USING (((studio_id = ph.app_studio()) OR (vendor_id = ph.app_vendor())));

ALTER TABLE ph.delivery ENABLE ROW LEVEL SECURITY;

CREATE POLICY delivery_clock ON ph.delivery TO ph_clock USING (true) WITH CHECK (true);

CREATE POLICY delivery_insert ON ph.delivery FOR INSERT TO ph_api WITH CHECK ((vendor_id = ph.app_vendor()));

CREATE POLICY delivery_owner ON ph.delivery TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY delivery_read ON ph.delivery FOR SELECT TO ph_api USING (((studio_id = ph.app_studio()) OR (vendor_id = ph.app_vendor())));

CREATE POLICY delivery_update ON ph.delivery FOR UPDATE TO ph_api USING ((vendor_id = ph.app_vendor())) WITH CHECK ((vendor_id = ph.app_vendor()));

CREATE POLICY delivery_worker ON ph.delivery TO ph_worker USING (true) WITH CHECK (true);

ALTER TABLE ph.deputy ENABLE ROW LEVEL SECURITY;

CREATE POLICY deputy_insert ON ph.deputy FOR INSERT TO ph_api WITH CHECK ((studio_id = ph.app_studio()));

CREATE POLICY deputy_owner ON ph.deputy TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY deputy_read ON ph.deputy FOR SELECT TO ph_api USING ((studio_id = ph.app_studio()));

ALTER TABLE ph.engagement ENABLE ROW LEVEL SECURITY;

CREATE POLICY engagement_insert ON ph.engagement FOR INSERT TO ph_api WITH CHECK ((studio_id = ph.app_studio()));

CREATE POLICY engagement_owner ON ph.engagement TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY engagement_read ON ph.engagement FOR SELECT TO ph_api USING (((studio_id = ph.app_studio()) OR (vendor_id = ph.app_vendor())));

ALTER TABLE ph.erasure ENABLE ROW LEVEL SECURITY;

CREATE POLICY erasure_insert ON ph.erasure FOR INSERT TO ph_api WITH CHECK (((studio_id = ph.app_studio()) OR (vendor_id = ph.app_vendor())));

CREATE POLICY erasure_owner ON ph.erasure TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY erasure_read ON ph.erasure FOR SELECT TO ph_api USING (((studio_id = ph.app_studio()) OR (vendor_id = ph.app_vendor())));

ALTER TABLE ph.evidence ENABLE ROW LEVEL SECURITY;

CREATE POLICY evidence_owner ON ph.evidence TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY evidence_read ON ph.evidence FOR SELECT TO ph_api USING (((studio_id = ph.app_studio()) OR (vendor_id = ph.app_vendor())));

CREATE POLICY evidence_worker ON ph.evidence TO ph_worker USING (true) WITH CHECK (true);

ALTER TABLE ph.fact ENABLE ROW LEVEL SECURITY;

CREATE POLICY fact_clock ON ph.fact TO ph_clock USING (true) WITH CHECK (true);

CREATE POLICY fact_insert ON ph.fact FOR INSERT TO ph_api WITH CHECK (((studio_id = ph.app_studio()) OR (vendor_id = ph.app_vendor())));

CREATE POLICY fact_owner ON ph.fact TO ph_owner USING (true) WITH CHECK (true);

ALTER TABLE ph.fact_person ENABLE ROW LEVEL SECURITY;

CREATE POLICY fact_person_insert ON ph.fact_person FOR INSERT TO ph_api WITH CHECK (((studio_id = ph.app_studio()) OR (vendor_id = ph.app_vendor())));

CREATE POLICY fact_person_owner ON ph.fact_person TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY fact_person_read ON ph.fact_person FOR SELECT TO ph_api USING (((studio_id = ph.app_studio()) OR (vendor_id = ph.app_vendor())));

CREATE POLICY fact_read ON ph.fact FOR SELECT TO ph_api USING (((studio_id = ph.app_studio()) OR (vendor_id = ph.app_vendor())));

CREATE POLICY fact_worker ON ph.fact TO ph_worker USING (true) WITH CHECK (true);

ALTER TABLE ph.file ENABLE ROW LEVEL SECURITY;

CREATE POLICY file_clock ON ph.file FOR SELECT TO ph_clock USING (true);

CREATE POLICY file_insert ON ph.file FOR INSERT TO ph_api WITH CHECK ((vendor_id = ph.app_vendor()));

CREATE POLICY file_owner ON ph.file TO ph_owner USING (true) WITH CHECK (true);

ALTER TABLE ph.file_part ENABLE ROW LEVEL SECURITY;

CREATE POLICY file_part_insert ON ph.file_part FOR INSERT TO ph_api WITH CHECK ((vendor_id = ph.app_vendor()));

CREATE POLICY file_part_owner ON ph.file_part TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY file_part_read ON ph.file_part FOR SELECT TO ph_api USING (((studio_id = ph.app_studio()) OR (vendor_id = ph.app_vendor())));

CREATE POLICY file_part_update ON ph.file_part FOR UPDATE TO ph_api USING ((vendor_id = ph.app_vendor())) WITH CHECK ((vendor_id = ph.app_vendor()));

CREATE POLICY file_part_worker ON ph.file_part TO ph_worker USING (true) WITH CHECK (true);

CREATE POLICY file_read ON ph.file FOR SELECT TO ph_api USING (((studio_id = ph.app_studio()) OR (vendor_id = ph.app_vendor())));

CREATE POLICY file_update ON ph.file FOR UPDATE TO ph_api USING ((vendor_id = ph.app_vendor())) WITH CHECK ((vendor_id = ph.app_vendor()));

CREATE POLICY file_worker ON ph.file TO ph_worker USING (true) WITH CHECK (true);

ALTER TABLE ph.finding ENABLE ROW LEVEL SECURITY;

ALTER TABLE ph.finding_2026_h1 ENABLE ROW LEVEL SECURITY;

ALTER TABLE ph.finding_2026_h2 ENABLE ROW LEVEL SECURITY;

ALTER TABLE ph.finding_2027_h1 ENABLE ROW LEVEL SECURITY;

ALTER TABLE ph.finding_2027_h2 ENABLE ROW LEVEL SECURITY;

ALTER TABLE ph.finding_2028_h1 ENABLE ROW LEVEL SECURITY;

ALTER TABLE ph.finding_2028_h2 ENABLE ROW LEVEL SECURITY;

ALTER TABLE ph.finding_2029_h1 ENABLE ROW LEVEL SECURITY;

ALTER TABLE ph.finding_2029_h2 ENABLE ROW LEVEL SECURITY;

CREATE POLICY finding_owner ON ph.finding TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY finding_read ON ph.finding FOR SELECT TO ph_api USING (((studio_id = ph.app_studio()) OR (vendor_id = ph.app_vendor())));

ALTER TABLE ph.finding_rest ENABLE ROW LEVEL SECURITY;

CREATE POLICY finding_worker ON ph.finding TO ph_worker USING (true) WITH CHECK (true);

ALTER TABLE ph.handover ENABLE ROW LEVEL SECURITY;

ALTER TABLE ph.handover_file ENABLE ROW LEVEL SECURITY;

CREATE POLICY handover_file_insert ON ph.handover_file FOR INSERT TO ph_api WITH CHECK ((studio_id = ph.app_studio()));

CREATE POLICY handover_file_owner ON ph.handover_file TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY handover_file_read ON ph.handover_file FOR SELECT TO ph_api USING ((studio_id = ph.app_studio()));

CREATE POLICY handover_insert ON ph.handover FOR INSERT TO ph_api WITH CHECK ((studio_id = ph.app_studio()));

CREATE POLICY handover_owner ON ph.handover TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY handover_read ON ph.handover FOR SELECT TO ph_api USING ((studio_id = ph.app_studio()));

ALTER TABLE ph.hold ENABLE ROW LEVEL SECURITY;

CREATE POLICY hold_insert ON ph.hold FOR INSERT TO ph_api WITH CHECK ((studio_id = ph.app_studio()));

CREATE POLICY hold_owner ON ph.hold TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY hold_read ON ph.hold FOR SELECT TO ph_api USING (((studio_id = ph.app_studio()) OR (vendor_id = ph.app_vendor())));

ALTER TABLE ph.house_hash ENABLE ROW LEVEL SECURITY;

CREATE POLICY house_hash_notary ON ph.house_hash TO ph_notary USING (true) WITH CHECK (true);

CREATE POLICY house_hash_owner ON ph.house_hash TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY house_hash_read ON ph.house_hash FOR SELECT TO ph_api USING (true);

ALTER TABLE ph.house_leaf ENABLE ROW LEVEL SECURITY;

CREATE POLICY house_leaf_notary ON ph.house_leaf TO ph_notary USING (true) WITH CHECK (true);

CREATE POLICY house_leaf_owner ON ph.house_leaf TO ph_owner USING (true) WITH CHECK (true);

ALTER TABLE ph.idempotency ENABLE ROW LEVEL SECURITY;

CREATE POLICY idempotency_own ON ph.idempotency TO ph_api USING (((party_id = ph.app_party()) AND (member_id = ph.app_member()))) WITH CHECK (((party_id = ph.app_party()) AND (member_id = ph.app_member())));

CREATE POLICY idempotency_owner ON ph.idempotency TO ph_owner USING (true) WITH CHECK (true);

ALTER TABLE ph.inspection ENABLE ROW LEVEL SECURITY;

CREATE POLICY inspection_clock ON ph.inspection TO ph_clock USING (true) WITH CHECK (true);

CREATE POLICY inspection_insert ON ph.inspection FOR INSERT TO ph_api WITH CHECK (((studio_id = ph.app_studio()) OR (vendor_id = ph.app_vendor())));

CREATE POLICY inspection_owner ON ph.inspection TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY inspection_read ON ph.inspection FOR SELECT TO ph_api USING (((studio_id = ph.app_studio()) OR (vendor_id = ph.app_vendor())));

CREATE POLICY inspection_worker ON ph.inspection TO ph_worker USING (true) WITH CHECK (true);

ALTER TABLE ph.invitation ENABLE ROW LEVEL SECURITY;

CREATE POLICY invitation_insert ON ph.invitation FOR INSERT TO ph_api WITH CHECK ((((party_id = ph.app_party()) AND (engaged_by IS NULL)) OR ((engaged_by = ph.app_studio()) AND (side = 'vendor'::text))));

CREATE POLICY invitation_owner ON ph.invitation TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY invitation_read ON ph.invitation FOR SELECT TO ph_api USING (((party_id = ph.app_party()) OR (engaged_by = ph.app_studio())));

ALTER TABLE ph.log ENABLE ROW LEVEL SECURITY;

CREATE POLICY log_clock ON ph.log TO ph_clock USING (true) WITH CHECK (true);

ALTER TABLE ph.log_hash ENABLE ROW LEVEL SECURITY;

CREATE POLICY log_hash_clock ON ph.log_hash TO ph_clock USING (true) WITH CHECK (true);

CREATE POLICY log_hash_insert ON ph.log_hash FOR INSERT TO ph_api WITH CHECK (((studio_id = ph.app_studio()) OR (vendor_id = ph.app_vendor())));

CREATE POLICY log_hash_owner ON ph.log_hash TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY log_hash_read ON ph.log_hash FOR SELECT TO ph_api USING (((studio_id = ph.app_studio()) OR (vendor_id = ph.app_vendor())));

CREATE POLICY log_hash_worker ON ph.log_hash TO ph_worker USING (true) WITH CHECK (true);

CREATE POLICY log_insert ON ph.log FOR INSERT TO ph_api WITH CHECK ((studio_id = ph.app_studio()));

CREATE POLICY log_notary ON ph.log TO ph_notary USING (true) WITH CHECK (true);

CREATE POLICY log_owner ON ph.log TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY log_read ON ph.log FOR SELECT TO ph_api USING (((studio_id = ph.app_studio()) OR (vendor_id = ph.app_vendor())));

CREATE POLICY log_update ON ph.log FOR UPDATE TO ph_api USING (((studio_id = ph.app_studio()) OR (vendor_id = ph.app_vendor()))) WITH CHECK (((studio_id = ph.app_studio()) OR (vendor_id = ph.app_vendor())));

CREATE POLICY log_worker ON ph.log TO ph_worker USING (true) WITH CHECK (true);

ALTER TABLE ph.maintenance ENABLE ROW LEVEL SECURITY;

CREATE POLICY maintenance_insert ON ph.maintenance FOR INSERT TO ph_api WITH CHECK ((studio_id = ph.app_studio()));

CREATE POLICY maintenance_owner ON ph.maintenance TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY maintenance_read ON ph.maintenance FOR SELECT TO ph_api USING (((studio_id = ph.app_studio()) OR (vendor_id = ph.app_vendor())));

ALTER TABLE ph.member ENABLE ROW LEVEL SECURITY;

CREATE POLICY member_owner ON ph.member TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY member_read ON ph.member FOR SELECT TO ph_api USING ((party_id = ph.app_party()));

CREATE POLICY member_update ON ph.member FOR UPDATE TO ph_api USING (((party_id = ph.app_party()) AND (id = ph.app_member()))) WITH CHECK (((party_id = ph.app_party()) AND (id = ph.app_member())));

ALTER TABLE ph.milestone ENABLE ROW LEVEL SECURITY;

CREATE POLICY milestone_clock ON ph.milestone TO ph_clock USING (true) WITH CHECK (true);

CREATE POLICY milestone_insert ON ph.milestone FOR INSERT TO ph_api WITH CHECK ((studio_id = ph.app_studio()));

CREATE POLICY milestone_move_owner ON ph.move TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY milestone_move_read ON ph.move FOR SELECT TO ph_api USING (true);

CREATE POLICY milestone_move_worker ON ph.move FOR SELECT TO ph_worker USING (true);

CREATE POLICY milestone_owner ON ph.milestone TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY milestone_read ON ph.milestone FOR SELECT TO ph_api USING (((studio_id = ph.app_studio()) OR (vendor_id = ph.app_vendor())));

CREATE POLICY milestone_update ON ph.milestone FOR UPDATE TO ph_api USING (((studio_id = ph.app_studio()) OR (vendor_id = ph.app_vendor()))) WITH CHECK (((studio_id = ph.app_studio()) OR (vendor_id = ph.app_vendor())));

CREATE POLICY milestone_worker ON ph.milestone TO ph_worker USING (true) WITH CHECK (true);

ALTER TABLE ph.move ENABLE ROW LEVEL SECURITY;

CREATE POLICY move_clock ON ph.move FOR SELECT TO ph_clock USING (true);

ALTER TABLE ph.nda_ack ENABLE ROW LEVEL SECURITY;

CREATE POLICY nda_ack_insert ON ph.nda_ack FOR INSERT TO ph_api WITH CHECK ((vendor_id = ph.app_vendor()));

CREATE POLICY nda_ack_owner ON ph.nda_ack TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY nda_ack_read ON ph.nda_ack FOR SELECT TO ph_api USING (((studio_id = ph.app_studio()) OR (vendor_id = ph.app_vendor())));

ALTER TABLE ph.notary_key ENABLE ROW LEVEL SECURITY;

CREATE POLICY notary_key_notary ON ph.notary_key TO ph_notary USING (true) WITH CHECK (true);

CREATE POLICY notary_key_owner ON ph.notary_key TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY notary_key_read ON ph.notary_key FOR SELECT TO ph_api USING (true);

ALTER TABLE ph.note ENABLE ROW LEVEL SECURITY;

CREATE POLICY note_insert ON ph.note FOR INSERT TO ph_api WITH CHECK ((((studio_id = ph.app_studio()) AND (side = 'studio'::text)) OR ((vendor_id = ph.app_vendor()) AND (side = 'vendor'::text))));

CREATE POLICY note_owner ON ph.note TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY note_read ON ph.note FOR SELECT TO ph_api USING (((studio_id = ph.app_studio()) OR (vendor_id = ph.app_vendor())));

ALTER TABLE ph.note_resolution ENABLE ROW LEVEL SECURITY;

CREATE POLICY note_resolution_insert ON ph.note_resolution FOR INSERT TO ph_api WITH CHECK ((((studio_id = ph.app_studio()) AND (side = 'studio'::text)) OR ((vendor_id = ph.app_vendor()) AND (side = 'vendor'::text))));

CREATE POLICY note_resolution_owner ON ph.note_resolution TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY note_resolution_read ON ph.note_resolution FOR SELECT TO ph_api USING (((studio_id = ph.app_studio()) OR (vendor_id = ph.app_vendor())));

ALTER TABLE ph.order_calendar ENABLE ROW LEVEL SECURITY;

CREATE POLICY order_calendar_clock ON ph.order_calendar TO ph_clock USING (true) WITH CHECK (true);

CREATE POLICY order_calendar_insert ON ph.order_calendar FOR INSERT TO ph_api WITH CHECK ((((studio_id = ph.app_studio()) AND (side = 'studio'::text)) OR ((vendor_id = ph.app_vendor()) AND (side = 'vendor'::text))));

CREATE POLICY order_calendar_owner ON ph.order_calendar TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY order_calendar_read ON ph.order_calendar FOR SELECT TO ph_api USING (((studio_id = ph.app_studio()) OR (vendor_id = ph.app_vendor())));

CREATE POLICY order_calendar_worker ON ph.order_calendar FOR SELECT TO ph_worker USING (true);

ALTER TABLE ph.party ENABLE ROW LEVEL SECURITY;

CREATE POLICY party_insert ON ph.party FOR INSERT TO ph_api WITH CHECK (((side = 'vendor'::text) AND (ph.app_studio() IS NOT NULL)));

CREATE POLICY party_owner ON ph.party TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY party_read ON ph.party FOR SELECT TO ph_api USING ((id = ph.app_party()));

ALTER TABLE ph.payable ENABLE ROW LEVEL SECURITY;

CREATE POLICY payable_clock ON ph.payable TO ph_clock USING (true) WITH CHECK (true);

CREATE POLICY payable_insert ON ph.payable FOR INSERT TO ph_api WITH CHECK ((studio_id = ph.app_studio()));

CREATE POLICY payable_owner ON ph.payable TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY payable_read ON ph.payable FOR SELECT TO ph_api USING (((studio_id = ph.app_studio()) OR (vendor_id = ph.app_vendor())));

ALTER TABLE ph.payment_hold ENABLE ROW LEVEL SECURITY;

ALTER TABLE ph.payment_hold_end ENABLE ROW LEVEL SECURITY;

CREATE POLICY payment_hold_end_insert ON ph.payment_hold_end FOR INSERT TO ph_api WITH CHECK ((studio_id = ph.app_studio()));

CREATE POLICY payment_hold_end_owner ON ph.payment_hold_end TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY payment_hold_end_read ON ph.payment_hold_end FOR SELECT TO ph_api USING (((studio_id = ph.app_studio()) OR (vendor_id = ph.app_vendor())));

CREATE POLICY payment_hold_insert ON ph.payment_hold FOR INSERT TO ph_api WITH CHECK ((studio_id = ph.app_studio()));

CREATE POLICY payment_hold_owner ON ph.payment_hold TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY payment_hold_read ON ph.payment_hold FOR SELECT TO ph_api USING (((studio_id = ph.app_studio()) OR (vendor_id = ph.app_vendor())));

ALTER TABLE ph.permission ENABLE ROW LEVEL SECURITY;

ALTER TABLE ph.permission_decision ENABLE ROW LEVEL SECURITY;

CREATE POLICY permission_decision_insert ON ph.permission_decision FOR INSERT TO ph_api WITH CHECK ((((studio_id = ph.app_studio()) AND (side = 'studio'::text)) OR ((vendor_id = ph.app_vendor()) AND (side = 'vendor'::text))));

CREATE POLICY permission_decision_owner ON ph.permission_decision TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY permission_decision_read ON ph.permission_decision FOR SELECT TO ph_api USING (((studio_id = ph.app_studio()) OR (vendor_id = ph.app_vendor())));

CREATE POLICY permission_insert ON ph.permission FOR INSERT TO ph_api WITH CHECK ((((studio_id = ph.app_studio()) AND (side = 'studio'::text)) OR ((vendor_id = ph.app_vendor()) AND (side = 'vendor'::text))));

CREATE POLICY permission_owner ON ph.permission TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY permission_read ON ph.permission FOR SELECT TO ph_api USING (((studio_id = ph.app_studio()) OR (vendor_id = ph.app_vendor())));

CREATE POLICY permission_update ON ph.permission FOR UPDATE TO ph_api USING (((studio_id = ph.app_studio()) OR (vendor_id = ph.app_vendor()))) WITH CHECK (((studio_id = ph.app_studio()) OR (vendor_id = ph.app_vendor())));

CREATE POLICY permission_worker ON ph.permission FOR SELECT TO ph_worker USING (true);

ALTER TABLE ph.project ENABLE ROW LEVEL SECURITY;

CREATE POLICY project_insert ON ph.project FOR INSERT TO ph_api WITH CHECK ((studio_id = ph.app_studio()));

CREATE POLICY project_owner ON ph.project TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY project_read ON ph.project FOR SELECT TO ph_api USING ((studio_id = ph.app_studio()));

ALTER TABLE ph.prop ENABLE ROW LEVEL SECURITY;

CREATE POLICY prop_clock ON ph.prop TO ph_clock USING (true) WITH CHECK (true);

CREATE POLICY prop_insert ON ph.prop FOR INSERT TO ph_api WITH CHECK ((studio_id = ph.app_studio()));

CREATE POLICY prop_owner ON ph.prop TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY prop_read ON ph.prop FOR SELECT TO ph_api USING (((studio_id = ph.app_studio()) OR (vendor_id = ph.app_vendor())));

CREATE POLICY prop_update ON ph.prop FOR UPDATE TO ph_api USING (((studio_id = ph.app_studio()) OR (vendor_id = ph.app_vendor()))) WITH CHECK (((studio_id = ph.app_studio()) OR (vendor_id = ph.app_vendor())));

CREATE POLICY prop_worker ON ph.prop TO ph_worker USING (true) WITH CHECK (true);

ALTER TABLE ph.question ENABLE ROW LEVEL SECURITY;

CREATE POLICY question_insert ON ph.question FOR INSERT TO ph_api WITH CHECK ((vendor_id = ph.app_vendor()));

ALTER TABLE ph.question_message ENABLE ROW LEVEL SECURITY;

CREATE POLICY question_message_insert ON ph.question_message FOR INSERT TO ph_api WITH CHECK ((((studio_id = ph.app_studio()) AND (side = 'studio'::text)) OR ((vendor_id = ph.app_vendor()) AND (side = 'vendor'::text))));

CREATE POLICY question_message_owner ON ph.question_message TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY question_message_read ON ph.question_message FOR SELECT TO ph_api USING (((studio_id = ph.app_studio()) OR (vendor_id = ph.app_vendor())));

CREATE POLICY question_owner ON ph.question TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY question_read ON ph.question FOR SELECT TO ph_api USING (((studio_id = ph.app_studio()) OR (vendor_id = ph.app_vendor())));

CREATE POLICY question_update ON ph.question FOR UPDATE TO ph_api USING (((studio_id = ph.app_studio()) OR (vendor_id = ph.app_vendor()))) WITH CHECK (((studio_id = ph.app_studio()) OR (vendor_id = ph.app_vendor())));

ALTER TABLE ph.reference_ack ENABLE ROW LEVEL SECURITY;

CREATE POLICY reference_ack_insert ON ph.reference_ack FOR INSERT TO ph_api WITH CHECK ((vendor_id = ph.app_vendor()));

CREATE POLICY reference_ack_owner ON ph.reference_ack TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY reference_ack_read ON ph.reference_ack FOR SELECT TO ph_api USING (((studio_id = ph.app_studio()) OR (vendor_id = ph.app_vendor())));

ALTER TABLE ph.reference_file ENABLE ROW LEVEL SECURITY;

CREATE POLICY reference_file_insert ON ph.reference_file FOR INSERT TO ph_api WITH CHECK ((studio_id = ph.app_studio()));

CREATE POLICY reference_file_owner ON ph.reference_file TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY reference_file_read ON ph.reference_file FOR SELECT TO ph_api USING (((studio_id = ph.app_studio()) OR ((vendor_id = ph.app_vendor()) AND published)));

CREATE POLICY reference_file_update ON ph.reference_file FOR UPDATE TO ph_api USING ((studio_id = ph.app_studio())) WITH CHECK ((studio_id = ph.app_studio()));

ALTER TABLE ph.reference_pack ENABLE ROW LEVEL SECURITY;

CREATE POLICY reference_pack_insert ON ph.reference_pack FOR INSERT TO ph_api WITH CHECK ((studio_id = ph.app_studio()));

CREATE POLICY reference_pack_owner ON ph.reference_pack TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY reference_pack_read ON ph.reference_pack FOR SELECT TO ph_api USING (((studio_id = ph.app_studio()) OR ((vendor_id = ph.app_vendor()) AND (published_at IS NOT NULL))));

CREATE POLICY reference_pack_update ON ph.reference_pack FOR UPDATE TO ph_api USING ((studio_id = ph.app_studio())) WITH CHECK ((studio_id = ph.app_studio()));

ALTER TABLE ph.reminder ENABLE ROW LEVEL SECURITY;

CREATE POLICY reminder_clock ON ph.reminder TO ph_clock USING (true) WITH CHECK (true);

CREATE POLICY reminder_owner ON ph.reminder TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY reminder_read ON ph.reminder FOR SELECT TO ph_api USING (((studio_id = ph.app_studio()) OR (vendor_id = ph.app_vendor())));

ALTER TABLE ph.session ENABLE ROW LEVEL SECURITY;

CREATE POLICY session_own ON ph.session TO ph_api USING (((party_id = ph.app_party()) AND (member_id = ph.app_member()))) WITH CHECK (((party_id = ph.app_party()) AND (member_id = ph.app_member())));

CREATE POLICY session_owner ON ph.session TO ph_owner USING (true) WITH CHECK (true);

ALTER TABLE ph.set_use ENABLE ROW LEVEL SECURITY;

CREATE POLICY set_use_insert ON ph.set_use FOR INSERT TO ph_api WITH CHECK ((((studio_id = ph.app_studio()) AND (side = 'studio'::text)) OR ((vendor_id = ph.app_vendor()) AND (side = 'vendor'::text))));

CREATE POLICY set_use_owner ON ph.set_use TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY set_use_read ON ph.set_use FOR SELECT TO ph_api USING (((studio_id = ph.app_studio()) OR (vendor_id = ph.app_vendor())));

ALTER TABLE ph.sign_off ENABLE ROW LEVEL SECURITY;

CREATE POLICY sign_off_clock ON ph.sign_off TO ph_clock USING (true) WITH CHECK (true);

CREATE POLICY sign_off_insert ON ph.sign_off FOR INSERT TO ph_api WITH CHECK ((studio_id = ph.app_studio()));

CREATE POLICY sign_off_owner ON ph.sign_off TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY sign_off_read ON ph.sign_off FOR SELECT TO ph_api USING (((studio_id = ph.app_studio()) OR (vendor_id = ph.app_vendor())));

ALTER TABLE ph.spec_ack ENABLE ROW LEVEL SECURITY;

CREATE POLICY spec_ack_insert ON ph.spec_ack FOR INSERT TO ph_api WITH CHECK ((vendor_id = ph.app_vendor()));

CREATE POLICY spec_ack_owner ON ph.spec_ack TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY spec_ack_read ON ph.spec_ack FOR SELECT TO ph_api USING (((studio_id = ph.app_studio()) OR (vendor_id = ph.app_vendor())));

ALTER TABLE ph.spec_revision ENABLE ROW LEVEL SECURITY;

CREATE POLICY spec_revision_insert ON ph.spec_revision FOR INSERT TO ph_api WITH CHECK ((studio_id = ph.app_studio()));

CREATE POLICY spec_revision_owner ON ph.spec_revision TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY spec_revision_read ON ph.spec_revision FOR SELECT TO ph_api USING (((studio_id = ph.app_studio()) OR (vendor_id = ph.app_vendor())));

CREATE POLICY spec_revision_worker ON ph.spec_revision TO ph_worker USING (true) WITH CHECK (true);

ALTER TABLE ph.token ENABLE ROW LEVEL SECURITY;

CREATE POLICY token_own ON ph.token TO ph_api USING (((party_id = ph.app_party()) AND (member_id = ph.app_member()))) WITH CHECK (((party_id = ph.app_party()) AND (member_id = ph.app_member())));

CREATE POLICY token_owner ON ph.token TO ph_owner USING (true) WITH CHECK (true);

ALTER TABLE ph.work_order ENABLE ROW LEVEL SECURITY;

CREATE POLICY work_order_clock ON ph.work_order TO ph_clock USING (true) WITH CHECK (true);

CREATE POLICY work_order_insert ON ph.work_order FOR INSERT TO ph_api WITH CHECK ((studio_id = ph.app_studio()));

CREATE POLICY work_order_owner ON ph.work_order TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY work_order_read ON ph.work_order FOR SELECT TO ph_api USING (((studio_id = ph.app_studio()) OR (vendor_id = ph.app_vendor())));

CREATE POLICY work_order_worker ON ph.work_order FOR SELECT TO ph_worker USING (true);

GRANT USAGE ON SCHEMA ph TO ph_api;
GRANT USAGE ON SCHEMA ph TO ph_login;
GRANT USAGE ON SCHEMA ph TO ph_worker;
GRANT USAGE ON SCHEMA ph TO ph_notary;
GRANT USAGE ON SCHEMA ph TO ph_backup;
GRANT USAGE ON SCHEMA ph TO ph_clock;

REVOKE ALL ON FUNCTION ph.accept_invitation(the_hash bytea, new_id uuid, the_name text, the_password_hash text) FROM PUBLIC;
GRANT ALL ON FUNCTION ph.accept_invitation(the_hash bytea, new_id uuid, the_name text, the_password_hash text) TO ph_login;

REVOKE ALL ON FUNCTION ph.count_checks(the_studio uuid, the_inspection uuid) FROM PUBLIC;
GRANT ALL ON FUNCTION ph.count_checks(the_studio uuid, the_inspection uuid) TO ph_worker;

REVOKE ALL ON FUNCTION ph.disable_member(the_member uuid) FROM PUBLIC;
GRANT ALL ON FUNCTION ph.disable_member(the_member uuid) TO ph_api;

REVOKE ALL ON FUNCTION ph.erase_member(the_member uuid) FROM PUBLIC;
GRANT ALL ON FUNCTION ph.erase_member(the_member uuid) TO ph_api;

REVOKE ALL ON FUNCTION ph.login_invitation(the_hash bytea) FROM PUBLIC;
GRANT ALL ON FUNCTION ph.login_invitation(the_hash bytea) TO ph_login;

REVOKE ALL ON FUNCTION ph.login_password(the_email text) FROM PUBLIC;
GRANT ALL ON FUNCTION ph.login_password(the_email text) TO ph_login;

REVOKE ALL ON FUNCTION ph.login_session(the_hash bytea) FROM PUBLIC;
GRANT ALL ON FUNCTION ph.login_session(the_hash bytea) TO ph_login;

REVOKE ALL ON FUNCTION ph.login_token(the_hash bytea) FROM PUBLIC;
GRANT ALL ON FUNCTION ph.login_token(the_hash bytea) TO ph_login;

REVOKE ALL ON FUNCTION ph.make_finding_partitions(from_year integer, to_year integer) FROM PUBLIC;

REVOKE ALL ON FUNCTION ph.own_password_hash() FROM PUBLIC;
GRANT ALL ON FUNCTION ph.own_password_hash() TO ph_api;

REVOKE ALL ON FUNCTION ph.sweep_idempotency() FROM PUBLIC;
GRANT ALL ON FUNCTION ph.sweep_idempotency() TO ph_api;

GRANT SELECT ON TABLE ph.anchor TO ph_api;
GRANT SELECT ON TABLE ph.anchor TO ph_backup;
GRANT SELECT,INSERT ON TABLE ph.anchor TO ph_notary;

GRANT SELECT,INSERT ON TABLE ph.batch TO ph_api;
GRANT SELECT ON TABLE ph.batch TO ph_backup;

GRANT UPDATE(sealed_at) ON TABLE ph.batch TO ph_api;

GRANT SELECT,INSERT ON TABLE ph.calendar TO ph_api;
GRANT SELECT ON TABLE ph.calendar TO ph_backup;

GRANT SELECT,INSERT ON TABLE ph.cancellation TO ph_api;
GRANT SELECT ON TABLE ph.cancellation TO ph_backup;

GRANT SELECT,INSERT ON TABLE ph.change_order TO ph_api;
GRANT SELECT ON TABLE ph.change_order TO ph_backup;

GRANT UPDATE(state) ON TABLE ph.change_order TO ph_api;

GRANT UPDATE(last_event) ON TABLE ph.change_order TO ph_api;

GRANT UPDATE(decided_by) ON TABLE ph.change_order TO ph_api;

GRANT UPDATE(decided_reason) ON TABLE ph.change_order TO ph_api;

GRANT SELECT ON TABLE ph.checkpoint TO ph_api;
GRANT SELECT ON TABLE ph.checkpoint TO ph_backup;
GRANT SELECT,INSERT ON TABLE ph.checkpoint TO ph_notary;

GRANT SELECT,INSERT ON TABLE ph.concession TO ph_api;
GRANT SELECT ON TABLE ph.concession TO ph_backup;

GRANT SELECT ON TABLE ph.daily_check TO ph_api;
GRANT SELECT ON TABLE ph.daily_check TO ph_backup;

GRANT SELECT ON TABLE ph.daily_milestone TO ph_api;
GRANT SELECT ON TABLE ph.daily_milestone TO ph_backup;

GRANT SELECT,INSERT ON TABLE ph.delivery TO ph_api;
GRANT SELECT ON TABLE ph.delivery TO ph_backup;
GRANT SELECT ON TABLE ph.delivery TO ph_clock;

GRANT SELECT(studio_id) ON TABLE ph.delivery TO ph_worker;

GRANT SELECT(vendor_id) ON TABLE ph.delivery TO ph_worker;

GRANT SELECT(work_order_id) ON TABLE ph.delivery TO ph_worker;

GRANT SELECT(prop_id) ON TABLE ph.delivery TO ph_worker;

GRANT SELECT(milestone_id) ON TABLE ph.delivery TO ph_worker;

GRANT SELECT(id) ON TABLE ph.delivery TO ph_worker;

GRANT SELECT(number) ON TABLE ph.delivery TO ph_worker;

GRANT UPDATE(state) ON TABLE ph.delivery TO ph_api;
GRANT SELECT(state) ON TABLE ph.delivery TO ph_worker;
GRANT UPDATE(state) ON TABLE ph.delivery TO ph_clock;

GRANT SELECT(manifest_sha256) ON TABLE ph.delivery TO ph_worker;

GRANT SELECT(spec_revision_id) ON TABLE ph.delivery TO ph_worker;

GRANT SELECT(files) ON TABLE ph.delivery TO ph_worker;

GRANT SELECT(bytes) ON TABLE ph.delivery TO ph_worker;

GRANT SELECT(opened_at) ON TABLE ph.delivery TO ph_worker;

GRANT UPDATE(sealing_at) ON TABLE ph.delivery TO ph_api;

GRANT UPDATE(sealed_at) ON TABLE ph.delivery TO ph_api;
GRANT SELECT(sealed_at) ON TABLE ph.delivery TO ph_worker;

GRANT UPDATE(sealed_by) ON TABLE ph.delivery TO ph_api;

GRANT UPDATE(abandoned_at) ON TABLE ph.delivery TO ph_api;
GRANT UPDATE(abandoned_at) ON TABLE ph.delivery TO ph_clock;

GRANT UPDATE(abandoned_by) ON TABLE ph.delivery TO ph_api;

GRANT UPDATE(round_cause) ON TABLE ph.delivery TO ph_api;

GRANT UPDATE(swept_at) ON TABLE ph.delivery TO ph_clock;

GRANT SELECT,INSERT ON TABLE ph.deputy TO ph_api;
GRANT SELECT ON TABLE ph.deputy TO ph_backup;

GRANT SELECT,INSERT ON TABLE ph.engagement TO ph_api;
GRANT SELECT ON TABLE ph.engagement TO ph_backup;

GRANT SELECT,INSERT ON TABLE ph.erasure TO ph_api;
GRANT SELECT ON TABLE ph.erasure TO ph_backup;

GRANT SELECT ON TABLE ph.evidence TO ph_api;
GRANT SELECT ON TABLE ph.evidence TO ph_backup;
GRANT SELECT,INSERT ON TABLE ph.evidence TO ph_worker;

GRANT SELECT,INSERT ON TABLE ph.fact TO ph_api;
GRANT SELECT ON TABLE ph.fact TO ph_backup;
GRANT INSERT ON TABLE ph.fact TO ph_worker;
GRANT SELECT,INSERT ON TABLE ph.fact TO ph_clock;

GRANT SELECT,INSERT ON TABLE ph.fact_person TO ph_api;
GRANT SELECT ON TABLE ph.fact_person TO ph_backup;

GRANT SELECT,INSERT ON TABLE ph.file TO ph_api;
GRANT SELECT ON TABLE ph.file TO ph_backup;
GRANT SELECT ON TABLE ph.file TO ph_worker;
GRANT SELECT ON TABLE ph.file TO ph_clock;

GRANT UPDATE(upload_id) ON TABLE ph.file TO ph_api;

GRANT UPDATE(etag) ON TABLE ph.file TO ph_api;

GRANT UPDATE(version_id) ON TABLE ph.file TO ph_api;

GRANT SELECT,INSERT ON TABLE ph.file_part TO ph_api;
GRANT SELECT ON TABLE ph.file_part TO ph_backup;
GRANT SELECT ON TABLE ph.file_part TO ph_worker;

GRANT UPDATE(etag) ON TABLE ph.file_part TO ph_api;

GRANT SELECT ON TABLE ph.finding TO ph_api;
GRANT SELECT ON TABLE ph.finding TO ph_backup;
GRANT SELECT,INSERT ON TABLE ph.finding TO ph_worker;

GRANT SELECT ON TABLE ph.finding_2026_h1 TO ph_backup;

GRANT SELECT ON TABLE ph.finding_2026_h2 TO ph_backup;

GRANT SELECT ON TABLE ph.finding_2027_h1 TO ph_backup;

GRANT SELECT ON TABLE ph.finding_2027_h2 TO ph_backup;

GRANT SELECT ON TABLE ph.finding_2028_h1 TO ph_backup;

GRANT SELECT ON TABLE ph.finding_2028_h2 TO ph_backup;

GRANT SELECT ON TABLE ph.finding_2029_h1 TO ph_backup;

GRANT SELECT ON TABLE ph.finding_2029_h2 TO ph_backup;

GRANT SELECT ON TABLE ph.finding_rest TO ph_backup;

GRANT SELECT ON TABLE ph.goose_db_version TO ph_backup;
GRANT SELECT ON TABLE ph.goose_db_version TO ph_api;
GRANT SELECT ON TABLE ph.goose_db_version TO ph_login;
GRANT SELECT ON TABLE ph.goose_db_version TO ph_worker;
GRANT SELECT ON TABLE ph.goose_db_version TO ph_notary;
GRANT SELECT ON TABLE ph.goose_db_version TO ph_clock;

GRANT SELECT,INSERT ON TABLE ph.handover TO ph_api;
GRANT SELECT ON TABLE ph.handover TO ph_backup;

GRANT SELECT,INSERT ON TABLE ph.handover_file TO ph_api;
GRANT SELECT ON TABLE ph.handover_file TO ph_backup;

GRANT SELECT,INSERT ON TABLE ph.hold TO ph_api;
GRANT SELECT ON TABLE ph.hold TO ph_backup;

GRANT SELECT ON TABLE ph.house_hash TO ph_api;
GRANT SELECT ON TABLE ph.house_hash TO ph_backup;
GRANT SELECT,INSERT ON TABLE ph.house_hash TO ph_notary;

GRANT SELECT ON TABLE ph.house_leaf TO ph_backup;
GRANT SELECT,INSERT ON TABLE ph.house_leaf TO ph_notary;

GRANT SELECT ON TABLE ph.idempotency TO ph_backup;
GRANT SELECT,INSERT ON TABLE ph.idempotency TO ph_api;

GRANT SELECT,INSERT ON TABLE ph.inspection TO ph_api;
GRANT SELECT ON TABLE ph.inspection TO ph_backup;
GRANT SELECT ON TABLE ph.inspection TO ph_clock;

GRANT SELECT(studio_id) ON TABLE ph.inspection TO ph_worker;

GRANT SELECT(vendor_id) ON TABLE ph.inspection TO ph_worker;

GRANT SELECT(work_order_id) ON TABLE ph.inspection TO ph_worker;

GRANT SELECT(prop_id) ON TABLE ph.inspection TO ph_worker;

GRANT SELECT(milestone_id) ON TABLE ph.inspection TO ph_worker;

GRANT SELECT(delivery_id) ON TABLE ph.inspection TO ph_worker;

GRANT SELECT(id) ON TABLE ph.inspection TO ph_worker;

GRANT SELECT(spec_revision_id) ON TABLE ph.inspection TO ph_worker;

GRANT SELECT(spec_number) ON TABLE ph.inspection TO ph_worker;

GRANT SELECT(reason) ON TABLE ph.inspection TO ph_worker;

GRANT SELECT(state),UPDATE(state) ON TABLE ph.inspection TO ph_worker;

GRANT SELECT(lease_owner),UPDATE(lease_owner) ON TABLE ph.inspection TO ph_worker;

GRANT SELECT(lease_until),UPDATE(lease_until) ON TABLE ph.inspection TO ph_worker;

GRANT SELECT(fence),UPDATE(fence) ON TABLE ph.inspection TO ph_worker;

GRANT SELECT(attempts),UPDATE(attempts) ON TABLE ph.inspection TO ph_worker;

GRANT SELECT(queued_at) ON TABLE ph.inspection TO ph_worker;

GRANT SELECT(started_at),UPDATE(started_at) ON TABLE ph.inspection TO ph_worker;

GRANT SELECT(finished_at),UPDATE(finished_at) ON TABLE ph.inspection TO ph_worker;

GRANT SELECT(engine),UPDATE(engine) ON TABLE ph.inspection TO ph_worker;

GRANT SELECT(engine_digest),UPDATE(engine_digest) ON TABLE ph.inspection TO ph_worker;

GRANT SELECT(verdict),UPDATE(verdict) ON TABLE ph.inspection TO ph_worker;

GRANT SELECT(headline),UPDATE(headline) ON TABLE ph.inspection TO ph_worker;

GRANT SELECT(cause),UPDATE(cause) ON TABLE ph.inspection TO ph_worker;

GRANT SELECT(evidence_sha256),UPDATE(evidence_sha256) ON TABLE ph.inspection TO ph_worker;

GRANT SELECT(findings_sha256),UPDATE(findings_sha256) ON TABLE ph.inspection TO ph_worker;

GRANT SELECT(findings),UPDATE(findings) ON TABLE ph.inspection TO ph_worker;

GRANT SELECT(issues),UPDATE(issues) ON TABLE ph.inspection TO ph_worker;

GRANT SELECT(current),UPDATE(current) ON TABLE ph.inspection TO ph_worker;

GRANT SELECT(permitted),UPDATE(permitted) ON TABLE ph.inspection TO ph_worker;

GRANT SELECT ON TABLE ph.invitation TO ph_backup;
GRANT INSERT ON TABLE ph.invitation TO ph_api;

GRANT SELECT(party_id) ON TABLE ph.invitation TO ph_api;

GRANT SELECT(id) ON TABLE ph.invitation TO ph_api;

GRANT SELECT(side) ON TABLE ph.invitation TO ph_api;

GRANT SELECT(engaged_by) ON TABLE ph.invitation TO ph_api;

GRANT SELECT(email) ON TABLE ph.invitation TO ph_api;

GRANT SELECT(roles) ON TABLE ph.invitation TO ph_api;

GRANT SELECT(created_at) ON TABLE ph.invitation TO ph_api;

GRANT SELECT(created_by) ON TABLE ph.invitation TO ph_api;

GRANT SELECT(expires_at) ON TABLE ph.invitation TO ph_api;

GRANT SELECT(accepted_at) ON TABLE ph.invitation TO ph_api;

GRANT SELECT,INSERT ON TABLE ph.log TO ph_api;
GRANT SELECT ON TABLE ph.log TO ph_backup;
GRANT SELECT ON TABLE ph.log TO ph_worker;
GRANT SELECT ON TABLE ph.log TO ph_notary;
GRANT SELECT ON TABLE ph.log TO ph_clock;

GRANT UPDATE(size) ON TABLE ph.log TO ph_api;
GRANT UPDATE(size) ON TABLE ph.log TO ph_worker;
GRANT UPDATE(size) ON TABLE ph.log TO ph_clock;

GRANT UPDATE(root) ON TABLE ph.log TO ph_api;
GRANT UPDATE(root) ON TABLE ph.log TO ph_worker;
GRANT UPDATE(root) ON TABLE ph.log TO ph_clock;

GRANT UPDATE(anchored_size) ON TABLE ph.log TO ph_notary;

GRANT UPDATE(frontier) ON TABLE ph.log TO ph_api;
GRANT UPDATE(frontier) ON TABLE ph.log TO ph_worker;
GRANT UPDATE(frontier) ON TABLE ph.log TO ph_clock;

GRANT SELECT,INSERT ON TABLE ph.log_hash TO ph_api;
GRANT SELECT ON TABLE ph.log_hash TO ph_backup;
GRANT SELECT,INSERT ON TABLE ph.log_hash TO ph_worker;
GRANT SELECT,INSERT ON TABLE ph.log_hash TO ph_clock;

GRANT SELECT,INSERT ON TABLE ph.maintenance TO ph_api;
GRANT SELECT ON TABLE ph.maintenance TO ph_backup;

GRANT SELECT ON TABLE ph.member TO ph_backup;

GRANT SELECT(party_id) ON TABLE ph.member TO ph_api;

GRANT SELECT(id) ON TABLE ph.member TO ph_api;

GRANT SELECT(side) ON TABLE ph.member TO ph_api;

GRANT SELECT(name) ON TABLE ph.member TO ph_api;

GRANT SELECT(email) ON TABLE ph.member TO ph_api;

GRANT UPDATE(password_hash) ON TABLE ph.member TO ph_api;

GRANT SELECT(roles) ON TABLE ph.member TO ph_api;

GRANT SELECT(created_at) ON TABLE ph.member TO ph_api;

GRANT SELECT(disabled_at) ON TABLE ph.member TO ph_api;

GRANT SELECT,INSERT ON TABLE ph.milestone TO ph_api;
GRANT SELECT ON TABLE ph.milestone TO ph_backup;
GRANT SELECT ON TABLE ph.milestone TO ph_clock;

GRANT SELECT(studio_id) ON TABLE ph.milestone TO ph_worker;

GRANT SELECT(vendor_id) ON TABLE ph.milestone TO ph_worker;

GRANT SELECT(work_order_id) ON TABLE ph.milestone TO ph_worker;

GRANT SELECT(prop_id) ON TABLE ph.milestone TO ph_worker;

GRANT SELECT(id) ON TABLE ph.milestone TO ph_worker;

GRANT SELECT(kind) ON TABLE ph.milestone TO ph_worker;

GRANT UPDATE(state) ON TABLE ph.milestone TO ph_api;
GRANT SELECT(state),UPDATE(state) ON TABLE ph.milestone TO ph_worker;
GRANT UPDATE(state) ON TABLE ph.milestone TO ph_clock;

GRANT UPDATE(last_event) ON TABLE ph.milestone TO ph_api;
GRANT UPDATE(last_event) ON TABLE ph.milestone TO ph_worker;
GRANT UPDATE(last_event) ON TABLE ph.milestone TO ph_clock;

GRANT UPDATE(since) ON TABLE ph.milestone TO ph_api;
GRANT UPDATE(since) ON TABLE ph.milestone TO ph_worker;
GRANT UPDATE(since) ON TABLE ph.milestone TO ph_clock;

GRANT UPDATE(rounds) ON TABLE ph.milestone TO ph_api;

GRANT UPDATE(rework_vendor) ON TABLE ph.milestone TO ph_api;

GRANT UPDATE(rework_studio) ON TABLE ph.milestone TO ph_api;

GRANT UPDATE(review_due_at) ON TABLE ph.milestone TO ph_api;
GRANT SELECT(review_due_at),UPDATE(review_due_at) ON TABLE ph.milestone TO ph_worker;
GRANT UPDATE(review_due_at) ON TABLE ph.milestone TO ph_clock;

GRANT SELECT ON TABLE ph.move TO ph_api;
GRANT SELECT ON TABLE ph.move TO ph_backup;
GRANT SELECT ON TABLE ph.move TO ph_worker;
GRANT SELECT ON TABLE ph.move TO ph_clock;

GRANT SELECT,INSERT ON TABLE ph.nda_ack TO ph_api;
GRANT SELECT ON TABLE ph.nda_ack TO ph_backup;

GRANT SELECT ON TABLE ph.notary_key TO ph_api;
GRANT SELECT ON TABLE ph.notary_key TO ph_backup;
GRANT SELECT,INSERT ON TABLE ph.notary_key TO ph_notary;

GRANT SELECT,INSERT ON TABLE ph.note TO ph_api;
GRANT SELECT ON TABLE ph.note TO ph_backup;

GRANT SELECT,INSERT ON TABLE ph.note_resolution TO ph_api;
GRANT SELECT ON TABLE ph.note_resolution TO ph_backup;

GRANT SELECT,INSERT ON TABLE ph.order_calendar TO ph_api;
GRANT SELECT ON TABLE ph.order_calendar TO ph_backup;
GRANT SELECT ON TABLE ph.order_calendar TO ph_clock;

GRANT SELECT(studio_id) ON TABLE ph.order_calendar TO ph_worker;

GRANT SELECT(work_order_id) ON TABLE ph.order_calendar TO ph_worker;

GRANT SELECT(side) ON TABLE ph.order_calendar TO ph_worker;

GRANT SELECT(time_zone) ON TABLE ph.order_calendar TO ph_worker;

GRANT SELECT(workdays) ON TABLE ph.order_calendar TO ph_worker;

GRANT SELECT(holidays) ON TABLE ph.order_calendar TO ph_worker;

GRANT SELECT ON TABLE ph.party TO ph_backup;
GRANT SELECT,INSERT ON TABLE ph.party TO ph_api;

GRANT SELECT,INSERT ON TABLE ph.payable TO ph_api;
GRANT SELECT ON TABLE ph.payable TO ph_backup;
GRANT SELECT,INSERT ON TABLE ph.payable TO ph_clock;

GRANT SELECT,INSERT ON TABLE ph.payment_hold TO ph_api;
GRANT SELECT ON TABLE ph.payment_hold TO ph_backup;

GRANT SELECT,INSERT ON TABLE ph.payment_hold_end TO ph_api;
GRANT SELECT ON TABLE ph.payment_hold_end TO ph_backup;

GRANT SELECT,INSERT ON TABLE ph.permission TO ph_api;
GRANT SELECT ON TABLE ph.permission TO ph_backup;

GRANT SELECT(studio_id) ON TABLE ph.permission TO ph_worker;

GRANT SELECT(work_order_id) ON TABLE ph.permission TO ph_worker;

GRANT SELECT(id) ON TABLE ph.permission TO ph_worker;

GRANT SELECT(prop_id) ON TABLE ph.permission TO ph_worker;

GRANT SELECT(kit) ON TABLE ph.permission TO ph_worker;

GRANT SELECT(chk) ON TABLE ph.permission TO ph_worker;

GRANT SELECT(part) ON TABLE ph.permission TO ph_worker;

GRANT SELECT(set_name) ON TABLE ph.permission TO ph_worker;

GRANT SELECT(worst) ON TABLE ph.permission TO ph_worker;

GRANT SELECT(until_on) ON TABLE ph.permission TO ph_worker;

GRANT UPDATE(state) ON TABLE ph.permission TO ph_api;
GRANT SELECT(state) ON TABLE ph.permission TO ph_worker;

GRANT UPDATE(last_event) ON TABLE ph.permission TO ph_api;

GRANT SELECT,INSERT ON TABLE ph.permission_decision TO ph_api;
GRANT SELECT ON TABLE ph.permission_decision TO ph_backup;

GRANT SELECT,INSERT ON TABLE ph.project TO ph_api;
GRANT SELECT ON TABLE ph.project TO ph_backup;

GRANT SELECT,INSERT ON TABLE ph.prop TO ph_api;
GRANT SELECT ON TABLE ph.prop TO ph_backup;
GRANT SELECT ON TABLE ph.prop TO ph_clock;

GRANT SELECT(studio_id) ON TABLE ph.prop TO ph_worker;

GRANT SELECT(vendor_id) ON TABLE ph.prop TO ph_worker;

GRANT SELECT(work_order_id) ON TABLE ph.prop TO ph_worker;

GRANT SELECT(id) ON TABLE ph.prop TO ph_worker;

GRANT SELECT(code) ON TABLE ph.prop TO ph_worker;

GRANT SELECT(tier) ON TABLE ph.prop TO ph_worker;

GRANT UPDATE(work_began_at) ON TABLE ph.prop TO ph_api;

GRANT UPDATE(spec_in_force) ON TABLE ph.prop TO ph_api;

GRANT SELECT(kit) ON TABLE ph.prop TO ph_worker;

GRANT SELECT,INSERT ON TABLE ph.question TO ph_api;
GRANT SELECT ON TABLE ph.question TO ph_backup;

GRANT UPDATE(state) ON TABLE ph.question TO ph_api;

GRANT UPDATE(last_event) ON TABLE ph.question TO ph_api;

GRANT SELECT,INSERT ON TABLE ph.question_message TO ph_api;
GRANT SELECT ON TABLE ph.question_message TO ph_backup;

GRANT SELECT,INSERT ON TABLE ph.reference_ack TO ph_api;
GRANT SELECT ON TABLE ph.reference_ack TO ph_backup;

GRANT SELECT,INSERT ON TABLE ph.reference_file TO ph_api;
GRANT SELECT ON TABLE ph.reference_file TO ph_backup;

GRANT UPDATE(published) ON TABLE ph.reference_file TO ph_api;

GRANT SELECT,INSERT ON TABLE ph.reference_pack TO ph_api;
GRANT SELECT ON TABLE ph.reference_pack TO ph_backup;

GRANT UPDATE(published_at) ON TABLE ph.reference_pack TO ph_api;

GRANT SELECT ON TABLE ph.reminder TO ph_api;
GRANT SELECT ON TABLE ph.reminder TO ph_backup;
GRANT SELECT,INSERT ON TABLE ph.reminder TO ph_clock;

GRANT SELECT ON TABLE ph.session TO ph_backup;
GRANT INSERT ON TABLE ph.session TO ph_api;

GRANT SELECT(party_id) ON TABLE ph.session TO ph_api;

GRANT SELECT(member_id) ON TABLE ph.session TO ph_api;

GRANT SELECT(id) ON TABLE ph.session TO ph_api;

GRANT SELECT(created_at) ON TABLE ph.session TO ph_api;

GRANT SELECT(expires_at) ON TABLE ph.session TO ph_api;

GRANT SELECT(last_seen_at) ON TABLE ph.session TO ph_api;

GRANT SELECT(ended_at),UPDATE(ended_at) ON TABLE ph.session TO ph_api;

GRANT SELECT,INSERT ON TABLE ph.set_use TO ph_api;
GRANT SELECT ON TABLE ph.set_use TO ph_backup;

GRANT SELECT,INSERT ON TABLE ph.sign_off TO ph_api;
GRANT SELECT ON TABLE ph.sign_off TO ph_backup;
GRANT SELECT,INSERT ON TABLE ph.sign_off TO ph_clock;

GRANT SELECT,INSERT ON TABLE ph.spec_ack TO ph_api;
GRANT SELECT ON TABLE ph.spec_ack TO ph_backup;

GRANT SELECT,INSERT ON TABLE ph.spec_revision TO ph_api;
GRANT SELECT ON TABLE ph.spec_revision TO ph_backup;

GRANT SELECT(studio_id) ON TABLE ph.spec_revision TO ph_worker;

GRANT SELECT(vendor_id) ON TABLE ph.spec_revision TO ph_worker;

GRANT SELECT(work_order_id) ON TABLE ph.spec_revision TO ph_worker;

GRANT SELECT(prop_id) ON TABLE ph.spec_revision TO ph_worker;

GRANT SELECT(id) ON TABLE ph.spec_revision TO ph_worker;

GRANT SELECT(number) ON TABLE ph.spec_revision TO ph_worker;

GRANT SELECT(document) ON TABLE ph.spec_revision TO ph_worker;

GRANT SELECT(document_sha256) ON TABLE ph.spec_revision TO ph_worker;

GRANT SELECT(digest) ON TABLE ph.spec_revision TO ph_worker;

GRANT SELECT(created_at) ON TABLE ph.spec_revision TO ph_worker;

GRANT SELECT ON TABLE ph.token TO ph_backup;
GRANT INSERT ON TABLE ph.token TO ph_api;

GRANT SELECT(party_id) ON TABLE ph.token TO ph_api;

GRANT SELECT(member_id) ON TABLE ph.token TO ph_api;

GRANT SELECT(id) ON TABLE ph.token TO ph_api;

GRANT SELECT(name) ON TABLE ph.token TO ph_api;

GRANT SELECT(hint) ON TABLE ph.token TO ph_api;

GRANT SELECT(scopes) ON TABLE ph.token TO ph_api;

GRANT SELECT(created_at) ON TABLE ph.token TO ph_api;

GRANT SELECT(expires_at) ON TABLE ph.token TO ph_api;

GRANT SELECT(last_used_at) ON TABLE ph.token TO ph_api;

GRANT SELECT(revoked_at),UPDATE(revoked_at) ON TABLE ph.token TO ph_api;

GRANT SELECT,INSERT ON TABLE ph.work_order TO ph_api;
GRANT SELECT ON TABLE ph.work_order TO ph_backup;
GRANT SELECT ON TABLE ph.work_order TO ph_clock;

GRANT SELECT(studio_id) ON TABLE ph.work_order TO ph_worker;

GRANT SELECT(id) ON TABLE ph.work_order TO ph_worker;

GRANT SELECT(review_days) ON TABLE ph.work_order TO ph_worker;
