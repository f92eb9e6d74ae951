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
  IF the_password_hash IS NOT NULL AND EXISTS (SELECT FROM ph.provider o WHERE o.party_id = inv.party_id AND o.required AND o.removed_at IS NULL) THEN
    RETURN;
  END IF;
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
    LANGUAGE plpgsql STABLE PARALLEL SAFE
    SET search_path TO 'pg_catalog'
    AS $$
BEGIN
  RETURN CASE WHEN nullif(current_setting('app.studio', true), '') IS NOT NULL THEN 'studio'
              WHEN nullif(current_setting('app.vendor', true), '') IS NOT NULL THEN 'vendor' ELSE 'machine' END;
END $$;

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

CREATE FUNCTION ph.ask_reset(the_email text, the_id uuid, the_hash bytea) RETURNS void
    LANGUAGE sql SECURITY DEFINER
    SET search_path TO 'pg_catalog'
    AS $$
  WITH who AS (
    SELECT m.party_id, m.id, m.email FROM ph.member m
    WHERE m.email = lower(the_email) AND m.disabled_at IS NULL
      AND (SELECT count(*) FROM ph.password_reset r WHERE r.party_id = m.party_id AND r.member_id = m.id AND r.created_at > now() - interval '1 hour') < 3
  ), made AS (
    INSERT INTO ph.password_reset (party_id, member_id, id, secret_hash, expires_at)
    SELECT w.party_id, w.id, the_id, the_hash, now() + interval '1 hour' FROM who w
  )
  INSERT INTO ph.mail (id, party_id, member_id, address, kind, about, cause)
  SELECT the_id, w.party_id, w.id, w.email, 'reset', jsonb_build_object('reset', the_id), 'reset ' || the_id FROM who w
$$;

ALTER FUNCTION ph.ask_reset(the_email text, the_id uuid, the_hash bytea) OWNER TO ph_owner;

CREATE FUNCTION ph.change_order_agreed() RETURNS trigger
    LANGUAGE plpgsql SECURITY DEFINER
    SET search_path TO 'pg_catalog'
    AS $$
BEGIN
  IF NEW.state = 'agreed' AND OLD.state <> 'agreed' THEN
    UPDATE ph.milestone m SET change_minor = m.change_minor + NEW.delta_minor, due_moved = coalesce(NEW.due_on, m.due_moved),
      due_sort = coalesce(NEW.due_on, m.due_sort)
    WHERE m.studio_id = NEW.studio_id AND m.id = NEW.milestone_id AND m.state NOT IN ('accepted', 'cancelled');
    IF NOT FOUND THEN
      RAISE EXCEPTION 'nothing of a finished milestone changes any more' USING ERRCODE = 'check_violation', CONSTRAINT = 'change_of_finished_milestone';
    END IF;
  END IF;
  RETURN NULL;
END $$;

ALTER FUNCTION ph.change_order_agreed() OWNER TO ph_owner;

CREATE FUNCTION ph.count_checks(the_studio uuid, the_inspection uuid) RETURNS void
    LANGUAGE plpgsql SECURITY DEFINER
    SET search_path TO 'pg_catalog'
    AS $$
BEGIN
  INSERT INTO ph.check_count AS d (studio_id, vendor_id, project_id, tier, month, chk, shard, judged, failed)
  SELECT i.studio_id, i.vendor_id, w.project_id, p.tier, date_trunc('month', now() AT TIME ZONE 'UTC')::date, f.chk,
         CASE WHEN grouping(i.vendor_id, w.project_id) = 3 THEN abs(hashtext(the_inspection::text) % 4) ELSE 0 END,
         count(*), count(*) FILTER (WHERE f.blocks AND f.outcome = 'fail')
  FROM ph.inspection i
  JOIN ph.work_order w ON w.studio_id = i.studio_id AND w.id = i.work_order_id
  JOIN ph.prop p ON p.studio_id = i.studio_id AND p.id = i.prop_id
  JOIN ph.finding f ON f.studio_id = i.studio_id AND f.inspection_id = the_inspection
  WHERE i.studio_id = the_studio AND i.id = the_inspection AND f.outcome IN ('pass', 'warn', 'fail')
  GROUP BY i.studio_id, p.tier, f.chk, GROUPING SETS ((), (i.vendor_id), (w.project_id), (i.vendor_id, w.project_id))
  ORDER BY i.vendor_id, w.project_id, f.chk
  ON CONFLICT (studio_id, vendor_id, project_id, month, tier, chk, shard)
  DO UPDATE SET judged = d.judged + excluded.judged, failed = d.failed + excluded.failed;
END $$;

ALTER FUNCTION ph.count_checks(the_studio uuid, the_inspection uuid) OWNER TO ph_owner;

CREATE FUNCTION ph.count_evidence() RETURNS trigger
    LANGUAGE plpgsql SECURITY DEFINER
    SET search_path TO 'pg_catalog'
    AS $$
BEGIN
  INSERT INTO ph.stored AS s (studio_id, vendor_id, work_order_id, prop_id, evidence_bytes)
  SELECT i.studio_id, i.vendor_id, i.work_order_id, i.prop_id, sum(n.size) FROM added n
  JOIN ph.inspection i ON i.studio_id = n.studio_id AND i.id = n.inspection_id
  GROUP BY i.studio_id, i.vendor_id, i.work_order_id, i.prop_id
  ON CONFLICT (studio_id, work_order_id, prop_id) DO UPDATE SET evidence_bytes = s.evidence_bytes + excluded.evidence_bytes;
  RETURN NULL;
END $$;

ALTER FUNCTION ph.count_evidence() OWNER TO ph_owner;

CREATE FUNCTION ph.count_removed() RETURNS trigger
    LANGUAGE plpgsql SECURITY DEFINER
    SET search_path TO 'pg_catalog'
    AS $$
BEGIN
  UPDATE ph.stored s SET removed_bytes = s.removed_bytes + NEW.bytes
  FROM ph.delivery d WHERE d.studio_id = NEW.studio_id AND d.id = NEW.delivery_id
    AND s.studio_id = d.studio_id AND s.work_order_id = d.work_order_id AND s.prop_id = d.prop_id;
  RETURN NULL;
END $$;

ALTER FUNCTION ph.count_removed() OWNER TO ph_owner;

CREATE FUNCTION ph.count_sealed() RETURNS trigger
    LANGUAGE plpgsql SECURITY DEFINER
    SET search_path TO 'pg_catalog'
    AS $$
BEGIN
  INSERT INTO ph.stored AS s (studio_id, vendor_id, work_order_id, prop_id, delivered_bytes)
  VALUES (NEW.studio_id, NEW.vendor_id, NEW.work_order_id, NEW.prop_id, NEW.bytes)
  ON CONFLICT (studio_id, work_order_id, prop_id) DO UPDATE SET delivered_bytes = s.delivered_bytes + excluded.delivered_bytes;
  RETURN NULL;
END $$;

ALTER FUNCTION ph.count_sealed() OWNER TO ph_owner;

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

CREATE FUNCTION ph.end_password_sessions() RETURNS void
    LANGUAGE sql SECURITY DEFINER
    SET search_path TO 'pg_catalog'
    AS $$
  UPDATE ph.session s SET ended_at = now() WHERE s.party_id = ph.app_party() AND s.via <> 'provider' AND s.ended_at IS NULL
$$;

ALTER FUNCTION ph.end_password_sessions() OWNER TO ph_owner;

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

CREATE FUNCTION ph.finish_reset(the_hash bytea, the_password text) RETURNS boolean
    LANGUAGE plpgsql SECURITY DEFINER
    SET search_path TO 'pg_catalog'
    AS $$
DECLARE whose record;
BEGIN
  UPDATE ph.password_reset r SET used_at = now() FROM ph.member m
  WHERE r.secret_hash = the_hash AND r.used_at IS NULL AND r.expires_at > now() AND m.party_id = r.party_id AND m.id = r.member_id AND m.disabled_at IS NULL
  RETURNING r.party_id, r.member_id INTO whose;
  IF NOT FOUND THEN
    RETURN false;
  END IF;
  UPDATE ph.password_reset r SET used_at = now() WHERE r.party_id = whose.party_id AND r.member_id = whose.member_id AND r.used_at IS NULL;
  UPDATE ph.member m SET password_hash = the_password WHERE m.party_id = whose.party_id AND m.id = whose.member_id;
  UPDATE ph.session s SET ended_at = now() WHERE s.party_id = whose.party_id AND s.member_id = whose.member_id AND s.ended_at IS NULL;
  UPDATE ph.device d SET ended_at = now() WHERE d.party_id = whose.party_id AND d.member_id = whose.member_id AND d.ended_at IS NULL;
  INSERT INTO ph.access (party_id, hour, member_id, act, subject)
  VALUES (whose.party_id, date_trunc('hour', now(), 'UTC'), whose.member_id, 'password_changed', '00000000-0000-0000-0000-000000000000') ON CONFLICT DO NOTHING;
  RETURN true;
END $$;

ALTER FUNCTION ph.finish_reset(the_hash bytea, the_password text) OWNER TO ph_owner;

CREATE FUNCTION ph.forget_access() RETURNS trigger
    LANGUAGE plpgsql SECURITY DEFINER
    SET search_path TO 'pg_catalog'
    AS $$
BEGIN
  UPDATE ph.access a SET address = '' WHERE a.party_id = NEW.party_id AND a.member_id = NEW.id;
  RETURN NULL;
END $$;

ALTER FUNCTION ph.forget_access() OWNER TO ph_owner;

CREATE FUNCTION ph.forget_doors() RETURNS trigger
    LANGUAGE plpgsql SECURITY DEFINER
    SET search_path TO 'pg_catalog'
    AS $$
BEGIN
  DELETE FROM ph.device d WHERE d.party_id = NEW.party_id AND d.member_id = NEW.id;
  IF NEW.email LIKE 'erased-%@erased.invalid' THEN
    DELETE FROM ph.identity i WHERE i.party_id = NEW.party_id AND i.member_id = NEW.id;
    UPDATE ph.session s SET agent = '', address = '' WHERE s.party_id = NEW.party_id AND s.member_id = NEW.id;
  END IF;
  RETURN NULL;
END $$;

ALTER FUNCTION ph.forget_doors() OWNER TO ph_owner;

CREATE FUNCTION ph.forget_mail() RETURNS trigger
    LANGUAGE plpgsql SECURITY DEFINER
    SET search_path TO 'pg_catalog'
    AS $$
BEGIN
  DELETE FROM ph.mail m WHERE m.party_id = NEW.party_id AND (m.member_id = NEW.id OR m.address = OLD.email);
  UPDATE ph.invitation i SET email = NEW.email WHERE i.party_id = NEW.party_id AND i.email = OLD.email;
  RETURN NULL;
END $$;

ALTER FUNCTION ph.forget_mail() OWNER TO ph_owner;

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

CREATE FUNCTION ph.invitation_late(the_hash bytea) RETURNS boolean
    LANGUAGE sql STABLE SECURITY DEFINER
    SET search_path TO 'pg_catalog'
    AS $$
  SELECT EXISTS (SELECT FROM ph.invitation i WHERE i.secret_hash = the_hash AND i.engaged_by IS NOT NULL AND i.accepted_at IS NULL AND i.expires_at > now()
    AND EXISTS (SELECT FROM ph.member m WHERE m.party_id = i.party_id))
$$;

ALTER FUNCTION ph.invitation_late(the_hash bytea) OWNER TO ph_owner;

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

CREATE FUNCTION ph.login_attempt(the_key bytea, every interval, burst integer) RETURNS interval
    LANGUAGE plpgsql SECURITY DEFINER
    SET search_path TO 'pg_catalog'
    AS $$
DECLARE t timestamptz := clock_timestamp(); free timestamptz;
BEGIN
  INSERT INTO ph.attempt AS a (key, until) VALUES (the_key, t + every)
  ON CONFLICT (key) DO UPDATE SET until = greatest(a.until, t) + every WHERE greatest(a.until, t) + every <= t + burst * every
  RETURNING a.until INTO free;
  IF FOUND THEN
    IF random() < 0.01 THEN DELETE FROM ph.attempt a WHERE a.until < t; END IF;
    RETURN interval '0';
  END IF;
  SELECT a.until - (burst - 1) * every - t INTO every FROM ph.attempt a WHERE a.key = the_key;
  RETURN greatest(every, interval '1 millisecond');
END $$;

ALTER FUNCTION ph.login_attempt(the_key bytea, every interval, burst integer) OWNER TO ph_owner;

CREATE FUNCTION ph.login_device(the_email text, the_hash bytea) RETURNS boolean
    LANGUAGE sql STABLE SECURITY DEFINER
    SET search_path TO 'pg_catalog'
    AS $$
  SELECT EXISTS (SELECT FROM ph.device d JOIN ph.member m ON m.party_id = d.party_id AND m.id = d.member_id
    WHERE d.secret_hash = the_hash AND d.ended_at IS NULL AND d.created_at > now() - interval '400 days'
      AND m.email = lower(the_email) AND m.disabled_at IS NULL)
$$;

ALTER FUNCTION ph.login_device(the_email text, the_hash bytea) OWNER TO ph_owner;

CREATE FUNCTION ph.login_device_of(the_party uuid, the_member uuid, the_hash bytea) RETURNS boolean
    LANGUAGE sql STABLE SECURITY DEFINER
    SET search_path TO 'pg_catalog'
    AS $$
  SELECT EXISTS (SELECT FROM ph.device d WHERE d.secret_hash = the_hash AND d.party_id = the_party AND d.member_id = the_member
    AND d.ended_at IS NULL AND d.created_at > now() - interval '400 days')
$$;

ALTER FUNCTION ph.login_device_of(the_party uuid, the_member uuid, the_hash bytea) OWNER TO ph_owner;

CREATE FUNCTION ph.login_failed(the_email text, the_act text, the_address text) RETURNS void
    LANGUAGE sql SECURITY DEFINER
    SET search_path TO 'pg_catalog'
    AS $$
  INSERT INTO ph.access AS a (party_id, hour, member_id, act, subject, address)
  SELECT m.party_id, date_trunc('hour', now(), 'UTC'), m.id, the_act, '00000000-0000-0000-0000-000000000000', left(the_address, 60)
  FROM ph.member m WHERE m.email = lower(the_email) AND m.disabled_at IS NULL AND the_act IN ('log_in_failed', 'log_in_held')
  ON CONFLICT (party_id, hour, member_id, act, subject) DO UPDATE SET times = a.times + 1, address = excluded.address
$$;

ALTER FUNCTION ph.login_failed(the_email text, the_act text, the_address text) OWNER TO ph_owner;

CREATE FUNCTION ph.login_identity(the_provider uuid, the_issuer text, the_subject text, the_email text, the_name text, the_invitation bytea, new_id uuid) RETURNS TABLE(party_id uuid, party_name text, side text, member_id uuid, name text, roles text[])
    LANGUAGE plpgsql SECURITY DEFINER
    SET search_path TO 'pg_catalog'
    AS $$
#variable_conflict use_column
DECLARE the_party uuid; the_member uuid;
BEGIN
  SELECT o.party_id INTO the_party FROM ph.provider o WHERE o.id = the_provider AND o.issuer = the_issuer AND o.removed_at IS NULL FOR UPDATE;
  IF NOT FOUND THEN RETURN; END IF;
  UPDATE ph.identity i SET last_used_at = now() WHERE i.party_id = the_party AND i.issuer = the_issuer AND i.subject = the_subject
  RETURNING i.member_id INTO the_member;
  IF NOT FOUND THEN
    IF the_email = '' THEN RETURN; END IF;
    IF the_invitation IS NOT NULL THEN
      PERFORM 1 FROM ph.invitation i WHERE i.secret_hash = the_invitation AND i.party_id = the_party AND i.email = lower(the_email);
      IF NOT FOUND THEN RETURN; END IF;
      SELECT a.member_id INTO the_member FROM ph.accept_invitation(the_invitation, new_id, the_name, NULL) a;
    ELSE
      SELECT m.id INTO the_member FROM ph.member m
      WHERE m.party_id = the_party AND m.email = lower(the_email) AND m.disabled_at IS NULL
        AND NOT EXISTS (SELECT FROM ph.identity i WHERE i.party_id = the_party AND i.member_id = m.id AND i.issuer = the_issuer);
    END IF;
    IF the_member IS NULL THEN RETURN; END IF;
    INSERT INTO ph.identity (party_id, member_id, issuer, subject) VALUES (the_party, the_member, the_issuer, the_subject);
  END IF;
  RETURN QUERY SELECT m.party_id, p.name, m.side, m.id, m.name, m.roles
  FROM ph.member m JOIN ph.party p ON p.id = m.party_id
  WHERE m.party_id = the_party AND m.id = the_member AND m.disabled_at IS NULL;
END $$;

ALTER FUNCTION ph.login_identity(the_provider uuid, the_issuer text, the_subject text, the_email text, the_name text, the_invitation bytea, new_id uuid) OWNER TO ph_owner;

CREATE FUNCTION ph.login_invitation(the_hash bytea) RETURNS TABLE(party_id uuid, party_name text, side text, id uuid, email text, roles text[], expires_at timestamp with time zone, provider_id uuid, required boolean)
    LANGUAGE sql STABLE SECURITY DEFINER
    SET search_path TO 'pg_catalog'
    AS $$
  SELECT i.party_id, p.name, i.side, i.id, i.email, i.roles, i.expires_at, o.id, coalesce(o.required, false)
  FROM ph.invitation i JOIN ph.party p ON p.id = i.party_id
  LEFT JOIN ph.provider o ON o.party_id = i.party_id AND o.removed_at IS NULL
  WHERE i.secret_hash = the_hash AND i.accepted_at IS NULL AND i.expires_at > now()
$$;

ALTER FUNCTION ph.login_invitation(the_hash bytea) OWNER TO ph_owner;

CREATE FUNCTION ph.login_password(the_email text) RETURNS TABLE(party_id uuid, party_name text, side text, member_id uuid, name text, roles text[], password_hash text, provider_id uuid, required boolean)
    LANGUAGE sql STABLE SECURITY DEFINER
    SET search_path TO 'pg_catalog'
    AS $$
  SELECT m.party_id, p.name, m.side, m.id, m.name, m.roles, m.password_hash, o.id, coalesce(o.required, false)
  FROM ph.member m JOIN ph.party p ON p.id = m.party_id
  LEFT JOIN ph.provider o ON o.party_id = m.party_id AND o.removed_at IS NULL
  WHERE m.email = lower(the_email) AND m.disabled_at IS NULL
$$;

ALTER FUNCTION ph.login_password(the_email text) OWNER TO ph_owner;

CREATE FUNCTION ph.login_provider(the_id uuid) RETURNS TABLE(party_id uuid, party_name text, id uuid, issuer text, client_id text, client_secret text, required boolean)
    LANGUAGE sql STABLE SECURITY DEFINER
    SET search_path TO 'pg_catalog'
    AS $$
  SELECT o.party_id, p.name, o.id, o.issuer, o.client_id, o.client_secret, o.required
  FROM ph.provider o JOIN ph.party p ON p.id = o.party_id WHERE o.id = the_id AND o.removed_at IS NULL
$$;

ALTER FUNCTION ph.login_provider(the_id uuid) OWNER TO ph_owner;

CREATE FUNCTION ph.login_reader(the_party uuid, the_member uuid) RETURNS TABLE(language text, time_zone text)
    LANGUAGE sql STABLE SECURITY DEFINER
    SET search_path TO 'pg_catalog'
    AS $$
  SELECT coalesce(m.language, ''),
    coalesce(m.time_zone, (SELECT c.time_zone FROM ph.calendar c WHERE c.party_id = m.party_id ORDER BY c.number DESC LIMIT 1), '')
  FROM ph.member m WHERE m.party_id = the_party AND m.id = the_member
$$;

ALTER FUNCTION ph.login_reader(the_party uuid, the_member uuid) OWNER TO ph_owner;

CREATE FUNCTION ph.login_session(the_hash bytea) RETURNS TABLE(party_id uuid, party_name text, side text, member_id uuid, name text, roles text[], session_id uuid)
    LANGUAGE plpgsql SECURITY DEFINER
    SET search_path TO 'pg_catalog'
    AS $$
#variable_conflict use_column
DECLARE found_id uuid;
BEGIN
  SELECT s.id INTO found_id FROM ph.session s
  WHERE s.secret_hash = the_hash AND s.ended_at IS NULL AND s.expires_at > now()
    AND coalesce(s.last_seen_at, s.created_at) > now() - interval '30 minutes';
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

CREATE FUNCTION ph.mail_invitation(the_invitation uuid, the_mail uuid) RETURNS void
    LANGUAGE sql SECURITY DEFINER
    SET search_path TO 'pg_catalog'
    AS $$
  INSERT INTO ph.mail (id, party_id, address, kind, about, cause)
  SELECT the_mail, i.party_id, i.email, 'invitation', jsonb_build_object('invitation', i.id), 'invitation ' || i.id
  FROM ph.invitation i WHERE i.id = the_invitation AND (i.party_id = ph.app_party() OR i.engaged_by = ph.app_studio())
$$;

ALTER FUNCTION ph.mail_invitation(the_invitation uuid, the_mail uuid) OWNER TO ph_owner;

CREATE FUNCTION ph.mail_locked(the_email text, the_mail uuid) RETURNS void
    LANGUAGE sql SECURITY DEFINER
    SET search_path TO 'pg_catalog'
    AS $$
  INSERT INTO ph.mail (id, party_id, member_id, address, kind, about, cause)
  SELECT the_mail, m.party_id, m.id, m.email, 'locked', '{}', 'locked ' || m.id || ' ' || (now() AT TIME ZONE 'UTC')::date
  FROM ph.member m WHERE m.email = lower(the_email) AND m.disabled_at IS NULL
  ON CONFLICT (cause) DO NOTHING
$$;

ALTER FUNCTION ph.mail_locked(the_email text, the_mail uuid) OWNER TO ph_owner;

CREATE FUNCTION ph.mail_reader(the_party uuid, the_member uuid) RETURNS TABLE(language text, time_zone text)
    LANGUAGE plpgsql STABLE SECURITY DEFINER
    SET search_path TO 'pg_catalog'
    AS $$
#variable_conflict use_column
BEGIN
  RETURN QUERY SELECT coalesce(m.language, ''),
    coalesce(m.time_zone, (SELECT c.time_zone FROM ph.calendar c WHERE c.party_id = m.party_id ORDER BY c.number DESC LIMIT 1), 'UTC')
  FROM ph.member m WHERE m.party_id = the_party AND m.id = the_member;
END $$;

ALTER FUNCTION ph.mail_reader(the_party uuid, the_member uuid) OWNER TO ph_owner;

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
DECLARE the_project uuid; the_tier text; blocked interval; sealed date; due date := coalesce(NEW.due_moved, NEW.due_on); waited bigint := least(NEW.waited_secs, NEW.vendor_secs);
BEGIN
  IF NEW.state <> 'accepted' OR OLD.state = 'accepted' OR NEW.kind = 'maintenance' THEN
    RETURN NULL;
  END IF;
  SELECT w.project_id, p.tier, make_interval(secs => p.blocked_secs) INTO the_project, the_tier, blocked
  FROM ph.prop p JOIN ph.work_order w ON w.studio_id = p.studio_id AND w.id = p.work_order_id WHERE p.studio_id = NEW.studio_id AND p.id = NEW.prop_id;
  SELECT ph.vendor_day(NEW.studio_id, NEW.work_order_id, max(d.sealed_at)) INTO sealed FROM ph.delivery d WHERE d.studio_id = NEW.studio_id AND d.milestone_id = NEW.id AND d.state = 'sealed';
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

ALTER FUNCTION ph.milestone_guard() OWNER TO ph_owner;

CREATE FUNCTION ph.milestone_moved() RETURNS trigger
    LANGUAGE plpgsql SECURITY DEFINER
    SET search_path TO 'pg_catalog'
    AS $$
BEGIN
  IF OLD.state NOT IN ('accepted', 'cancelled') AND NEW.state NOT IN ('accepted', 'cancelled') AND OLD.change_minor = NEW.change_minor THEN
    UPDATE ph.prop_line l SET state = NEW.state, due_sort = NEW.due_sort, since = NEW.since, rounds = NEW.rounds
    WHERE l.studio_id = NEW.studio_id AND l.prop_id = NEW.prop_id AND l.milestone_id = NEW.id;
  ELSE
    PERFORM ph.write_lines(NEW.studio_id, ARRAY[NEW.prop_id]);
  END IF;
  RETURN NULL;
END $$;

ALTER FUNCTION ph.milestone_moved() OWNER TO ph_owner;

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

CREATE FUNCTION ph.milestones_made() RETURNS trigger
    LANGUAGE plpgsql SECURITY DEFINER
    SET search_path TO 'pg_catalog'
    AS $$
BEGIN
  PERFORM ph.write_lines(n.studio_id, array_agg(DISTINCT n.prop_id)) FROM new_rows n GROUP BY n.studio_id;
  RETURN NULL;
END $$;

ALTER FUNCTION ph.milestones_made() OWNER TO ph_owner;

CREATE FUNCTION ph.oldest_program() RETURNS integer
    LANGUAGE sql IMMUTABLE
    SET search_path TO 'pg_catalog'
    AS $$ SELECT 15 $$;

ALTER FUNCTION ph.oldest_program() OWNER TO ph_owner;

CREATE FUNCTION ph.own_password_hash() RETURNS text
    LANGUAGE sql STABLE SECURITY DEFINER
    SET search_path TO 'pg_catalog'
    AS $$ SELECT m.password_hash FROM ph.member m WHERE m.party_id = ph.app_party() AND m.id = ph.app_member() $$;

ALTER FUNCTION ph.own_password_hash() OWNER TO ph_owner;

CREATE FUNCTION ph.prop_blocked() RETURNS trigger
    LANGUAGE plpgsql SECURITY DEFINER
    SET search_path TO 'pg_catalog'
    AS $$
BEGIN
  PERFORM ph.write_lines(NEW.studio_id, ARRAY[NEW.id]);
  RETURN NULL;
END $$;

ALTER FUNCTION ph.prop_blocked() OWNER TO ph_owner;

CREATE FUNCTION ph.proved_session(the_hash bytea) RETURNS TABLE(party_id uuid, party_name text, side text, member_id uuid, name text, roles text[], session_id uuid, proved_seconds bigint)
    LANGUAGE plpgsql SECURITY DEFINER
    SET search_path TO 'pg_catalog'
    AS $$
#variable_conflict use_column
DECLARE found_id uuid;
BEGIN
  SELECT s.id INTO found_id FROM ph.session s
  WHERE s.secret_hash = the_hash AND s.ended_at IS NULL AND s.expires_at > now()
    AND coalesce(s.last_seen_at, s.created_at) > now() - interval '30 minutes';
  IF found_id IS NULL THEN RETURN; END IF;
  -- At most one write a minute: a page makes many requests.
  UPDATE ph.session s SET last_seen_at = now()
  WHERE s.secret_hash = the_hash AND (s.last_seen_at IS NULL OR s.last_seen_at < now() - interval '1 minute');
  RETURN QUERY SELECT m.party_id, p.name, m.side, m.id, m.name, m.roles, s.id, extract(epoch FROM now() - s.proved_at)::bigint
  FROM ph.session s
  JOIN ph.member m ON m.party_id = s.party_id AND m.id = s.member_id
  JOIN ph.party p ON p.id = m.party_id
  WHERE s.secret_hash = the_hash AND m.disabled_at IS NULL;
END $$;

ALTER FUNCTION ph.proved_session(the_hash bytea) OWNER TO ph_owner;

CREATE FUNCTION ph.question_blocks() RETURNS trigger
    LANGUAGE plpgsql SECURITY DEFINER
    SET search_path TO 'pg_catalog'
    AS $$
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

CREATE FUNCTION ph.reset_stands(the_hash bytea) RETURNS boolean
    LANGUAGE sql STABLE SECURITY DEFINER
    SET search_path TO 'pg_catalog'
    AS $$
  SELECT EXISTS (SELECT FROM ph.password_reset r JOIN ph.member m ON m.party_id = r.party_id AND m.id = r.member_id
    WHERE r.secret_hash = the_hash AND r.used_at IS NULL AND r.expires_at > now() AND m.disabled_at IS NULL)
$$;

ALTER FUNCTION ph.reset_stands(the_hash bytea) OWNER TO ph_owner;

CREATE FUNCTION ph.rotate_hook(the_hook uuid, the_secret bytea, the_overlap interval) RETURNS boolean
    LANGUAGE sql SECURITY DEFINER
    SET search_path TO 'pg_catalog'
    AS $$
  WITH turned AS (
    UPDATE ph.hook h SET secret = the_secret,
      previous = CASE WHEN the_overlap > interval '0' THEN h.secret END, previous_until = CASE WHEN the_overlap > interval '0' THEN now() + the_overlap END
    WHERE h.party_id = ph.app_party() AND h.id = the_hook AND h.removed_at IS NULL RETURNING 1)
  SELECT EXISTS (SELECT FROM turned)
$$;

ALTER FUNCTION ph.rotate_hook(the_hook uuid, the_secret bytea, the_overlap interval) OWNER TO ph_owner;

CREATE FUNCTION ph.sign_in_begin(the_provider uuid, the_state bytea, the_browser bytea, the_nonce text, the_verifier text, the_next text, the_invitation bytea) RETURNS boolean
    LANGUAGE plpgsql SECURITY DEFINER
    SET search_path TO 'pg_catalog'
    AS $$
BEGIN
  DELETE FROM ph.sign_in s WHERE s.created_at < now() - interval '10 minutes';
  INSERT INTO ph.sign_in (party_id, state_hash, browser_hash, provider_id, nonce, verifier, next, invitation_hash)
  SELECT o.party_id, the_state, the_browser, o.id, the_nonce, the_verifier, left(the_next, 2000), the_invitation
  FROM ph.provider o WHERE o.id = the_provider AND o.removed_at IS NULL;
  RETURN FOUND;
END $$;

ALTER FUNCTION ph.sign_in_begin(the_provider uuid, the_state bytea, the_browser bytea, the_nonce text, the_verifier text, the_next text, the_invitation bytea) OWNER TO ph_owner;

CREATE FUNCTION ph.sign_in_take(the_provider uuid, the_state bytea, the_browser bytea) RETURNS TABLE(nonce text, verifier text, next text, invitation_hash bytea)
    LANGUAGE sql SECURITY DEFINER
    SET search_path TO 'pg_catalog'
    AS $$
  DELETE FROM ph.sign_in s
  WHERE s.provider_id = the_provider AND s.state_hash = the_state AND s.browser_hash = the_browser AND s.created_at > now() - interval '10 minutes'
  RETURNING s.nonce, s.verifier, s.next, s.invitation_hash
$$;

ALTER FUNCTION ph.sign_in_take(the_provider uuid, the_state bytea, the_browser bytea) OWNER TO ph_owner;

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

CREATE FUNCTION ph.stop_mail(the_member uuid) RETURNS boolean
    LANGUAGE sql SECURITY DEFINER
    SET search_path TO 'pg_catalog'
    AS $$
  WITH stopped AS (
    INSERT INTO ph.mail_choice (party_id, member_id, topic, how)
    SELECT m.party_id, m.id, t, 'never' FROM ph.member m, unnest(ARRAY['decision', 'silence', 'question', 'inspection', 'terms', 'due']) t WHERE m.id = the_member
    ON CONFLICT (party_id, member_id, topic) DO UPDATE SET how = 'never' RETURNING 1)
  SELECT EXISTS (SELECT FROM stopped)
$$;

ALTER FUNCTION ph.stop_mail(the_member uuid) OWNER TO ph_owner;

CREATE FUNCTION ph.sweep_access() RETURNS bigint
    LANGUAGE sql SECURITY DEFINER
    SET search_path TO 'pg_catalog'
    AS $$
  WITH gone AS (
    DELETE FROM ph.access a WHERE a.ctid IN (SELECT b.ctid FROM ph.access b WHERE b.hour < now() - interval '180 days' LIMIT 10000) RETURNING 1
  ) SELECT count(*) FROM gone
$$;

ALTER FUNCTION ph.sweep_access() OWNER TO ph_owner;

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

CREATE FUNCTION ph.tell_of_door() RETURNS trigger
    LANGUAGE plpgsql SECURITY DEFINER
    SET search_path TO 'pg_catalog'
    AS $$
DECLARE the_member uuid;
BEGIN
  the_member := (to_jsonb(NEW) ->> CASE WHEN TG_TABLE_NAME = 'member' THEN 'id' ELSE 'member_id' END)::uuid;
  INSERT INTO ph.mail (id, party_id, member_id, address, kind, about, cause)
  SELECT n.id, m.party_id, m.id, m.email, 'door', jsonb_build_object('why', TG_ARGV[0]), 'door ' || n.id
  FROM ph.member m CROSS JOIN (SELECT gen_random_uuid() AS id) n
  WHERE m.party_id = NEW.party_id AND m.id = the_member AND m.disabled_at IS NULL AND m.created_at < now();
  RETURN NULL;
END $$;

ALTER FUNCTION ph.tell_of_door() OWNER TO ph_owner;

CREATE FUNCTION ph.uuid_at(at timestamp with time zone) RETURNS uuid
    LANGUAGE sql IMMUTABLE PARALLEL SAFE
    SET search_path TO 'pg_catalog'
    AS $$ SELECT (lpad(to_hex((extract(epoch FROM at) * 1000)::bigint), 12, '0') || '00000000000000000000')::uuid $$;

ALTER FUNCTION ph.uuid_at(at timestamp with time zone) OWNER TO ph_owner;

CREATE FUNCTION ph.vendor_day(the_studio uuid, the_order uuid, the_time timestamp with time zone) RETURNS date
    LANGUAGE plpgsql STABLE SECURITY DEFINER
    SET search_path TO 'pg_catalog'
    AS $$
DECLARE zone text;
BEGIN
  SELECT c.time_zone INTO zone FROM ph.order_calendar c WHERE c.studio_id = the_studio AND c.work_order_id = the_order AND c.side = 'vendor';
  RETURN (the_time AT TIME ZONE coalesce(zone, 'UTC'))::date;
EXCEPTION WHEN invalid_parameter_value THEN
  RETURN (the_time AT TIME ZONE 'UTC')::date;
END $$;

ALTER FUNCTION ph.vendor_day(the_studio uuid, the_order uuid, the_time timestamp with time zone) OWNER TO ph_owner;

CREATE FUNCTION ph.vendor_has_members(the_vendor uuid) RETURNS boolean
    LANGUAGE sql STABLE SECURITY DEFINER
    SET search_path TO 'pg_catalog'
    AS $$
  SELECT EXISTS (SELECT FROM ph.engagement e WHERE e.studio_id = ph.app_studio() AND e.vendor_id = the_vendor)
     AND EXISTS (SELECT FROM ph.member m WHERE m.party_id = the_vendor)
$$;

ALTER FUNCTION ph.vendor_has_members(the_vendor uuid) OWNER TO ph_owner;

CREATE FUNCTION ph.waiting_since(the_studio uuid, the_prop uuid, from_when timestamp with time zone) RETURNS bigint
    LANGUAGE plpgsql SECURITY DEFINER
    SET search_path TO 'pg_catalog'
    AS $$
BEGIN
  RETURN coalesce((SELECT greatest(0, extract(epoch FROM now() - greatest(p.blocked_since, from_when)))::bigint FROM ph.prop p
    WHERE p.studio_id = the_studio AND p.id = the_prop AND p.blocked_since IS NOT NULL), 0);
END $$;

ALTER FUNCTION ph.waiting_since(the_studio uuid, the_prop uuid, from_when timestamp with time zone) OWNER TO ph_owner;

CREATE FUNCTION ph.write_lines(the_studio uuid, the_props uuid[]) RETURNS void
    LANGUAGE plpgsql SECURITY DEFINER
    SET search_path TO 'pg_catalog'
    SET plan_cache_mode TO 'force_generic_plan'
    AS $$
BEGIN
  INSERT INTO ph.prop_line AS l (studio_id, vendor_id, work_order_id, project_id, prop_id, code, title, tier, order_code, vendor_name, price_minor,
    milestone_id, milestone, state, due_sort, since, rounds, blocked_since, blocked_secs, currency)
  SELECT p.studio_id, p.vendor_id, p.work_order_id, w.project_id, p.id, p.code, p.title, p.tier, w.code, e.vendor_name,
    p.price_minor + (SELECT coalesce(sum(c.change_minor), 0)::bigint FROM ph.milestone c WHERE c.studio_id = p.studio_id AND c.prop_id = p.id),
    m.id, m.kind, m.state, m.due_sort, m.since, m.rounds, p.blocked_since, p.blocked_secs, w.currency
  FROM ph.prop p
  JOIN ph.work_order w ON w.studio_id = p.studio_id AND w.id = p.work_order_id
  JOIN ph.engagement e ON e.studio_id = p.studio_id AND e.vendor_id = p.vendor_id
  CROSS JOIN LATERAL (SELECT n.id, n.kind, n.state, n.due_sort, n.since, n.rounds FROM ph.milestone n WHERE n.studio_id = p.studio_id AND n.prop_id = p.id
    ORDER BY n.state IN ('accepted', 'cancelled'), CASE WHEN n.state IN ('accepted', 'cancelled') THEN -n.position ELSE n.position END LIMIT 1) m
  WHERE p.studio_id = the_studio AND p.id = ANY (the_props)
  ON CONFLICT (studio_id, prop_id) DO UPDATE SET price_minor = excluded.price_minor, milestone_id = excluded.milestone_id, milestone = excluded.milestone,
    state = excluded.state, due_sort = excluded.due_sort, since = excluded.since, rounds = excluded.rounds,
    blocked_since = excluded.blocked_since, blocked_secs = excluded.blocked_secs;
END $$;

ALTER FUNCTION ph.write_lines(the_studio uuid, the_props uuid[]) OWNER TO ph_owner;

CREATE TABLE ph.access (
    party_id uuid NOT NULL,
    hour timestamp with time zone NOT NULL,
    member_id uuid NOT NULL,
    act text NOT NULL,
    subject uuid NOT NULL,
    address text DEFAULT ''::text NOT NULL,
    first_at timestamp with time zone DEFAULT now() NOT NULL,
    times integer DEFAULT 1 NOT NULL,
    CONSTRAINT access_address_length CHECK ((char_length(address) <= 60))
);

ALTER TABLE ONLY ph.access FORCE ROW LEVEL SECURITY;

ALTER TABLE ph.access OWNER TO ph_owner;

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

CREATE TABLE ph.attempt (
    key bytea NOT NULL,
    until timestamp with time zone NOT NULL
);

ALTER TABLE ONLY ph.attempt FORCE ROW LEVEL SECURITY;

ALTER TABLE ph.attempt OWNER TO ph_owner;

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

CREATE TABLE ph.capacity (
    studio_id uuid NOT NULL,
    vendor_id uuid NOT NULL,
    week_on date NOT NULL,
    slots integer NOT NULL,
    by_member uuid NOT NULL,
    by_name text,
    at timestamp with time zone DEFAULT now() NOT NULL,
    CONSTRAINT capacity_slots_range CHECK (((slots >= 0) AND (slots <= 1000))),
    CONSTRAINT capacity_week_begins CHECK ((EXTRACT(isodow FROM week_on) = (1)::numeric))
);

ALTER TABLE ONLY ph.capacity FORCE ROW LEVEL SECURITY;

ALTER TABLE ph.capacity OWNER TO ph_owner;

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

CREATE TABLE ph.check_count (
    studio_id uuid NOT NULL,
    vendor_id uuid,
    project_id uuid,
    tier text NOT NULL,
    month date NOT NULL,
    chk text NOT NULL,
    shard smallint NOT NULL,
    judged bigint NOT NULL,
    failed bigint NOT NULL,
    CONSTRAINT check_count_month_begins CHECK ((EXTRACT(day FROM month) = (1)::numeric)),
    CONSTRAINT check_count_shard_range CHECK (((shard >= 0) AND (shard <= 3)))
)
WITH (fillfactor='70');

ALTER TABLE ONLY ph.check_count FORCE ROW LEVEL SECURITY;

ALTER TABLE ph.check_count OWNER TO ph_owner;

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

CREATE TABLE ph.device (
    party_id uuid NOT NULL,
    member_id uuid NOT NULL,
    id uuid NOT NULL,
    secret_hash bytea NOT NULL,
    created_at timestamp with time zone DEFAULT now() NOT NULL,
    ended_at timestamp with time zone
);

ALTER TABLE ONLY ph.device FORCE ROW LEVEL SECURITY;

ALTER TABLE ph.device OWNER TO ph_owner;

CREATE TABLE ph.due_told (
    studio_id uuid NOT NULL,
    milestone_id uuid NOT NULL,
    due_on date NOT NULL,
    at timestamp with time zone DEFAULT now() NOT NULL
);

ALTER TABLE ONLY ph.due_told FORCE ROW LEVEL SECURITY;

ALTER TABLE ph.due_told OWNER TO ph_owner;

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

CREATE TABLE ph.feed (
    party_id uuid NOT NULL,
    last bigint NOT NULL
);

ALTER TABLE ONLY ph.feed FORCE ROW LEVEL SECURITY;

ALTER TABLE ph.feed OWNER TO ph_owner;

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

CREATE TABLE ph.hook (
    party_id uuid NOT NULL,
    id uuid NOT NULL,
    url text NOT NULL,
    kinds text[] NOT NULL,
    secret bytea NOT NULL,
    previous bytea,
    previous_until timestamp with time zone,
    made_by uuid NOT NULL,
    created_at timestamp with time zone DEFAULT now() NOT NULL,
    failing_since timestamp with time zone,
    disabled_at timestamp with time zone,
    disabled_why text,
    removed_at timestamp with time zone,
    CONSTRAINT hook_disabled_why_known CHECK ((((disabled_at IS NULL) = (disabled_why IS NULL)) AND (disabled_why = ANY (ARRAY['member'::text, 'failing'::text, 'gone'::text])))),
    CONSTRAINT hook_kinds_few CHECK ((cardinality(kinds) <= 100)),
    CONSTRAINT hook_previous_ends CHECK (((previous IS NULL) = (previous_until IS NULL))),
    CONSTRAINT hook_url_length CHECK (((char_length(url) >= 9) AND (char_length(url) <= 2000)))
);

ALTER TABLE ONLY ph.hook FORCE ROW LEVEL SECURITY;

ALTER TABLE ph.hook OWNER TO ph_owner;

CREATE TABLE ph.hook_attempt (
    party_id uuid NOT NULL,
    hook_id uuid NOT NULL,
    send_id uuid NOT NULL,
    number integer NOT NULL,
    at timestamp with time zone DEFAULT now() NOT NULL,
    status integer,
    problem text NOT NULL,
    excerpt text NOT NULL,
    took_ms integer NOT NULL,
    CONSTRAINT hook_attempt_excerpt_short CHECK (((char_length(excerpt) <= 1024) AND (char_length(problem) <= 1024)))
);

ALTER TABLE ONLY ph.hook_attempt FORCE ROW LEVEL SECURITY;

ALTER TABLE ph.hook_attempt OWNER TO ph_owner;

CREATE TABLE ph.hook_send (
    party_id uuid NOT NULL,
    hook_id uuid NOT NULL,
    id uuid NOT NULL,
    seq bigint,
    message_id uuid NOT NULL,
    kind text NOT NULL,
    subject_id uuid NOT NULL,
    state text DEFAULT 'due'::text NOT NULL,
    attempts integer DEFAULT 0 NOT NULL,
    tries integer DEFAULT 0 NOT NULL,
    next_at timestamp with time zone DEFAULT now() NOT NULL,
    claimed_until timestamp with time zone,
    created_at timestamp with time zone DEFAULT now() NOT NULL,
    done_at timestamp with time zone,
    CONSTRAINT hook_send_done_at CHECK (((state = 'due'::text) = (done_at IS NULL))),
    CONSTRAINT hook_send_state_known CHECK ((state = ANY (ARRAY['due'::text, 'sent'::text, 'given_up'::text])))
);

ALTER TABLE ONLY ph.hook_send FORCE ROW LEVEL SECURITY;

ALTER TABLE ph.hook_send OWNER TO ph_owner;

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

CREATE TABLE ph.identity (
    party_id uuid NOT NULL,
    member_id uuid NOT NULL,
    issuer text NOT NULL,
    subject text NOT NULL,
    created_at timestamp with time zone DEFAULT now() NOT NULL,
    last_used_at timestamp with time zone DEFAULT now() NOT NULL,
    CONSTRAINT identity_subject_length CHECK (((char_length(subject) >= 1) AND (char_length(subject) <= 255)))
);

ALTER TABLE ONLY ph.identity FORCE ROW LEVEL SECURITY;

ALTER TABLE ph.identity OWNER TO ph_owner;

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
    trace text,
    first_issue jsonb,
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
    told_size bigint DEFAULT 0 NOT NULL,
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

CREATE TABLE ph.mail (
    id uuid NOT NULL,
    party_id uuid NOT NULL,
    member_id uuid,
    address text NOT NULL,
    kind text NOT NULL,
    about jsonb NOT NULL,
    cause text NOT NULL,
    state text DEFAULT 'due'::text NOT NULL,
    tries integer DEFAULT 0 NOT NULL,
    next_at timestamp with time zone DEFAULT now() NOT NULL,
    claimed_until timestamp with time zone,
    created_at timestamp with time zone DEFAULT now() NOT NULL,
    done_at timestamp with time zone,
    problem text DEFAULT ''::text NOT NULL,
    CONSTRAINT mail_done_at CHECK (((state = 'due'::text) = (done_at IS NULL))),
    CONSTRAINT mail_state_known CHECK ((state = ANY (ARRAY['due'::text, 'sent'::text, 'refused'::text, 'given_up'::text, 'dropped'::text])))
);

ALTER TABLE ONLY ph.mail FORCE ROW LEVEL SECURITY;

ALTER TABLE ph.mail OWNER TO ph_owner;

CREATE TABLE ph.mail_choice (
    party_id uuid NOT NULL,
    member_id uuid NOT NULL,
    topic text NOT NULL,
    how text NOT NULL,
    CONSTRAINT mail_choice_how_known CHECK ((how = ANY (ARRAY['at_once'::text, 'digest'::text, 'never'::text]))),
    CONSTRAINT mail_choice_topic_known CHECK ((topic = ANY (ARRAY['decision'::text, 'silence'::text, 'question'::text, 'inspection'::text, 'terms'::text, 'due'::text])))
);

ALTER TABLE ONLY ph.mail_choice FORCE ROW LEVEL SECURITY;

ALTER TABLE ph.mail_choice OWNER TO ph_owner;

CREATE TABLE ph.mail_day (
    party_id uuid NOT NULL,
    member_id uuid NOT NULL,
    day date NOT NULL,
    up_to bigint NOT NULL,
    at timestamp with time zone DEFAULT now() NOT NULL
);

ALTER TABLE ONLY ph.mail_day FORCE ROW LEVEL SECURITY;

ALTER TABLE ph.mail_day OWNER TO ph_owner;

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
    password_hash text,
    roles text[] NOT NULL,
    created_at timestamp with time zone DEFAULT now() NOT NULL,
    disabled_at timestamp with time zone,
    language text,
    time_zone text,
    CONSTRAINT member_email_plain CHECK (((email = lower(email)) AND (email ~~ '%_@_%'::text) AND (char_length(email) <= 254))),
    CONSTRAINT member_language_is_a_tag CHECK ((language ~ '^[a-z]{2,3}(-[A-Za-z0-9]{2,8})*$'::text)),
    CONSTRAINT member_name_length CHECK ((char_length(name) <= 200)),
    CONSTRAINT member_password_hashed CHECK ((password_hash ~~ '$argon2id$%'::text)),
    CONSTRAINT member_time_zone_length CHECK (((char_length(time_zone) >= 1) AND (char_length(time_zone) <= 100)))
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
    waited_secs bigint DEFAULT 0 NOT NULL,
    CONSTRAINT milestone_amount_range CHECK ((amount_minor >= 0)),
    CONSTRAINT milestone_share_range CHECK (((share_bp >= 0) AND (share_bp <= 10000)))
);

ALTER TABLE ONLY ph.milestone FORCE ROW LEVEL SECURITY;

ALTER TABLE ph.milestone OWNER TO ph_owner;

CREATE TABLE ph.milestone_count (
    studio_id uuid NOT NULL,
    vendor_id uuid NOT NULL,
    project_id uuid NOT NULL,
    tier text NOT NULL,
    month date NOT NULL,
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
    CONSTRAINT milestone_count_month_begins CHECK ((EXTRACT(day FROM month) = (1)::numeric))
)
WITH (fillfactor='70');

ALTER TABLE ONLY ph.milestone_count FORCE ROW LEVEL SECURITY;

ALTER TABLE ph.milestone_count OWNER TO ph_owner;

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

CREATE TABLE ph.news (
    party_id uuid NOT NULL,
    seq bigint NOT NULL,
    id uuid NOT NULL,
    kind text NOT NULL,
    subject_id uuid NOT NULL,
    at timestamp with time zone NOT NULL,
    told_at timestamp with time zone DEFAULT now() NOT NULL,
    body text NOT NULL
);

ALTER TABLE ONLY ph.news FORCE ROW LEVEL SECURITY;

ALTER TABLE ph.news OWNER TO ph_owner;

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
    sketch jsonb,
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

CREATE TABLE ph.origin_declaration (
    studio_id uuid NOT NULL,
    vendor_id uuid NOT NULL,
    work_order_id uuid NOT NULL,
    prop_id uuid NOT NULL,
    id uuid NOT NULL,
    items jsonb NOT NULL,
    statement text NOT NULL,
    by_member uuid NOT NULL,
    by_name text,
    at timestamp with time zone DEFAULT now() NOT NULL,
    CONSTRAINT origin_declaration_items_list CHECK (((jsonb_typeof(items) = 'array'::text) AND (jsonb_array_length(items) <= 100))),
    CONSTRAINT origin_declaration_statement_length CHECK ((char_length(statement) <= 4000))
);

ALTER TABLE ONLY ph.origin_declaration FORCE ROW LEVEL SECURITY;

ALTER TABLE ph.origin_declaration OWNER TO ph_owner;

CREATE TABLE ph.orphan (
    object_key text NOT NULL,
    size bigint NOT NULL,
    marked_at timestamp with time zone DEFAULT now() NOT NULL,
    seen_at timestamp with time zone DEFAULT now() NOT NULL,
    swept_at timestamp with time zone
);

ALTER TABLE ONLY ph.orphan FORCE ROW LEVEL SECURITY;

ALTER TABLE ph.orphan OWNER TO ph_owner;

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

CREATE TABLE ph.password_reset (
    party_id uuid NOT NULL,
    member_id uuid NOT NULL,
    id uuid NOT NULL,
    secret_hash bytea NOT NULL,
    created_at timestamp with time zone DEFAULT now() NOT NULL,
    expires_at timestamp with time zone NOT NULL,
    used_at timestamp with time zone
);

ALTER TABLE ONLY ph.password_reset FORCE ROW LEVEL SECURITY;

ALTER TABLE ph.password_reset OWNER TO ph_owner;

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

CREATE TABLE ph.pending_sign_off (
    studio_id uuid NOT NULL,
    id uuid NOT NULL,
    milestone_id uuid NOT NULL,
    delivery_id uuid NOT NULL,
    inspection_id uuid NOT NULL,
    decision text NOT NULL,
    reason text NOT NULL,
    cause text NOT NULL,
    price_minor bigint,
    price_due date,
    sketch jsonb,
    by_member uuid NOT NULL,
    at timestamp with time zone DEFAULT now() NOT NULL,
    send_at timestamp with time zone,
    stopped_at timestamp with time zone,
    stopped_why text,
    CONSTRAINT pending_cause_known CHECK ((cause = ANY (ARRAY[''::text, 'nonconformity'::text, 'changed_mind'::text]))),
    CONSTRAINT pending_decision_known CHECK ((decision = ANY (ARRAY['accept'::text, 'accept_note'::text, 'accept_as_is'::text, 'return'::text]))),
    CONSTRAINT pending_reason_length CHECK ((char_length(reason) <= 4000)),
    CONSTRAINT pending_sketch_size CHECK ((octet_length((sketch)::text) <= 131072)),
    CONSTRAINT pending_stopped_known CHECK ((stopped_why = ANY (ARRAY['decided'::text, 'inspected'::text, 'delivered'::text, 'role'::text, 'state'::text, 'price'::text]))),
    CONSTRAINT pending_stopped_says_why CHECK (((stopped_at IS NULL) = (stopped_why IS NULL)))
);

ALTER TABLE ONLY ph.pending_sign_off FORCE ROW LEVEL SECURITY;

ALTER TABLE ph.pending_sign_off OWNER TO ph_owner;

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

CREATE TABLE ph.prop_line (
    studio_id uuid NOT NULL,
    vendor_id uuid NOT NULL,
    work_order_id uuid NOT NULL,
    project_id uuid NOT NULL,
    prop_id uuid NOT NULL,
    code text NOT NULL,
    title text NOT NULL,
    tier text NOT NULL,
    order_code text NOT NULL,
    vendor_name text NOT NULL,
    price_minor bigint NOT NULL,
    milestone_id uuid NOT NULL,
    milestone text NOT NULL,
    state text NOT NULL,
    due_sort date NOT NULL,
    since timestamp with time zone NOT NULL,
    rounds integer NOT NULL,
    blocked_since timestamp with time zone,
    blocked_secs bigint NOT NULL,
    currency text NOT NULL
);

ALTER TABLE ONLY ph.prop_line FORCE ROW LEVEL SECURITY;

ALTER TABLE ph.prop_line OWNER TO ph_owner;

CREATE TABLE ph.provider (
    party_id uuid NOT NULL,
    id uuid NOT NULL,
    issuer text NOT NULL,
    client_id text NOT NULL,
    client_secret text DEFAULT ''::text NOT NULL,
    required boolean DEFAULT false NOT NULL,
    created_at timestamp with time zone DEFAULT now() NOT NULL,
    changed_at timestamp with time zone DEFAULT now() NOT NULL,
    changed_by uuid NOT NULL,
    removed_at timestamp with time zone,
    CONSTRAINT provider_issuer_is_an_address CHECK (((issuer ~ '^https?://'::text) AND (char_length(issuer) <= 500))),
    CONSTRAINT provider_removed_is_not_required CHECK (((removed_at IS NULL) OR (NOT required)))
);

ALTER TABLE ONLY ph.provider FORCE ROW LEVEL SECURITY;

ALTER TABLE ph.provider OWNER TO ph_owner;

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

CREATE TABLE ph.quota (
    studio_id uuid NOT NULL,
    vendor_id uuid NOT NULL,
    id uuid NOT NULL,
    work_order_id uuid,
    bytes bigint,
    by_member uuid NOT NULL,
    by_name text,
    at timestamp with time zone DEFAULT now() NOT NULL,
    CONSTRAINT quota_bytes_range CHECK (((bytes >= 0) AND (bytes <= '1000000000000000'::bigint)))
);

ALTER TABLE ONLY ph.quota FORCE ROW LEVEL SECURITY;

ALTER TABLE ph.quota OWNER TO ph_owner;

CREATE TABLE ph.reassignment (
    studio_id uuid NOT NULL,
    id uuid NOT NULL,
    from_prop uuid NOT NULL,
    to_prop uuid NOT NULL,
    pack_id uuid,
    reason text NOT NULL,
    by_member uuid NOT NULL,
    by_name text,
    at timestamp with time zone DEFAULT now() NOT NULL,
    CONSTRAINT reassignment_reason_length CHECK (((char_length(reason) >= 1) AND (char_length(reason) <= 4000)))
);

ALTER TABLE ONLY ph.reassignment FORCE ROW LEVEL SECURITY;

ALTER TABLE ph.reassignment OWNER TO ph_owner;

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

CREATE TABLE ph.removal (
    studio_id uuid NOT NULL,
    vendor_id uuid NOT NULL,
    work_order_id uuid NOT NULL,
    delivery_id uuid NOT NULL,
    id uuid NOT NULL,
    retention_id uuid NOT NULL,
    files integer NOT NULL,
    bytes bigint NOT NULL,
    at timestamp with time zone DEFAULT now() NOT NULL,
    cleared_at timestamp with time zone
);

ALTER TABLE ONLY ph.removal FORCE ROW LEVEL SECURITY;

ALTER TABLE ph.removal OWNER TO ph_owner;

CREATE TABLE ph.removal_file (
    studio_id uuid NOT NULL,
    vendor_id uuid NOT NULL,
    work_order_id uuid NOT NULL,
    removal_id uuid NOT NULL,
    file_id uuid NOT NULL
);

ALTER TABLE ONLY ph.removal_file FORCE ROW LEVEL SECURITY;

ALTER TABLE ph.removal_file OWNER TO ph_owner;

CREATE TABLE ph.retention (
    studio_id uuid NOT NULL,
    vendor_id uuid NOT NULL,
    work_order_id uuid NOT NULL,
    id uuid NOT NULL,
    superseded_days integer,
    legal_hold boolean NOT NULL,
    reason text NOT NULL,
    by_member uuid NOT NULL,
    by_name text,
    at timestamp with time zone DEFAULT now() NOT NULL,
    CONSTRAINT retention_days_range CHECK (((superseded_days >= 0) AND (superseded_days <= 36500))),
    CONSTRAINT retention_reason_length CHECK ((char_length(reason) <= 1000))
);

ALTER TABLE ONLY ph.retention FORCE ROW LEVEL SECURITY;

ALTER TABLE ph.retention OWNER TO ph_owner;

CREATE TABLE ph.saved_note (
    studio_id uuid NOT NULL,
    id uuid NOT NULL,
    text text NOT NULL,
    by_member uuid NOT NULL,
    at timestamp with time zone DEFAULT now() NOT NULL,
    CONSTRAINT saved_note_length CHECK (((char_length(text) >= 1) AND (char_length(text) <= 1000)))
);

ALTER TABLE ONLY ph.saved_note FORCE ROW LEVEL SECURITY;

ALTER TABLE ph.saved_note OWNER TO ph_owner;

CREATE TABLE ph.saved_view (
    party_id uuid NOT NULL,
    member_id uuid NOT NULL,
    id uuid NOT NULL,
    name text NOT NULL,
    query text NOT NULL,
    put_away boolean DEFAULT false NOT NULL,
    at timestamp with time zone DEFAULT now() NOT NULL,
    CONSTRAINT saved_view_name_length CHECK (((char_length(name) >= 1) AND (char_length(name) <= 60))),
    CONSTRAINT saved_view_query_length CHECK ((char_length(query) <= 2000))
);

ALTER TABLE ONLY ph.saved_view FORCE ROW LEVEL SECURITY;

ALTER TABLE ph.saved_view OWNER TO ph_owner;

CREATE TABLE ph.session (
    party_id uuid NOT NULL,
    member_id uuid NOT NULL,
    id uuid NOT NULL,
    secret_hash bytea NOT NULL,
    created_at timestamp with time zone DEFAULT now() NOT NULL,
    expires_at timestamp with time zone NOT NULL,
    last_seen_at timestamp with time zone,
    ended_at timestamp with time zone,
    via text DEFAULT 'password'::text NOT NULL,
    agent text DEFAULT ''::text NOT NULL,
    address text DEFAULT ''::text NOT NULL,
    proved_at timestamp with time zone
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

CREATE TABLE ph.sign_in (
    party_id uuid NOT NULL,
    state_hash bytea NOT NULL,
    browser_hash bytea NOT NULL,
    provider_id uuid NOT NULL,
    nonce text NOT NULL,
    verifier text NOT NULL,
    next text NOT NULL,
    invitation_hash bytea,
    created_at timestamp with time zone DEFAULT now() NOT NULL
);

ALTER TABLE ONLY ph.sign_in FORCE ROW LEVEL SECURITY;

ALTER TABLE ph.sign_in OWNER TO ph_owner;

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

CREATE TABLE ph.stored (
    studio_id uuid NOT NULL,
    vendor_id uuid NOT NULL,
    work_order_id uuid NOT NULL,
    prop_id uuid NOT NULL,
    delivered_bytes bigint DEFAULT 0 NOT NULL,
    removed_bytes bigint DEFAULT 0 NOT NULL,
    evidence_bytes bigint DEFAULT 0 NOT NULL
);

ALTER TABLE ONLY ph.stored FORCE ROW LEVEL SECURITY;

ALTER TABLE ph.stored OWNER TO ph_owner;

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

CREATE TABLE ph.turn (
    vendor_id uuid NOT NULL,
    served_at timestamp with time zone NOT NULL
);

ALTER TABLE ONLY ph.turn FORCE ROW LEVEL SECURITY;

ALTER TABLE ph.turn OWNER TO ph_owner;

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
    origin_required boolean DEFAULT false NOT NULL,
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

ALTER TABLE ph.access
    ADD CONSTRAINT access_act_known CHECK ((act = ANY (ARRAY['logged_in'::text, 'log_in_failed'::text, 'log_in_held'::text, 'joined'::text, 'logged_out'::text, 'proved'::text, 'token_made'::text, 'token_used'::text, 'token_revoked'::text, 'sessions_ended'::text, 'password_changed'::text, 'provider_changed'::text, 'read_order'::text, 'read_prop'::text, 'read_delivery'::text, 'read_inspection'::text, 'read_file'::text, 'exported'::text, 'read_handover'::text, 'read_access'::text]))) NOT VALID;

ALTER TABLE ONLY ph.access
    ADD CONSTRAINT access_pkey PRIMARY KEY (party_id, hour, member_id, act, subject);

ALTER TABLE ONLY ph.anchor
    ADD CONSTRAINT anchor_pkey PRIMARY KEY (studio_id, log_id, size);

ALTER TABLE ONLY ph.attempt
    ADD CONSTRAINT attempt_pkey PRIMARY KEY (key);

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

ALTER TABLE ONLY ph.capacity
    ADD CONSTRAINT capacity_pkey PRIMARY KEY (studio_id, vendor_id, week_on);

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

ALTER TABLE ONLY ph.device
    ADD CONSTRAINT device_pkey PRIMARY KEY (party_id, id);

ALTER TABLE ONLY ph.due_told
    ADD CONSTRAINT due_told_pkey PRIMARY KEY (studio_id, milestone_id, due_on);

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

ALTER TABLE ONLY ph.feed
    ADD CONSTRAINT feed_pkey PRIMARY KEY (party_id);

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

ALTER TABLE ONLY ph.hook_attempt
    ADD CONSTRAINT hook_attempt_pkey PRIMARY KEY (party_id, send_id, number);

ALTER TABLE ONLY ph.hook
    ADD CONSTRAINT hook_pkey PRIMARY KEY (party_id, id);

ALTER TABLE ONLY ph.hook_send
    ADD CONSTRAINT hook_send_once UNIQUE (party_id, hook_id, seq);

ALTER TABLE ONLY ph.hook_send
    ADD CONSTRAINT hook_send_pkey PRIMARY KEY (party_id, id);

ALTER TABLE ONLY ph.house_hash
    ADD CONSTRAINT house_hash_pkey PRIMARY KEY (idx);

ALTER TABLE ONLY ph.house_leaf
    ADD CONSTRAINT house_leaf_pkey PRIMARY KEY (idx);

ALTER TABLE ONLY ph.idempotency
    ADD CONSTRAINT idempotency_pkey PRIMARY KEY (party_id, member_id, method, route, key);

ALTER TABLE ONLY ph.identity
    ADD CONSTRAINT identity_pkey PRIMARY KEY (party_id, issuer, subject);

ALTER TABLE ph.inspection
    ADD CONSTRAINT inspection_first_issue_form CHECK (((jsonb_typeof(first_issue) = 'array'::text) AND (pg_column_size(first_issue) <= 16384))) NOT VALID;

ALTER TABLE ONLY ph.inspection
    ADD CONSTRAINT inspection_parties UNIQUE (studio_id, vendor_id, id);

ALTER TABLE ONLY ph.inspection
    ADD CONSTRAINT inspection_pkey PRIMARY KEY (studio_id, id);

ALTER TABLE ph.inspection
    ADD CONSTRAINT inspection_trace_form CHECK ((trace ~ '^[0-9a-f]{32}$'::text)) NOT VALID;

ALTER TABLE ONLY ph.invitation
    ADD CONSTRAINT invitation_pkey PRIMARY KEY (party_id, id);

ALTER TABLE ph.invitation
    ADD CONSTRAINT invitation_roles_fit_side CHECK (((cardinality(roles) > 0) AND (((side = 'studio'::text) AND (roles <@ ARRAY['producer'::text, 'art_director'::text, 'art_lead'::text, 'technical_artist'::text])) OR ((side = 'vendor'::text) AND (roles <@ ARRAY['vendor_lead'::text, 'vendor_artist'::text]))))) NOT VALID;

ALTER TABLE ONLY ph.log_hash
    ADD CONSTRAINT log_hash_pkey PRIMARY KEY (studio_id, log_id, idx);

ALTER TABLE ONLY ph.log
    ADD CONSTRAINT log_pkey PRIMARY KEY (studio_id, id);

ALTER TABLE ph.log
    ADD CONSTRAINT log_told_range CHECK (((told_size >= 0) AND (told_size <= size))) NOT VALID;

ALTER TABLE ONLY ph.mail_choice
    ADD CONSTRAINT mail_choice_pkey PRIMARY KEY (party_id, member_id, topic);

ALTER TABLE ONLY ph.mail_day
    ADD CONSTRAINT mail_day_pkey PRIMARY KEY (party_id, member_id, day);

ALTER TABLE ph.mail
    ADD CONSTRAINT mail_kind_known CHECK ((kind = ANY (ARRAY['invitation'::text, 'reset'::text, 'locked'::text, 'news'::text, 'digest'::text, 'hook_disabled'::text, 'door'::text]))) NOT VALID;

ALTER TABLE ONLY ph.mail
    ADD CONSTRAINT mail_once UNIQUE (cause);

ALTER TABLE ONLY ph.mail
    ADD CONSTRAINT mail_pkey PRIMARY KEY (id);

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

ALTER TABLE ONLY ph.milestone_count
    ADD CONSTRAINT milestone_count_pkey PRIMARY KEY (studio_id, month, vendor_id, project_id, tier);

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

ALTER TABLE ph.milestone
    ADD CONSTRAINT milestone_waited_positive CHECK ((waited_secs >= 0)) NOT VALID;

ALTER TABLE ONLY ph.move
    ADD CONSTRAINT move_pkey PRIMARY KEY (machine, from_state, event);

ALTER TABLE ONLY ph.nda_ack
    ADD CONSTRAINT nda_ack_once UNIQUE (studio_id, work_order_id, by_member);

ALTER TABLE ONLY ph.nda_ack
    ADD CONSTRAINT nda_ack_pkey PRIMARY KEY (studio_id, id);

ALTER TABLE ONLY ph.news
    ADD CONSTRAINT news_pkey PRIMARY KEY (party_id, seq);

ALTER TABLE ONLY ph.notary_key
    ADD CONSTRAINT notary_key_pkey PRIMARY KEY (number);

ALTER TABLE ONLY ph.notary_key
    ADD CONSTRAINT notary_key_verifier_key UNIQUE (verifier);

ALTER TABLE ONLY ph.note
    ADD CONSTRAINT note_pkey PRIMARY KEY (studio_id, id);

ALTER TABLE ONLY ph.note_resolution
    ADD CONSTRAINT note_resolution_pkey PRIMARY KEY (studio_id, id);

ALTER TABLE ph.note
    ADD CONSTRAINT note_sketch_size CHECK ((octet_length((sketch)::text) <= 131072)) NOT VALID;

ALTER TABLE ONLY ph.order_calendar
    ADD CONSTRAINT order_calendar_once UNIQUE (studio_id, work_order_id, side);

ALTER TABLE ONLY ph.order_calendar
    ADD CONSTRAINT order_calendar_pkey PRIMARY KEY (studio_id, id);

ALTER TABLE ONLY ph.origin_declaration
    ADD CONSTRAINT origin_declaration_pkey PRIMARY KEY (studio_id, id);

ALTER TABLE ONLY ph.orphan
    ADD CONSTRAINT orphan_pkey PRIMARY KEY (object_key);

ALTER TABLE ONLY ph.party
    ADD CONSTRAINT party_pkey PRIMARY KEY (id);

ALTER TABLE ONLY ph.password_reset
    ADD CONSTRAINT password_reset_pkey PRIMARY KEY (party_id, id);

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

ALTER TABLE ONLY ph.pending_sign_off
    ADD CONSTRAINT pending_sign_off_pkey PRIMARY KEY (studio_id, id);

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

ALTER TABLE ONLY ph.prop_line
    ADD CONSTRAINT prop_line_pkey PRIMARY KEY (studio_id, prop_id);

ALTER TABLE ONLY ph.prop
    ADD CONSTRAINT prop_parties UNIQUE (studio_id, vendor_id, work_order_id, id);

ALTER TABLE ph.prop
    ADD CONSTRAINT prop_pilot_has_kit CHECK (((NOT pilot) OR (kit IS NOT NULL))) NOT VALID;

ALTER TABLE ONLY ph.prop
    ADD CONSTRAINT prop_pkey PRIMARY KEY (studio_id, id);

ALTER TABLE ph.provider
    ADD CONSTRAINT provider_client_length CHECK ((((char_length(client_id) >= 1) AND (char_length(client_id) <= 500)) AND (char_length(client_secret) <= 6000))) NOT VALID;

ALTER TABLE ONLY ph.provider
    ADD CONSTRAINT provider_pkey PRIMARY KEY (party_id);

ALTER TABLE ONLY ph.question_message
    ADD CONSTRAINT question_message_pkey PRIMARY KEY (studio_id, id);

ALTER TABLE ONLY ph.question
    ADD CONSTRAINT question_number_key UNIQUE (studio_id, prop_id, number);

ALTER TABLE ONLY ph.question
    ADD CONSTRAINT question_parties UNIQUE (studio_id, vendor_id, work_order_id, id);

ALTER TABLE ONLY ph.question
    ADD CONSTRAINT question_pkey PRIMARY KEY (studio_id, id);

ALTER TABLE ONLY ph.quota
    ADD CONSTRAINT quota_pkey PRIMARY KEY (studio_id, id);

ALTER TABLE ONLY ph.reassignment
    ADD CONSTRAINT reassignment_once UNIQUE (studio_id, from_prop);

ALTER TABLE ONLY ph.reassignment
    ADD CONSTRAINT reassignment_pkey PRIMARY KEY (studio_id, id);

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

ALTER TABLE ONLY ph.removal_file
    ADD CONSTRAINT removal_file_pkey PRIMARY KEY (studio_id, file_id);

ALTER TABLE ONLY ph.removal
    ADD CONSTRAINT removal_once UNIQUE (studio_id, delivery_id);

ALTER TABLE ONLY ph.removal
    ADD CONSTRAINT removal_parties UNIQUE (studio_id, vendor_id, work_order_id, id);

ALTER TABLE ONLY ph.removal
    ADD CONSTRAINT removal_pkey PRIMARY KEY (studio_id, id);

ALTER TABLE ONLY ph.retention
    ADD CONSTRAINT retention_of_order UNIQUE (studio_id, vendor_id, work_order_id, id);

ALTER TABLE ONLY ph.retention
    ADD CONSTRAINT retention_pkey PRIMARY KEY (studio_id, id);

ALTER TABLE ONLY ph.saved_note
    ADD CONSTRAINT saved_note_once UNIQUE (studio_id, text);

ALTER TABLE ONLY ph.saved_note
    ADD CONSTRAINT saved_note_pkey PRIMARY KEY (studio_id, id);

ALTER TABLE ONLY ph.saved_view
    ADD CONSTRAINT saved_view_name_key UNIQUE (party_id, member_id, name);

ALTER TABLE ONLY ph.saved_view
    ADD CONSTRAINT saved_view_pkey PRIMARY KEY (party_id, member_id, id);

ALTER TABLE ONLY ph.session
    ADD CONSTRAINT session_pkey PRIMARY KEY (party_id, id);

ALTER TABLE ph.session
    ADD CONSTRAINT session_place_length CHECK (((char_length(agent) <= 200) AND (char_length(address) <= 60))) NOT VALID;

ALTER TABLE ph.session
    ADD CONSTRAINT session_via_known CHECK ((via = ANY (ARRAY['password'::text, 'provider'::text, 'invitation'::text]))) NOT VALID;

ALTER TABLE ONLY ph.set_use
    ADD CONSTRAINT set_use_pkey PRIMARY KEY (studio_id, id);

ALTER TABLE ONLY ph.sign_in
    ADD CONSTRAINT sign_in_pkey PRIMARY KEY (party_id, state_hash);

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

ALTER TABLE ONLY ph.stored
    ADD CONSTRAINT stored_pkey PRIMARY KEY (studio_id, work_order_id, prop_id);

ALTER TABLE ONLY ph.token
    ADD CONSTRAINT token_pkey PRIMARY KEY (party_id, id);

ALTER TABLE ONLY ph.turn
    ADD CONSTRAINT turn_pkey PRIMARY KEY (vendor_id);

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

CREATE INDEX access_by_age ON ph.access USING btree (hour);

CREATE INDEX batch_by_vendor ON ph.batch USING btree (vendor_id, id);

CREATE INDEX cancellation_of_prop ON ph.cancellation USING btree (studio_id, prop_id, id);

CREATE INDEX change_order_by_vendor ON ph.change_order USING btree (vendor_id, id);

CREATE INDEX change_order_of_milestone ON ph.change_order USING btree (studio_id, milestone_id);

CREATE INDEX change_order_of_order ON ph.change_order USING btree (studio_id, work_order_id, id);

CREATE INDEX change_order_of_prop ON ph.change_order USING btree (studio_id, prop_id, id);

CREATE UNIQUE INDEX change_order_of_spec_key ON ph.change_order USING btree (studio_id, spec_revision_id) WHERE (state = ANY (ARRAY['for_vendor'::text, 'for_studio'::text, 'agreed'::text]));

CREATE INDEX change_order_open_of_studio ON ph.change_order USING btree (studio_id, since, id) WHERE (state = ANY (ARRAY['for_vendor'::text, 'for_studio'::text]));

CREATE INDEX change_order_open_of_vendor ON ph.change_order USING btree (vendor_id, since, id) WHERE (state = ANY (ARRAY['for_vendor'::text, 'for_studio'::text]));

CREATE INDEX check_count_by_vendor ON ph.check_count USING btree (vendor_id, project_id, tier, month);

CREATE UNIQUE INDEX check_count_key ON ph.check_count USING btree (studio_id, vendor_id, project_id, month, tier, chk, shard) NULLS NOT DISTINCT;

CREATE INDEX concession_of_delivery ON ph.concession USING btree (studio_id, delivery_id, id);

CREATE INDEX delivery_by_order ON ph.delivery USING btree (studio_id, work_order_id, id);

CREATE INDEX delivery_by_prop ON ph.delivery USING btree (studio_id, prop_id, id);

CREATE INDEX delivery_by_vendor ON ph.delivery USING btree (vendor_id, id);

CREATE INDEX delivery_of_batch ON ph.delivery USING btree (studio_id, batch_id, id) WHERE (batch_id IS NOT NULL);

CREATE INDEX delivery_to_sweep ON ph.delivery USING btree (opened_at, id) WHERE ((state = ANY (ARRAY['open'::text, 'abandoned'::text])) AND (swept_at IS NULL));

CREATE UNIQUE INDEX delivery_under_way_key ON ph.delivery USING btree (studio_id, milestone_id) WHERE (state = ANY (ARRAY['open'::text, 'sealing'::text]));

CREATE INDEX deputy_of_member ON ph.deputy USING btree (studio_id, member_id, until_on);

CREATE UNIQUE INDEX device_secret_key ON ph.device USING btree (secret_hash, party_id, member_id);

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

CREATE INDEX hold_of_prop ON ph.hold USING btree (studio_id, prop_id, id);

CREATE INDEX hook_send_due ON ph.hook_send USING btree (party_id, hook_id, next_at, id) WHERE (state = 'due'::text);

CREATE INDEX hook_send_line ON ph.hook_send USING btree (party_id, hook_id, subject_id, seq) WHERE (state = 'due'::text);

CREATE INDEX hook_send_of_hook ON ph.hook_send USING btree (party_id, hook_id, message_id);

CREATE INDEX idempotency_age ON ph.idempotency USING btree (created_at);

CREATE UNIQUE INDEX identity_member_key ON ph.identity USING btree (party_id, member_id, issuer);

CREATE INDEX inspection_by_id ON ph.inspection USING btree (id);

CREATE INDEX inspection_by_vendor ON ph.inspection USING btree (vendor_id, id);

CREATE UNIQUE INDEX inspection_current_key ON ph.inspection USING btree (studio_id, delivery_id) WHERE current;

CREATE INDEX inspection_leases ON ph.inspection USING btree (lease_until) WHERE (state = 'running'::text);

CREATE INDEX inspection_of_delivery ON ph.inspection USING btree (studio_id, delivery_id, id);

CREATE INDEX inspection_of_prop ON ph.inspection USING btree (studio_id, prop_id, id);

CREATE INDEX inspection_running ON ph.inspection USING btree (vendor_id) WHERE (state = 'running'::text);

CREATE UNIQUE INDEX inspection_under_way_key ON ph.inspection USING btree (studio_id, delivery_id) WHERE (state <> 'done'::text);

CREATE INDEX inspection_waiting ON ph.inspection USING btree (vendor_id, queued_at, id) WHERE (state = 'queued'::text);

CREATE UNIQUE INDEX invitation_secret_key ON ph.invitation USING btree (secret_hash);

CREATE INDEX log_by_vendor ON ph.log USING btree (vendor_id, id);

CREATE INDEX log_to_anchor ON ph.log USING btree (id) WHERE (anchored_size < size);

CREATE INDEX log_to_tell ON ph.log USING btree (id) WHERE (told_size < size);

CREATE INDEX mail_age ON ph.mail USING btree (created_at);

CREATE INDEX mail_due ON ph.mail USING btree (next_at, id) WHERE (state = 'due'::text);

CREATE INDEX maintenance_of_prop ON ph.maintenance USING btree (studio_id, prop_id, id);

CREATE UNIQUE INDEX member_email_key ON ph.member USING btree (email);

CREATE INDEX milestone_all_of_studio ON ph.milestone USING btree (studio_id, due_sort, id);

CREATE INDEX milestone_all_of_vendor ON ph.milestone USING btree (vendor_id, due_sort, id);

CREATE INDEX milestone_by_vendor ON ph.milestone USING btree (vendor_id, id);

CREATE INDEX milestone_count_by_vendor ON ph.milestone_count USING btree (vendor_id, month);

CREATE INDEX milestone_desk_of_studio ON ph.milestone USING btree (studio_id, state, due_sort, id) WHERE (state <> ALL (ARRAY['accepted'::text, 'cancelled'::text]));

CREATE INDEX milestone_desk_of_vendor ON ph.milestone USING btree (vendor_id, state, due_sort, id) WHERE (state <> ALL (ARRAY['accepted'::text, 'cancelled'::text]));

CREATE INDEX milestone_due ON ph.milestone USING btree (due_sort, id) WHERE (state = ANY (ARRAY['open'::text, 'failed'::text, 'returned'::text]));

CREATE INDEX milestone_in_review ON ph.milestone USING btree (studio_id, review_due_at, due_sort, id) WHERE (state = ANY (ARRAY['review'::text, 'held'::text]));

CREATE UNIQUE INDEX milestone_kind_key ON ph.milestone USING btree (studio_id, prop_id, kind) WHERE (kind <> 'maintenance'::text);

CREATE INDEX milestone_of_order ON ph.milestone USING btree (studio_id, work_order_id, due_sort, id) INCLUDE (vendor_id, state, change_minor);

CREATE INDEX milestone_review_due ON ph.milestone USING btree (review_due_at, id) WHERE (state = 'review'::text);

CREATE INDEX milestone_review_of_studio ON ph.milestone USING btree (studio_id, review_due_at, id) WHERE (state = 'review'::text);

CREATE INDEX milestone_work_of_studio ON ph.milestone USING btree (studio_id, due_sort, id) WHERE (state <> ALL (ARRAY['accepted'::text, 'cancelled'::text]));

CREATE INDEX milestone_work_of_vendor ON ph.milestone USING btree (vendor_id, due_sort, id) WHERE (state <> ALL (ARRAY['accepted'::text, 'cancelled'::text]));

CREATE INDEX news_age ON ph.news USING btree (told_at);

CREATE INDEX news_by_time ON ph.news USING btree (party_id, at, seq);

CREATE INDEX note_of_delivery ON ph.note USING btree (studio_id, delivery_id, id);

CREATE INDEX note_resolution_of ON ph.note_resolution USING btree (studio_id, note_id, id);

CREATE INDEX note_resolution_of_order ON ph.note_resolution USING btree (studio_id, work_order_id, id);

CREATE INDEX order_calendar_by_vendor ON ph.order_calendar USING btree (vendor_id, work_order_id);

CREATE INDEX origin_declaration_of_prop ON ph.origin_declaration USING btree (studio_id, prop_id, id);

CREATE INDEX orphan_to_sweep ON ph.orphan USING btree (marked_at) WHERE (swept_at IS NULL);

CREATE INDEX password_reset_of_member ON ph.password_reset USING btree (party_id, member_id, created_at);

CREATE UNIQUE INDEX password_reset_secret_key ON ph.password_reset USING btree (secret_hash);

CREATE INDEX payable_by_order ON ph.payable USING btree (studio_id, work_order_id, id) INCLUDE (vendor_id, amount_minor);

CREATE INDEX payable_by_time ON ph.payable USING btree (studio_id, at, id);

CREATE INDEX payable_by_time_of_vendor ON ph.payable USING btree (vendor_id, at, id);

CREATE INDEX payable_by_vendor ON ph.payable USING btree (vendor_id, id);

CREATE INDEX payable_of_prop ON ph.payable USING btree (studio_id, prop_id, id);

CREATE INDEX payment_hold_of_prop ON ph.payment_hold USING btree (studio_id, prop_id, id);

CREATE INDEX pending_sign_off_due ON ph.pending_sign_off USING btree (send_at) WHERE (stopped_at IS NULL);

CREATE INDEX pending_sign_off_of_member ON ph.pending_sign_off USING btree (studio_id, by_member, id);

CREATE UNIQUE INDEX pending_sign_off_once ON ph.pending_sign_off USING btree (studio_id, milestone_id) WHERE (stopped_at IS NULL);

CREATE INDEX permission_by_vendor ON ph.permission USING btree (vendor_id, id);

CREATE INDEX permission_decision_of ON ph.permission_decision USING btree (studio_id, permission_id, id);

CREATE INDEX permission_decision_of_order ON ph.permission_decision USING btree (studio_id, work_order_id, id);

CREATE INDEX permission_granted ON ph.permission USING btree (studio_id, work_order_id, chk) WHERE (state = 'granted'::text);

CREATE INDEX permission_of_order ON ph.permission USING btree (studio_id, work_order_id, id);

CREATE INDEX permission_of_prop ON ph.permission USING btree (studio_id, prop_id, id) WHERE (prop_id IS NOT NULL);

CREATE INDEX permission_requested_of_studio ON ph.permission USING btree (studio_id, since, id) WHERE (state = 'requested'::text);

CREATE INDEX prop_by_order ON ph.prop USING btree (studio_id, work_order_id, id) INCLUDE (vendor_id, price_minor);

CREATE INDEX prop_by_vendor ON ph.prop USING btree (vendor_id, id);

CREATE INDEX prop_line_code_of_studio ON ph.prop_line USING btree (studio_id, code, prop_id);

CREATE INDEX prop_line_due_of_studio ON ph.prop_line USING btree (studio_id, due_sort, prop_id);

CREATE INDEX prop_line_due_of_vendor ON ph.prop_line USING btree (vendor_id, due_sort, prop_id);

CREATE INDEX prop_line_of_order ON ph.prop_line USING btree (studio_id, work_order_id, due_sort, prop_id);

CREATE INDEX prop_line_open_of_studio ON ph.prop_line USING btree (studio_id, due_sort, prop_id) WHERE (state <> ALL (ARRAY['accepted'::text, 'cancelled'::text]));

CREATE INDEX prop_line_open_of_vendor ON ph.prop_line USING btree (vendor_id, due_sort, prop_id) WHERE (state <> ALL (ARRAY['accepted'::text, 'cancelled'::text]));

CREATE INDEX prop_line_order_of_studio ON ph.prop_line USING btree (studio_id, order_code, due_sort, prop_id);

CREATE INDEX prop_line_order_of_vendor ON ph.prop_line USING btree (vendor_id, order_code, due_sort, prop_id);

CREATE INDEX prop_line_project ON ph.prop_line USING btree (studio_id, project_id, due_sort, prop_id);

CREATE INDEX prop_line_state_of_studio ON ph.prop_line USING btree (studio_id, state, due_sort, prop_id);

CREATE INDEX prop_line_state_of_vendor ON ph.prop_line USING btree (vendor_id, state, due_sort, prop_id);

CREATE INDEX prop_line_tier_of_studio ON ph.prop_line USING btree (studio_id, tier, due_sort, prop_id) INCLUDE (vendor_id);

CREATE UNIQUE INDEX prop_pilot_key ON ph.prop USING btree (studio_id, work_order_id, kit) WHERE pilot;

CREATE INDEX prop_without_spec ON ph.prop USING btree (studio_id, id) WHERE (spec_in_force IS NULL);

CREATE UNIQUE INDEX provider_id_key ON ph.provider USING btree (id);

CREATE INDEX question_answered_of_vendor ON ph.question USING btree (vendor_id, since, id) WHERE (state = 'answered'::text);

CREATE INDEX question_asked_of_studio ON ph.question USING btree (studio_id, since, id) WHERE (state = 'asked'::text);

CREATE INDEX question_by_vendor ON ph.question USING btree (vendor_id, id);

CREATE INDEX question_message_of ON ph.question_message USING btree (studio_id, question_id, id);

CREATE INDEX question_message_of_order ON ph.question_message USING btree (studio_id, work_order_id, id);

CREATE INDEX question_message_of_vendor ON ph.question_message USING btree (vendor_id, question_id, id);

CREATE INDEX question_of_order ON ph.question USING btree (studio_id, work_order_id, id);

CREATE UNIQUE INDEX quota_key ON ph.quota USING btree (studio_id, vendor_id, work_order_id) NULLS NOT DISTINCT;

CREATE INDEX quota_of_vendor ON ph.quota USING btree (vendor_id);

CREATE INDEX reassignment_to ON ph.reassignment USING btree (studio_id, to_prop);

CREATE INDEX reminder_due ON ph.reminder USING btree (effective_at, id);

CREATE INDEX reminder_of_milestone ON ph.reminder USING btree (studio_id, milestone_id, id);

CREATE INDEX reminder_of_prop ON ph.reminder USING btree (studio_id, prop_id, id);

CREATE INDEX removal_file_of ON ph.removal_file USING btree (studio_id, removal_id);

CREATE INDEX removal_of_order ON ph.removal USING btree (studio_id, work_order_id, id);

CREATE INDEX removal_to_clear ON ph.removal USING btree (id) WHERE (cleared_at IS NULL);

CREATE INDEX retention_newest ON ph.retention USING btree (studio_id, work_order_id, id DESC);

CREATE INDEX session_of_member ON ph.session USING btree (party_id, member_id, id DESC) WHERE (ended_at IS NULL);

CREATE UNIQUE INDEX session_secret_key ON ph.session USING btree (secret_hash);

CREATE INDEX set_use_of_prop ON ph.set_use USING btree (studio_id, prop_id, set_id, id);

CREATE INDEX set_use_of_set ON ph.set_use USING btree (studio_id, set_id, prop_id, id);

CREATE INDEX sign_in_by_age ON ph.sign_in USING btree (created_at);

CREATE INDEX sign_off_by_vendor ON ph.sign_off USING btree (vendor_id, id);

CREATE INDEX sign_off_of_prop ON ph.sign_off USING btree (studio_id, prop_id, id);

CREATE INDEX spec_ack_of_prop ON ph.spec_ack USING btree (studio_id, prop_id, id);

CREATE INDEX spec_revision_by_vendor ON ph.spec_revision USING btree (vendor_id, id);

CREATE INDEX stored_of_vendor ON ph.stored USING btree (vendor_id, work_order_id);

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

CREATE TRIGGER count_evidence AFTER INSERT ON ph.evidence REFERENCING NEW TABLE AS added FOR EACH STATEMENT EXECUTE FUNCTION ph.count_evidence();

CREATE TRIGGER count_removed AFTER INSERT ON ph.removal FOR EACH ROW EXECUTE FUNCTION ph.count_removed();

CREATE TRIGGER count_sealed AFTER UPDATE OF state ON ph.delivery FOR EACH ROW WHEN (((old.state <> 'sealed'::text) AND (new.state = 'sealed'::text))) EXECUTE FUNCTION ph.count_sealed();

CREATE TRIGGER delivery_guard BEFORE INSERT OR UPDATE OF state ON ph.delivery FOR EACH ROW EXECUTE FUNCTION ph.delivery_guard();

CREATE TRIGGER file_guard BEFORE DELETE OR UPDATE ON ph.file FOR EACH ROW EXECUTE FUNCTION ph.file_guard();

CREATE TRIGGER forget_access AFTER UPDATE OF email ON ph.member FOR EACH ROW WHEN ((new.email ~~ 'erased-%@erased.invalid'::text)) EXECUTE FUNCTION ph.forget_access();

CREATE TRIGGER forget_doors AFTER UPDATE OF disabled_at, email ON ph.member FOR EACH ROW WHEN (((old.disabled_at IS DISTINCT FROM new.disabled_at) OR (old.email <> new.email))) EXECUTE FUNCTION ph.forget_doors();

CREATE TRIGGER forget_mail AFTER UPDATE OF email ON ph.member FOR EACH ROW WHEN ((new.email <> old.email)) EXECUTE FUNCTION ph.forget_mail();

CREATE TRIGGER inspection_guard BEFORE INSERT OR UPDATE ON ph.inspection FOR EACH ROW EXECUTE FUNCTION ph.inspection_guard();

CREATE TRIGGER log_guard BEFORE UPDATE ON ph.log FOR EACH ROW EXECUTE FUNCTION ph.log_guard();

CREATE TRIGGER milestone_counted AFTER UPDATE OF state ON ph.milestone FOR EACH ROW EXECUTE FUNCTION ph.milestone_counted();

CREATE TRIGGER milestone_guard BEFORE INSERT OR UPDATE OF state, last_event ON ph.milestone FOR EACH ROW EXECUTE FUNCTION ph.milestone_guard();

CREATE TRIGGER milestone_moved AFTER UPDATE ON ph.milestone FOR EACH ROW WHEN (((((old.state IS DISTINCT FROM new.state) OR (old.change_minor IS DISTINCT FROM new.change_minor)) OR (old.due_sort IS DISTINCT FROM new.due_sort)) OR (old.rounds IS DISTINCT FROM new.rounds))) EXECUTE FUNCTION ph.milestone_moved();

CREATE CONSTRAINT TRIGGER milestone_sums AFTER INSERT ON ph.milestone DEFERRABLE INITIALLY DEFERRED FOR EACH ROW EXECUTE FUNCTION ph.milestone_sums();

CREATE TRIGGER milestones_made AFTER INSERT ON ph.milestone REFERENCING NEW TABLE AS new_rows FOR EACH STATEMENT EXECUTE FUNCTION ph.milestones_made();

CREATE TRIGGER permission_guard BEFORE INSERT OR UPDATE OF state, last_event, since ON ph.permission FOR EACH ROW EXECUTE FUNCTION ph.state_guard('permission');

CREATE TRIGGER prop_blocked AFTER UPDATE ON ph.prop FOR EACH ROW WHEN (((old.blocked_since IS DISTINCT FROM new.blocked_since) OR (old.blocked_secs IS DISTINCT FROM new.blocked_secs))) EXECUTE FUNCTION ph.prop_blocked();

CREATE TRIGGER question_blocks AFTER INSERT OR UPDATE ON ph.question FOR EACH ROW EXECUTE FUNCTION ph.question_blocks();

CREATE TRIGGER question_clock BEFORE UPDATE OF state, last_event, since ON ph.question FOR EACH ROW EXECUTE FUNCTION ph.question_clock();

CREATE TRIGGER question_guard BEFORE INSERT OR UPDATE OF state, last_event, since ON ph.question FOR EACH ROW EXECUTE FUNCTION ph.state_guard('question');

CREATE TRIGGER tell_of_identity AFTER INSERT ON ph.identity FOR EACH ROW EXECUTE FUNCTION ph.tell_of_door('identity');

CREATE TRIGGER tell_of_password AFTER UPDATE OF password_hash ON ph.member FOR EACH ROW WHEN ((new.password_hash IS DISTINCT FROM old.password_hash)) EXECUTE FUNCTION ph.tell_of_door('password');

CREATE TRIGGER tell_of_token AFTER INSERT ON ph.token FOR EACH ROW EXECUTE FUNCTION ph.tell_of_door('token');

ALTER TABLE ONLY ph.access
    ADD CONSTRAINT access_party_id_member_id_fkey FOREIGN KEY (party_id, member_id) REFERENCES ph.member(party_id, id);

ALTER TABLE ONLY ph.anchor
    ADD CONSTRAINT anchor_studio_id_log_id_fkey FOREIGN KEY (studio_id, log_id) REFERENCES ph.log(studio_id, id);

ALTER TABLE ONLY ph.batch
    ADD CONSTRAINT batch_studio_id_vendor_id_work_order_id_fkey FOREIGN KEY (studio_id, vendor_id, work_order_id) REFERENCES ph.work_order(studio_id, vendor_id, id);

ALTER TABLE ONLY ph.calendar
    ADD CONSTRAINT calendar_party_id_fkey FOREIGN KEY (party_id) REFERENCES ph.party(id);

ALTER TABLE ONLY ph.cancellation
    ADD CONSTRAINT cancellation_studio_id_vendor_id_work_order_id_prop_id_mil_fkey FOREIGN KEY (studio_id, vendor_id, work_order_id, prop_id, milestone_id) REFERENCES ph.milestone(studio_id, vendor_id, work_order_id, prop_id, id);

ALTER TABLE ONLY ph.capacity
    ADD CONSTRAINT capacity_studio_id_vendor_id_fkey FOREIGN KEY (studio_id, vendor_id) REFERENCES ph.engagement(studio_id, vendor_id);

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

ALTER TABLE ONLY ph.device
    ADD CONSTRAINT device_party_id_member_id_fkey FOREIGN KEY (party_id, member_id) REFERENCES ph.member(party_id, id);

ALTER TABLE ONLY ph.due_told
    ADD CONSTRAINT due_told_studio_id_milestone_id_fkey FOREIGN KEY (studio_id, milestone_id) REFERENCES ph.milestone(studio_id, id);

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

ALTER TABLE ONLY ph.feed
    ADD CONSTRAINT feed_party_id_fkey FOREIGN KEY (party_id) REFERENCES ph.party(id);

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

ALTER TABLE ONLY ph.hook_attempt
    ADD CONSTRAINT hook_attempt_party_id_send_id_fkey FOREIGN KEY (party_id, send_id) REFERENCES ph.hook_send(party_id, id) ON DELETE CASCADE;

ALTER TABLE ONLY ph.hook
    ADD CONSTRAINT hook_party_id_fkey FOREIGN KEY (party_id) REFERENCES ph.party(id);

ALTER TABLE ONLY ph.hook
    ADD CONSTRAINT hook_party_id_made_by_fkey FOREIGN KEY (party_id, made_by) REFERENCES ph.member(party_id, id);

ALTER TABLE ONLY ph.hook_send
    ADD CONSTRAINT hook_send_party_id_hook_id_fkey FOREIGN KEY (party_id, hook_id) REFERENCES ph.hook(party_id, id);

ALTER TABLE ONLY ph.identity
    ADD CONSTRAINT identity_party_id_member_id_fkey FOREIGN KEY (party_id, member_id) REFERENCES ph.member(party_id, id);

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

ALTER TABLE ONLY ph.mail_choice
    ADD CONSTRAINT mail_choice_party_id_member_id_fkey FOREIGN KEY (party_id, member_id) REFERENCES ph.member(party_id, id);

ALTER TABLE ONLY ph.mail_day
    ADD CONSTRAINT mail_day_party_id_member_id_fkey FOREIGN KEY (party_id, member_id) REFERENCES ph.member(party_id, id);

ALTER TABLE ONLY ph.mail
    ADD CONSTRAINT mail_party_id_fkey FOREIGN KEY (party_id) REFERENCES ph.party(id);

ALTER TABLE ONLY ph.mail
    ADD CONSTRAINT mail_party_id_member_id_fkey FOREIGN KEY (party_id, member_id) REFERENCES ph.member(party_id, id);

ALTER TABLE ONLY ph.maintenance
    ADD CONSTRAINT maintenance_studio_id_vendor_id_work_order_id_prop_id_mile_fkey FOREIGN KEY (studio_id, vendor_id, work_order_id, prop_id, milestone_id) REFERENCES ph.milestone(studio_id, vendor_id, work_order_id, prop_id, id);

ALTER TABLE ONLY ph.member
    ADD CONSTRAINT member_party_id_fkey FOREIGN KEY (party_id) REFERENCES ph.party(id);

ALTER TABLE ONLY ph.milestone
    ADD CONSTRAINT milestone_studio_id_vendor_id_work_order_id_prop_id_fkey FOREIGN KEY (studio_id, vendor_id, work_order_id, prop_id) REFERENCES ph.prop(studio_id, vendor_id, work_order_id, id);

ALTER TABLE ONLY ph.nda_ack
    ADD CONSTRAINT nda_ack_studio_id_vendor_id_work_order_id_fkey FOREIGN KEY (studio_id, vendor_id, work_order_id) REFERENCES ph.work_order(studio_id, vendor_id, id);

ALTER TABLE ONLY ph.news
    ADD CONSTRAINT news_party_id_fkey FOREIGN KEY (party_id) REFERENCES ph.party(id);

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

ALTER TABLE ONLY ph.origin_declaration
    ADD CONSTRAINT origin_declaration_studio_id_vendor_id_work_order_id_prop__fkey FOREIGN KEY (studio_id, vendor_id, work_order_id, prop_id) REFERENCES ph.prop(studio_id, vendor_id, work_order_id, id);

ALTER TABLE ONLY ph.password_reset
    ADD CONSTRAINT password_reset_party_id_member_id_fkey FOREIGN KEY (party_id, member_id) REFERENCES ph.member(party_id, id);

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

ALTER TABLE ONLY ph.pending_sign_off
    ADD CONSTRAINT pending_sign_off_studio_id_delivery_id_fkey FOREIGN KEY (studio_id, delivery_id) REFERENCES ph.delivery(studio_id, id);

ALTER TABLE ONLY ph.pending_sign_off
    ADD CONSTRAINT pending_sign_off_studio_id_inspection_id_fkey FOREIGN KEY (studio_id, inspection_id) REFERENCES ph.inspection(studio_id, id);

ALTER TABLE ONLY ph.pending_sign_off
    ADD CONSTRAINT pending_sign_off_studio_id_milestone_id_fkey FOREIGN KEY (studio_id, milestone_id) REFERENCES ph.milestone(studio_id, id);

ALTER TABLE ONLY ph.permission_decision
    ADD CONSTRAINT permission_decision_studio_id_vendor_id_work_order_id_perm_fkey FOREIGN KEY (studio_id, vendor_id, work_order_id, permission_id) REFERENCES ph.permission(studio_id, vendor_id, work_order_id, id);

ALTER TABLE ONLY ph.permission
    ADD CONSTRAINT permission_studio_id_vendor_id_work_order_id_fkey FOREIGN KEY (studio_id, vendor_id, work_order_id) REFERENCES ph.work_order(studio_id, vendor_id, id);

ALTER TABLE ONLY ph.permission
    ADD CONSTRAINT permission_studio_id_vendor_id_work_order_id_prop_id_fkey FOREIGN KEY (studio_id, vendor_id, work_order_id, prop_id) REFERENCES ph.prop(studio_id, vendor_id, work_order_id, id);

ALTER TABLE ONLY ph.project
    ADD CONSTRAINT project_studio_id_fkey FOREIGN KEY (studio_id) REFERENCES ph.party(id);

ALTER TABLE ONLY ph.prop_line
    ADD CONSTRAINT prop_line_studio_id_vendor_id_work_order_id_prop_id_fkey FOREIGN KEY (studio_id, vendor_id, work_order_id, prop_id) REFERENCES ph.prop(studio_id, vendor_id, work_order_id, id);

ALTER TABLE ONLY ph.prop
    ADD CONSTRAINT prop_spec_of_this_prop FOREIGN KEY (studio_id, id, spec_in_force) REFERENCES ph.spec_revision(studio_id, prop_id, id);

ALTER TABLE ONLY ph.prop
    ADD CONSTRAINT prop_studio_id_vendor_id_work_order_id_fkey FOREIGN KEY (studio_id, vendor_id, work_order_id) REFERENCES ph.work_order(studio_id, vendor_id, id);

ALTER TABLE ONLY ph.provider
    ADD CONSTRAINT provider_party_id_fkey FOREIGN KEY (party_id) REFERENCES ph.party(id);

ALTER TABLE ONLY ph.question_message
    ADD CONSTRAINT question_message_studio_id_spec_revision_id_fkey FOREIGN KEY (studio_id, spec_revision_id) REFERENCES ph.spec_revision(studio_id, id);

ALTER TABLE ONLY ph.question_message
    ADD CONSTRAINT question_message_studio_id_vendor_id_work_order_id_questio_fkey FOREIGN KEY (studio_id, vendor_id, work_order_id, question_id) REFERENCES ph.question(studio_id, vendor_id, work_order_id, id);

ALTER TABLE ONLY ph.question
    ADD CONSTRAINT question_studio_id_vendor_id_work_order_id_prop_id_fkey FOREIGN KEY (studio_id, vendor_id, work_order_id, prop_id) REFERENCES ph.prop(studio_id, vendor_id, work_order_id, id);

ALTER TABLE ONLY ph.quota
    ADD CONSTRAINT quota_studio_id_vendor_id_fkey FOREIGN KEY (studio_id, vendor_id) REFERENCES ph.engagement(studio_id, vendor_id);

ALTER TABLE ONLY ph.quota
    ADD CONSTRAINT quota_studio_id_vendor_id_work_order_id_fkey FOREIGN KEY (studio_id, vendor_id, work_order_id) REFERENCES ph.work_order(studio_id, vendor_id, id);

ALTER TABLE ONLY ph.reassignment
    ADD CONSTRAINT reassignment_studio_id_from_prop_fkey FOREIGN KEY (studio_id, from_prop) REFERENCES ph.prop(studio_id, id);

ALTER TABLE ONLY ph.reassignment
    ADD CONSTRAINT reassignment_studio_id_pack_id_fkey FOREIGN KEY (studio_id, pack_id) REFERENCES ph.reference_pack(studio_id, id);

ALTER TABLE ONLY ph.reassignment
    ADD CONSTRAINT reassignment_studio_id_to_prop_fkey FOREIGN KEY (studio_id, to_prop) REFERENCES ph.prop(studio_id, id);

ALTER TABLE ONLY ph.reference_ack
    ADD CONSTRAINT reference_ack_studio_id_vendor_id_work_order_id_pack_id_fkey FOREIGN KEY (studio_id, vendor_id, work_order_id, pack_id) REFERENCES ph.reference_pack(studio_id, vendor_id, work_order_id, id);

ALTER TABLE ONLY ph.reference_file
    ADD CONSTRAINT reference_file_studio_id_vendor_id_work_order_id_pack_id_fkey FOREIGN KEY (studio_id, vendor_id, work_order_id, pack_id) REFERENCES ph.reference_pack(studio_id, vendor_id, work_order_id, id);

ALTER TABLE ONLY ph.reference_pack
    ADD CONSTRAINT reference_pack_studio_id_vendor_id_work_order_id_fkey FOREIGN KEY (studio_id, vendor_id, work_order_id) REFERENCES ph.work_order(studio_id, vendor_id, id);

ALTER TABLE ONLY ph.reminder
    ADD CONSTRAINT reminder_studio_id_vendor_id_work_order_id_prop_id_milesto_fkey FOREIGN KEY (studio_id, vendor_id, work_order_id, prop_id, milestone_id, delivery_id) REFERENCES ph.delivery(studio_id, vendor_id, work_order_id, prop_id, milestone_id, id);

ALTER TABLE ONLY ph.removal_file
    ADD CONSTRAINT removal_file_studio_id_vendor_id_file_id_fkey FOREIGN KEY (studio_id, vendor_id, file_id) REFERENCES ph.file(studio_id, vendor_id, id);

ALTER TABLE ONLY ph.removal_file
    ADD CONSTRAINT removal_file_studio_id_vendor_id_work_order_id_removal_id_fkey FOREIGN KEY (studio_id, vendor_id, work_order_id, removal_id) REFERENCES ph.removal(studio_id, vendor_id, work_order_id, id);

ALTER TABLE ONLY ph.removal
    ADD CONSTRAINT removal_studio_id_vendor_id_work_order_id_delivery_id_fkey FOREIGN KEY (studio_id, vendor_id, work_order_id, delivery_id) REFERENCES ph.delivery(studio_id, vendor_id, work_order_id, id);

ALTER TABLE ONLY ph.removal
    ADD CONSTRAINT removal_studio_id_vendor_id_work_order_id_retention_id_fkey FOREIGN KEY (studio_id, vendor_id, work_order_id, retention_id) REFERENCES ph.retention(studio_id, vendor_id, work_order_id, id);

ALTER TABLE ONLY ph.retention
    ADD CONSTRAINT retention_studio_id_work_order_id_fkey FOREIGN KEY (studio_id, work_order_id) REFERENCES ph.work_order(studio_id, id);

ALTER TABLE ONLY ph.saved_note
    ADD CONSTRAINT saved_note_studio_id_fkey FOREIGN KEY (studio_id) REFERENCES ph.party(id);

ALTER TABLE ONLY ph.saved_view
    ADD CONSTRAINT saved_view_party_id_member_id_fkey FOREIGN KEY (party_id, member_id) REFERENCES ph.member(party_id, id);

ALTER TABLE ONLY ph.session
    ADD CONSTRAINT session_party_id_member_id_fkey FOREIGN KEY (party_id, member_id) REFERENCES ph.member(party_id, id);

ALTER TABLE ONLY ph.set_use
    ADD CONSTRAINT set_use_studio_id_vendor_id_work_order_id_delivery_id_fkey FOREIGN KEY (studio_id, vendor_id, work_order_id, delivery_id) REFERENCES ph.delivery(studio_id, vendor_id, work_order_id, id);

ALTER TABLE ONLY ph.set_use
    ADD CONSTRAINT set_use_studio_id_vendor_id_work_order_id_prop_id_fkey FOREIGN KEY (studio_id, vendor_id, work_order_id, prop_id) REFERENCES ph.prop(studio_id, vendor_id, work_order_id, id);

ALTER TABLE ONLY ph.set_use
    ADD CONSTRAINT set_use_studio_id_vendor_id_work_order_id_set_id_fkey FOREIGN KEY (studio_id, vendor_id, work_order_id, set_id) REFERENCES ph.prop(studio_id, vendor_id, work_order_id, id);

ALTER TABLE ONLY ph.sign_in
    ADD CONSTRAINT sign_in_party_id_fkey FOREIGN KEY (party_id) REFERENCES ph.party(id);

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

ALTER TABLE ph.access ENABLE ROW LEVEL SECURITY;

CREATE POLICY access_insert ON ph.access FOR INSERT TO ph_api WITH CHECK (((party_id = ph.app_party()) AND (member_id = ph.app_member())));

CREATE POLICY access_owner ON ph.access TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY access_read ON ph.access FOR SELECT TO ph_api USING ((party_id = ( SELECT ph.app_party() AS app_party)));

ALTER TABLE ph.anchor ENABLE ROW LEVEL SECURITY;

CREATE POLICY anchor_notary ON ph.anchor TO ph_notary USING (true) WITH CHECK (true);

CREATE POLICY anchor_owner ON ph.anchor TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY anchor_read ON ph.anchor FOR SELECT TO ph_api USING (((studio_id = ( SELECT ph.app_studio() AS app_studio)) OR (vendor_id = ( SELECT ph.app_vendor() AS app_vendor))));

ALTER TABLE ph.attempt ENABLE ROW LEVEL SECURITY;

CREATE POLICY attempt_owner ON ph.attempt TO ph_owner USING (true) WITH CHECK (true);

ALTER TABLE ph.batch ENABLE ROW LEVEL SECURITY;

CREATE POLICY batch_insert ON ph.batch FOR INSERT TO ph_api WITH CHECK ((vendor_id = ph.app_vendor()));

CREATE POLICY batch_owner ON ph.batch TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY batch_read ON ph.batch FOR SELECT TO ph_api USING (((studio_id = ( SELECT ph.app_studio() AS app_studio)) OR (vendor_id = ( SELECT ph.app_vendor() AS app_vendor))));

CREATE POLICY batch_update ON ph.batch FOR UPDATE TO ph_api USING ((vendor_id = ( SELECT ph.app_vendor() AS app_vendor))) WITH CHECK ((vendor_id = ph.app_vendor()));

ALTER TABLE ph.calendar ENABLE ROW LEVEL SECURITY;

CREATE POLICY calendar_own ON ph.calendar TO ph_api USING ((party_id = ( SELECT ph.app_party() AS app_party))) WITH CHECK ((party_id = ph.app_party()));

CREATE POLICY calendar_owner ON ph.calendar TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY calendar_post ON ph.calendar TO ph_post USING (true) WITH CHECK (true);

ALTER TABLE ph.cancellation ENABLE ROW LEVEL SECURITY;

CREATE POLICY cancellation_insert ON ph.cancellation FOR INSERT TO ph_api WITH CHECK ((studio_id = ph.app_studio()));

CREATE POLICY cancellation_owner ON ph.cancellation TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY cancellation_read ON ph.cancellation FOR SELECT TO ph_api USING (((studio_id = ( SELECT ph.app_studio() AS app_studio)) OR (vendor_id = ( SELECT ph.app_vendor() AS app_vendor))));

ALTER TABLE ph.capacity ENABLE ROW LEVEL SECURITY;

CREATE POLICY capacity_insert ON ph.capacity FOR INSERT TO ph_api WITH CHECK ((vendor_id = ph.app_vendor()));

CREATE POLICY capacity_owner ON ph.capacity TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY capacity_read ON ph.capacity FOR SELECT TO ph_api USING (((studio_id = ( SELECT ph.app_studio() AS app_studio)) OR (vendor_id = ( SELECT ph.app_vendor() AS app_vendor))));

CREATE POLICY capacity_update ON ph.capacity FOR UPDATE TO ph_api USING ((vendor_id = ( SELECT ph.app_vendor() AS app_vendor))) WITH CHECK ((vendor_id = ph.app_vendor()));

ALTER TABLE ph.change_order ENABLE ROW LEVEL SECURITY;

CREATE POLICY change_order_insert ON ph.change_order FOR INSERT TO ph_api WITH CHECK (((studio_id = ph.app_studio()) OR (vendor_id = ph.app_vendor())));

CREATE POLICY change_order_owner ON ph.change_order TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY change_order_read ON ph.change_order FOR SELECT TO ph_api USING (((studio_id = ( SELECT ph.app_studio() AS app_studio)) OR (vendor_id = ( SELECT ph.app_vendor() AS app_vendor))));

CREATE POLICY change_order_update ON ph.change_order FOR UPDATE TO ph_api USING (((studio_id = ( SELECT ph.app_studio() AS app_studio)) OR (vendor_id = ( SELECT ph.app_vendor() AS app_vendor)))) WITH CHECK (((studio_id = ph.app_studio()) OR (vendor_id = ph.app_vendor())));

ALTER TABLE ph.check_count ENABLE ROW LEVEL SECURITY;

CREATE POLICY check_count_owner ON ph.check_count TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY check_count_read ON ph.check_count FOR SELECT TO ph_api USING (((studio_id = ( SELECT ph.app_studio() AS app_studio)) OR (vendor_id = ( SELECT ph.app_vendor() AS app_vendor))));

ALTER TABLE ph.checkpoint ENABLE ROW LEVEL SECURITY;

CREATE POLICY checkpoint_notary ON ph.checkpoint TO ph_notary USING (true) WITH CHECK (true);

CREATE POLICY checkpoint_owner ON ph.checkpoint TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY checkpoint_read ON ph.checkpoint FOR SELECT TO ph_api USING (true);

ALTER TABLE ph.concession ENABLE ROW LEVEL SECURITY;

CREATE POLICY concession_insert ON ph.concession FOR INSERT TO ph_api WITH CHECK ((studio_id = ph.app_studio()));

CREATE POLICY concession_owner ON ph.concession TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY concession_read ON ph.concession FOR SELECT TO ph_api USING (((studio_id = ( SELECT ph.app_studio() AS app_studio)) OR (vendor_id = ( SELECT ph.app_vendor() AS app_vendor))));

ALTER TABLE ph.delivery ENABLE ROW LEVEL SECURITY;

CREATE POLICY delivery_clock ON ph.delivery TO ph_clock USING (true) WITH CHECK (true);

CREATE POLICY delivery_insert ON ph.delivery FOR INSERT TO ph_api WITH CHECK ((vendor_id = ph.app_vendor()));

CREATE POLICY delivery_owner ON ph.delivery TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY delivery_post ON ph.delivery TO ph_post USING (true) WITH CHECK (true);

CREATE POLICY delivery_read ON ph.delivery FOR SELECT TO ph_api USING (((studio_id = ( SELECT ph.app_studio() AS app_studio)) OR (vendor_id = ( SELECT ph.app_vendor() AS app_vendor))));

CREATE POLICY delivery_update ON ph.delivery FOR UPDATE TO ph_api USING ((vendor_id = ( SELECT ph.app_vendor() AS app_vendor))) WITH CHECK ((vendor_id = ph.app_vendor()));

CREATE POLICY delivery_worker ON ph.delivery TO ph_worker USING (true) WITH CHECK (true);

ALTER TABLE ph.deputy ENABLE ROW LEVEL SECURITY;

CREATE POLICY deputy_insert ON ph.deputy FOR INSERT TO ph_api WITH CHECK ((studio_id = ph.app_studio()));

CREATE POLICY deputy_owner ON ph.deputy TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY deputy_read ON ph.deputy FOR SELECT TO ph_api USING ((studio_id = ( SELECT ph.app_studio() AS app_studio)));

ALTER TABLE ph.device ENABLE ROW LEVEL SECURITY;

CREATE POLICY device_own ON ph.device TO ph_api USING (((party_id = ( SELECT ph.app_party() AS app_party)) AND (member_id = ( SELECT ph.app_member() AS app_member)))) WITH CHECK (((party_id = ph.app_party()) AND (member_id = ph.app_member())));

CREATE POLICY device_owner ON ph.device TO ph_owner USING (true) WITH CHECK (true);

ALTER TABLE ph.due_told ENABLE ROW LEVEL SECURITY;

CREATE POLICY due_told_owner ON ph.due_told TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY due_told_post ON ph.due_told TO ph_post USING (true) WITH CHECK (true);

ALTER TABLE ph.engagement ENABLE ROW LEVEL SECURITY;

CREATE POLICY engagement_insert ON ph.engagement FOR INSERT TO ph_api WITH CHECK ((studio_id = ph.app_studio()));

CREATE POLICY engagement_owner ON ph.engagement TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY engagement_post ON ph.engagement TO ph_post USING (true) WITH CHECK (true);

CREATE POLICY engagement_read ON ph.engagement FOR SELECT TO ph_api USING (((studio_id = ( SELECT ph.app_studio() AS app_studio)) OR (vendor_id = ( SELECT ph.app_vendor() AS app_vendor))));

ALTER TABLE ph.erasure ENABLE ROW LEVEL SECURITY;

CREATE POLICY erasure_insert ON ph.erasure FOR INSERT TO ph_api WITH CHECK (((studio_id = ph.app_studio()) OR (vendor_id = ph.app_vendor())));

CREATE POLICY erasure_owner ON ph.erasure TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY erasure_read ON ph.erasure FOR SELECT TO ph_api USING (((studio_id = ( SELECT ph.app_studio() AS app_studio)) OR (vendor_id = ( SELECT ph.app_vendor() AS app_vendor))));

ALTER TABLE ph.evidence ENABLE ROW LEVEL SECURITY;

CREATE POLICY evidence_clock ON ph.evidence FOR SELECT TO ph_clock USING (true);

CREATE POLICY evidence_owner ON ph.evidence TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY evidence_read ON ph.evidence FOR SELECT TO ph_api USING (((studio_id = ( SELECT ph.app_studio() AS app_studio)) OR (vendor_id = ( SELECT ph.app_vendor() AS app_vendor))));

CREATE POLICY evidence_worker ON ph.evidence TO ph_worker USING (true) WITH CHECK (true);

ALTER TABLE ph.fact ENABLE ROW LEVEL SECURITY;

CREATE POLICY fact_clock ON ph.fact TO ph_clock USING (true) WITH CHECK (true);

CREATE POLICY fact_insert ON ph.fact FOR INSERT TO ph_api WITH CHECK (((studio_id = ph.app_studio()) OR (vendor_id = ph.app_vendor())));

CREATE POLICY fact_owner ON ph.fact TO ph_owner USING (true) WITH CHECK (true);

ALTER TABLE ph.fact_person ENABLE ROW LEVEL SECURITY;

CREATE POLICY fact_person_insert ON ph.fact_person FOR INSERT TO ph_api WITH CHECK (((studio_id = ph.app_studio()) OR (vendor_id = ph.app_vendor())));

CREATE POLICY fact_person_owner ON ph.fact_person TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY fact_person_read ON ph.fact_person FOR SELECT TO ph_api USING (((studio_id = ( SELECT ph.app_studio() AS app_studio)) OR (vendor_id = ( SELECT ph.app_vendor() AS app_vendor))));

CREATE POLICY fact_post ON ph.fact TO ph_post USING (true) WITH CHECK (true);

CREATE POLICY fact_read ON ph.fact FOR SELECT TO ph_api USING (((studio_id = ( SELECT ph.app_studio() AS app_studio)) OR (vendor_id = ( SELECT ph.app_vendor() AS app_vendor))));

CREATE POLICY fact_worker ON ph.fact TO ph_worker USING (true) WITH CHECK (true);

ALTER TABLE ph.feed ENABLE ROW LEVEL SECURITY;

CREATE POLICY feed_owner ON ph.feed TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY feed_post ON ph.feed TO ph_post USING (true) WITH CHECK (true);

ALTER TABLE ph.file ENABLE ROW LEVEL SECURITY;

CREATE POLICY file_clock ON ph.file FOR SELECT TO ph_clock USING (true);

CREATE POLICY file_insert ON ph.file FOR INSERT TO ph_api WITH CHECK ((vendor_id = ph.app_vendor()));

CREATE POLICY file_owner ON ph.file TO ph_owner USING (true) WITH CHECK (true);

ALTER TABLE ph.file_part ENABLE ROW LEVEL SECURITY;

CREATE POLICY file_part_insert ON ph.file_part FOR INSERT TO ph_api WITH CHECK ((vendor_id = ph.app_vendor()));

CREATE POLICY file_part_owner ON ph.file_part TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY file_part_read ON ph.file_part FOR SELECT TO ph_api USING (((studio_id = ( SELECT ph.app_studio() AS app_studio)) OR (vendor_id = ( SELECT ph.app_vendor() AS app_vendor))));

CREATE POLICY file_part_update ON ph.file_part FOR UPDATE TO ph_api USING ((vendor_id = ( SELECT ph.app_vendor() AS app_vendor))) WITH CHECK ((vendor_id = ph.app_vendor()));

CREATE POLICY file_part_worker ON ph.file_part TO ph_worker USING (true) WITH CHECK (true);

CREATE POLICY file_read ON ph.file FOR SELECT TO ph_api USING (((studio_id = ( SELECT ph.app_studio() AS app_studio)) OR (vendor_id = ( SELECT ph.app_vendor() AS app_vendor))));

CREATE POLICY file_update ON ph.file FOR UPDATE TO ph_api USING ((vendor_id = ( SELECT ph.app_vendor() AS app_vendor))) WITH CHECK ((vendor_id = ph.app_vendor()));

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

CREATE POLICY finding_read ON ph.finding FOR SELECT TO ph_api USING (((studio_id = ( SELECT ph.app_studio() AS app_studio)) OR (vendor_id = ( SELECT ph.app_vendor() AS app_vendor))));

ALTER TABLE ph.finding_rest ENABLE ROW LEVEL SECURITY;

CREATE POLICY finding_worker ON ph.finding TO ph_worker USING (true) WITH CHECK (true);

ALTER TABLE ph.handover ENABLE ROW LEVEL SECURITY;

ALTER TABLE ph.handover_file ENABLE ROW LEVEL SECURITY;

CREATE POLICY handover_file_insert ON ph.handover_file FOR INSERT TO ph_api WITH CHECK ((studio_id = ph.app_studio()));

CREATE POLICY handover_file_owner ON ph.handover_file TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY handover_file_read ON ph.handover_file FOR SELECT TO ph_api USING ((studio_id = ( SELECT ph.app_studio() AS app_studio)));

CREATE POLICY handover_insert ON ph.handover FOR INSERT TO ph_api WITH CHECK ((studio_id = ph.app_studio()));

CREATE POLICY handover_owner ON ph.handover TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY handover_read ON ph.handover FOR SELECT TO ph_api USING ((studio_id = ( SELECT ph.app_studio() AS app_studio)));

ALTER TABLE ph.hold ENABLE ROW LEVEL SECURITY;

CREATE POLICY hold_insert ON ph.hold FOR INSERT TO ph_api WITH CHECK ((studio_id = ph.app_studio()));

CREATE POLICY hold_owner ON ph.hold TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY hold_read ON ph.hold FOR SELECT TO ph_api USING (((studio_id = ( SELECT ph.app_studio() AS app_studio)) OR (vendor_id = ( SELECT ph.app_vendor() AS app_vendor))));

ALTER TABLE ph.hook ENABLE ROW LEVEL SECURITY;

ALTER TABLE ph.hook_attempt ENABLE ROW LEVEL SECURITY;

CREATE POLICY hook_attempt_owner ON ph.hook_attempt TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY hook_attempt_post ON ph.hook_attempt TO ph_post USING (true) WITH CHECK (true);

CREATE POLICY hook_attempt_read ON ph.hook_attempt FOR SELECT TO ph_api USING ((party_id = ( SELECT ph.app_party() AS app_party)));

CREATE POLICY hook_insert ON ph.hook FOR INSERT TO ph_api WITH CHECK (((party_id = ph.app_party()) AND (made_by = ph.app_member())));

CREATE POLICY hook_owner ON ph.hook TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY hook_post ON ph.hook TO ph_post USING (true) WITH CHECK (true);

CREATE POLICY hook_read ON ph.hook FOR SELECT TO ph_api USING ((party_id = ( SELECT ph.app_party() AS app_party)));

ALTER TABLE ph.hook_send ENABLE ROW LEVEL SECURITY;

CREATE POLICY hook_send_insert ON ph.hook_send FOR INSERT TO ph_api WITH CHECK ((party_id = ph.app_party()));

CREATE POLICY hook_send_owner ON ph.hook_send TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY hook_send_post ON ph.hook_send TO ph_post USING (true) WITH CHECK (true);

CREATE POLICY hook_send_read ON ph.hook_send FOR SELECT TO ph_api USING ((party_id = ( SELECT ph.app_party() AS app_party)));

CREATE POLICY hook_send_update ON ph.hook_send FOR UPDATE TO ph_api USING ((party_id = ( SELECT ph.app_party() AS app_party))) WITH CHECK ((party_id = ph.app_party()));

CREATE POLICY hook_update ON ph.hook FOR UPDATE TO ph_api USING ((party_id = ( SELECT ph.app_party() AS app_party))) WITH CHECK ((party_id = ph.app_party()));

ALTER TABLE ph.house_hash ENABLE ROW LEVEL SECURITY;

CREATE POLICY house_hash_notary ON ph.house_hash TO ph_notary USING (true) WITH CHECK (true);

CREATE POLICY house_hash_owner ON ph.house_hash TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY house_hash_read ON ph.house_hash FOR SELECT TO ph_api USING (true);

ALTER TABLE ph.house_leaf ENABLE ROW LEVEL SECURITY;

CREATE POLICY house_leaf_notary ON ph.house_leaf TO ph_notary USING (true) WITH CHECK (true);

CREATE POLICY house_leaf_owner ON ph.house_leaf TO ph_owner USING (true) WITH CHECK (true);

ALTER TABLE ph.idempotency ENABLE ROW LEVEL SECURITY;

CREATE POLICY idempotency_own ON ph.idempotency TO ph_api USING (((party_id = ( SELECT ph.app_party() AS app_party)) AND (member_id = ( SELECT ph.app_member() AS app_member)))) WITH CHECK (((party_id = ph.app_party()) AND (member_id = ph.app_member())));

CREATE POLICY idempotency_owner ON ph.idempotency TO ph_owner USING (true) WITH CHECK (true);

ALTER TABLE ph.identity ENABLE ROW LEVEL SECURITY;

CREATE POLICY identity_owner ON ph.identity TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY identity_read ON ph.identity FOR SELECT TO ph_api USING ((party_id = ( SELECT ph.app_party() AS app_party)));

ALTER TABLE ph.inspection ENABLE ROW LEVEL SECURITY;

CREATE POLICY inspection_clock ON ph.inspection TO ph_clock USING (true) WITH CHECK (true);

CREATE POLICY inspection_insert ON ph.inspection FOR INSERT TO ph_api WITH CHECK (((studio_id = ph.app_studio()) OR (vendor_id = ph.app_vendor())));

CREATE POLICY inspection_owner ON ph.inspection TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY inspection_read ON ph.inspection FOR SELECT TO ph_api USING (((studio_id = ( SELECT ph.app_studio() AS app_studio)) OR (vendor_id = ( SELECT ph.app_vendor() AS app_vendor))));

CREATE POLICY inspection_worker ON ph.inspection TO ph_worker USING (true) WITH CHECK (true);

ALTER TABLE ph.invitation ENABLE ROW LEVEL SECURITY;

CREATE POLICY invitation_insert ON ph.invitation FOR INSERT TO ph_api WITH CHECK ((((party_id = ph.app_party()) AND (engaged_by IS NULL)) OR ((engaged_by = ph.app_studio()) AND (side = 'vendor'::text))));

CREATE POLICY invitation_owner ON ph.invitation TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY invitation_post ON ph.invitation TO ph_post USING (true) WITH CHECK (true);

CREATE POLICY invitation_read ON ph.invitation FOR SELECT TO ph_api USING (((party_id = ( SELECT ph.app_party() AS app_party)) OR (engaged_by = ( SELECT ph.app_studio() AS app_studio))));

ALTER TABLE ph.log ENABLE ROW LEVEL SECURITY;

CREATE POLICY log_clock ON ph.log TO ph_clock USING (true) WITH CHECK (true);

ALTER TABLE ph.log_hash ENABLE ROW LEVEL SECURITY;

CREATE POLICY log_hash_clock ON ph.log_hash TO ph_clock USING (true) WITH CHECK (true);

CREATE POLICY log_hash_insert ON ph.log_hash FOR INSERT TO ph_api WITH CHECK (((studio_id = ph.app_studio()) OR (vendor_id = ph.app_vendor())));

CREATE POLICY log_hash_owner ON ph.log_hash TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY log_hash_read ON ph.log_hash FOR SELECT TO ph_api USING (((studio_id = ( SELECT ph.app_studio() AS app_studio)) OR (vendor_id = ( SELECT ph.app_vendor() AS app_vendor))));

CREATE POLICY log_hash_worker ON ph.log_hash TO ph_worker USING (true) WITH CHECK (true);

CREATE POLICY log_insert ON ph.log FOR INSERT TO ph_api WITH CHECK ((studio_id = ph.app_studio()));

CREATE POLICY log_notary ON ph.log TO ph_notary USING (true) WITH CHECK (true);

CREATE POLICY log_owner ON ph.log TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY log_post ON ph.log TO ph_post USING (true) WITH CHECK (true);

CREATE POLICY log_read ON ph.log FOR SELECT TO ph_api USING (((studio_id = ( SELECT ph.app_studio() AS app_studio)) OR (vendor_id = ( SELECT ph.app_vendor() AS app_vendor))));

CREATE POLICY log_update ON ph.log FOR UPDATE TO ph_api USING (((studio_id = ( SELECT ph.app_studio() AS app_studio)) OR (vendor_id = ( SELECT ph.app_vendor() AS app_vendor)))) WITH CHECK (((studio_id = ph.app_studio()) OR (vendor_id = ph.app_vendor())));

CREATE POLICY log_worker ON ph.log TO ph_worker USING (true) WITH CHECK (true);

ALTER TABLE ph.mail ENABLE ROW LEVEL SECURITY;

ALTER TABLE ph.mail_choice ENABLE ROW LEVEL SECURITY;

CREATE POLICY mail_choice_own ON ph.mail_choice TO ph_api USING (((party_id = ( SELECT ph.app_party() AS app_party)) AND (member_id = ( SELECT ph.app_member() AS app_member)))) WITH CHECK (((party_id = ph.app_party()) AND (member_id = ph.app_member())));

CREATE POLICY mail_choice_owner ON ph.mail_choice TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY mail_choice_post ON ph.mail_choice TO ph_post USING (true) WITH CHECK (true);

ALTER TABLE ph.mail_day ENABLE ROW LEVEL SECURITY;

CREATE POLICY mail_day_owner ON ph.mail_day TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY mail_day_post ON ph.mail_day TO ph_post USING (true) WITH CHECK (true);

CREATE POLICY mail_owner ON ph.mail TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY mail_post ON ph.mail TO ph_post USING (true) WITH CHECK (true);

ALTER TABLE ph.maintenance ENABLE ROW LEVEL SECURITY;

CREATE POLICY maintenance_insert ON ph.maintenance FOR INSERT TO ph_api WITH CHECK ((studio_id = ph.app_studio()));

CREATE POLICY maintenance_owner ON ph.maintenance TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY maintenance_read ON ph.maintenance FOR SELECT TO ph_api USING (((studio_id = ( SELECT ph.app_studio() AS app_studio)) OR (vendor_id = ( SELECT ph.app_vendor() AS app_vendor))));

ALTER TABLE ph.member ENABLE ROW LEVEL SECURITY;

CREATE POLICY member_owner ON ph.member TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY member_post ON ph.member TO ph_post USING (true) WITH CHECK (true);

CREATE POLICY member_read ON ph.member FOR SELECT TO ph_api USING ((party_id = ( SELECT ph.app_party() AS app_party)));

CREATE POLICY member_update ON ph.member FOR UPDATE TO ph_api USING (((party_id = ( SELECT ph.app_party() AS app_party)) AND (id = ( SELECT ph.app_member() AS app_member)))) WITH CHECK (((party_id = ph.app_party()) AND (id = ph.app_member())));

ALTER TABLE ph.milestone ENABLE ROW LEVEL SECURITY;

CREATE POLICY milestone_clock ON ph.milestone TO ph_clock USING (true) WITH CHECK (true);

ALTER TABLE ph.milestone_count ENABLE ROW LEVEL SECURITY;

CREATE POLICY milestone_count_owner ON ph.milestone_count TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY milestone_count_read ON ph.milestone_count FOR SELECT TO ph_api USING (((studio_id = ( SELECT ph.app_studio() AS app_studio)) OR (vendor_id = ( SELECT ph.app_vendor() AS app_vendor))));

CREATE POLICY milestone_insert ON ph.milestone FOR INSERT TO ph_api WITH CHECK ((studio_id = ph.app_studio()));

CREATE POLICY milestone_move_owner ON ph.move TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY milestone_move_read ON ph.move FOR SELECT TO ph_api USING (true);

CREATE POLICY milestone_move_worker ON ph.move FOR SELECT TO ph_worker USING (true);

CREATE POLICY milestone_owner ON ph.milestone TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY milestone_post ON ph.milestone TO ph_post USING (true) WITH CHECK (true);

CREATE POLICY milestone_read ON ph.milestone FOR SELECT TO ph_api USING (((studio_id = ( SELECT ph.app_studio() AS app_studio)) OR (vendor_id = ( SELECT ph.app_vendor() AS app_vendor))));

CREATE POLICY milestone_update ON ph.milestone FOR UPDATE TO ph_api USING (((studio_id = ( SELECT ph.app_studio() AS app_studio)) OR (vendor_id = ( SELECT ph.app_vendor() AS app_vendor)))) WITH CHECK (((studio_id = ph.app_studio()) OR (vendor_id = ph.app_vendor())));

CREATE POLICY milestone_worker ON ph.milestone TO ph_worker USING (true) WITH CHECK (true);

ALTER TABLE ph.move ENABLE ROW LEVEL SECURITY;

CREATE POLICY move_clock ON ph.move FOR SELECT TO ph_clock USING (true);

ALTER TABLE ph.nda_ack ENABLE ROW LEVEL SECURITY;

CREATE POLICY nda_ack_insert ON ph.nda_ack FOR INSERT TO ph_api WITH CHECK ((vendor_id = ph.app_vendor()));

CREATE POLICY nda_ack_owner ON ph.nda_ack TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY nda_ack_read ON ph.nda_ack FOR SELECT TO ph_api USING (((studio_id = ( SELECT ph.app_studio() AS app_studio)) OR (vendor_id = ( SELECT ph.app_vendor() AS app_vendor))));

ALTER TABLE ph.news ENABLE ROW LEVEL SECURITY;

CREATE POLICY news_owner ON ph.news TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY news_post ON ph.news TO ph_post USING (true) WITH CHECK (true);

CREATE POLICY news_read ON ph.news FOR SELECT TO ph_api USING ((party_id = ( SELECT ph.app_party() AS app_party)));

ALTER TABLE ph.notary_key ENABLE ROW LEVEL SECURITY;

CREATE POLICY notary_key_notary ON ph.notary_key TO ph_notary USING (true) WITH CHECK (true);

CREATE POLICY notary_key_owner ON ph.notary_key TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY notary_key_read ON ph.notary_key FOR SELECT TO ph_api USING (true);

ALTER TABLE ph.note ENABLE ROW LEVEL SECURITY;

CREATE POLICY note_insert ON ph.note FOR INSERT TO ph_api WITH CHECK ((((studio_id = ph.app_studio()) AND (side = 'studio'::text)) OR ((vendor_id = ph.app_vendor()) AND (side = 'vendor'::text))));

CREATE POLICY note_owner ON ph.note TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY note_read ON ph.note FOR SELECT TO ph_api USING (((studio_id = ( SELECT ph.app_studio() AS app_studio)) OR (vendor_id = ( SELECT ph.app_vendor() AS app_vendor))));

ALTER TABLE ph.note_resolution ENABLE ROW LEVEL SECURITY;

CREATE POLICY note_resolution_insert ON ph.note_resolution FOR INSERT TO ph_api WITH CHECK ((((studio_id = ph.app_studio()) AND (side = 'studio'::text)) OR ((vendor_id = ph.app_vendor()) AND (side = 'vendor'::text))));

CREATE POLICY note_resolution_owner ON ph.note_resolution TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY note_resolution_read ON ph.note_resolution FOR SELECT TO ph_api USING (((studio_id = ( SELECT ph.app_studio() AS app_studio)) OR (vendor_id = ( SELECT ph.app_vendor() AS app_vendor))));

ALTER TABLE ph.order_calendar ENABLE ROW LEVEL SECURITY;

CREATE POLICY order_calendar_clock ON ph.order_calendar TO ph_clock USING (true) WITH CHECK (true);

CREATE POLICY order_calendar_insert ON ph.order_calendar FOR INSERT TO ph_api WITH CHECK ((((studio_id = ph.app_studio()) AND (side = 'studio'::text)) OR ((vendor_id = ph.app_vendor()) AND (side = 'vendor'::text))));

CREATE POLICY order_calendar_owner ON ph.order_calendar TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY order_calendar_read ON ph.order_calendar FOR SELECT TO ph_api USING (((studio_id = ( SELECT ph.app_studio() AS app_studio)) OR (vendor_id = ( SELECT ph.app_vendor() AS app_vendor))));

CREATE POLICY order_calendar_worker ON ph.order_calendar FOR SELECT TO ph_worker USING (true);

ALTER TABLE ph.origin_declaration ENABLE ROW LEVEL SECURITY;

CREATE POLICY origin_declaration_insert ON ph.origin_declaration FOR INSERT TO ph_api WITH CHECK ((vendor_id = ph.app_vendor()));

CREATE POLICY origin_declaration_owner ON ph.origin_declaration TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY origin_declaration_read ON ph.origin_declaration FOR SELECT TO ph_api USING (((studio_id = ( SELECT ph.app_studio() AS app_studio)) OR (vendor_id = ( SELECT ph.app_vendor() AS app_vendor))));

ALTER TABLE ph.orphan ENABLE ROW LEVEL SECURITY;

CREATE POLICY orphan_clock ON ph.orphan TO ph_clock USING (true) WITH CHECK (true);

CREATE POLICY orphan_owner ON ph.orphan TO ph_owner USING (true) WITH CHECK (true);

ALTER TABLE ph.party ENABLE ROW LEVEL SECURITY;

CREATE POLICY party_insert ON ph.party FOR INSERT TO ph_api WITH CHECK (((side = 'vendor'::text) AND (ph.app_studio() IS NOT NULL)));

CREATE POLICY party_owner ON ph.party TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY party_post ON ph.party TO ph_post USING (true) WITH CHECK (true);

CREATE POLICY party_read ON ph.party FOR SELECT TO ph_api USING ((id = ( SELECT ph.app_party() AS app_party)));

ALTER TABLE ph.password_reset ENABLE ROW LEVEL SECURITY;

CREATE POLICY password_reset_owner ON ph.password_reset TO ph_owner USING (true) WITH CHECK (true);

ALTER TABLE ph.payable ENABLE ROW LEVEL SECURITY;

CREATE POLICY payable_clock ON ph.payable TO ph_clock USING (true) WITH CHECK (true);

CREATE POLICY payable_insert ON ph.payable FOR INSERT TO ph_api WITH CHECK ((studio_id = ph.app_studio()));

CREATE POLICY payable_owner ON ph.payable TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY payable_read ON ph.payable FOR SELECT TO ph_api USING (((studio_id = ( SELECT ph.app_studio() AS app_studio)) OR (vendor_id = ( SELECT ph.app_vendor() AS app_vendor))));

ALTER TABLE ph.payment_hold ENABLE ROW LEVEL SECURITY;

ALTER TABLE ph.payment_hold_end ENABLE ROW LEVEL SECURITY;

CREATE POLICY payment_hold_end_insert ON ph.payment_hold_end FOR INSERT TO ph_api WITH CHECK ((studio_id = ph.app_studio()));

CREATE POLICY payment_hold_end_owner ON ph.payment_hold_end TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY payment_hold_end_read ON ph.payment_hold_end FOR SELECT TO ph_api USING (((studio_id = ( SELECT ph.app_studio() AS app_studio)) OR (vendor_id = ( SELECT ph.app_vendor() AS app_vendor))));

CREATE POLICY payment_hold_insert ON ph.payment_hold FOR INSERT TO ph_api WITH CHECK ((studio_id = ph.app_studio()));

CREATE POLICY payment_hold_owner ON ph.payment_hold TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY payment_hold_post ON ph.payment_hold TO ph_post USING (true) WITH CHECK (true);

CREATE POLICY payment_hold_read ON ph.payment_hold FOR SELECT TO ph_api USING (((studio_id = ( SELECT ph.app_studio() AS app_studio)) OR (vendor_id = ( SELECT ph.app_vendor() AS app_vendor))));

ALTER TABLE ph.pending_sign_off ENABLE ROW LEVEL SECURITY;

CREATE POLICY pending_sign_off_clock ON ph.pending_sign_off FOR SELECT TO ph_clock USING (true);

CREATE POLICY pending_sign_off_delete ON ph.pending_sign_off FOR DELETE TO ph_api USING (((studio_id = ( SELECT ph.app_studio() AS app_studio)) AND (by_member = ( SELECT ph.app_member() AS app_member))));

CREATE POLICY pending_sign_off_insert ON ph.pending_sign_off FOR INSERT TO ph_api WITH CHECK (((studio_id = ph.app_studio()) AND (by_member = ph.app_member())));

CREATE POLICY pending_sign_off_owner ON ph.pending_sign_off TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY pending_sign_off_read ON ph.pending_sign_off FOR SELECT TO ph_api USING ((studio_id = ( SELECT ph.app_studio() AS app_studio)));

CREATE POLICY pending_sign_off_update ON ph.pending_sign_off FOR UPDATE TO ph_api USING ((studio_id = ( SELECT ph.app_studio() AS app_studio))) WITH CHECK ((studio_id = ph.app_studio()));

ALTER TABLE ph.permission ENABLE ROW LEVEL SECURITY;

ALTER TABLE ph.permission_decision ENABLE ROW LEVEL SECURITY;

CREATE POLICY permission_decision_insert ON ph.permission_decision FOR INSERT TO ph_api WITH CHECK ((((studio_id = ph.app_studio()) AND (side = 'studio'::text)) OR ((vendor_id = ph.app_vendor()) AND (side = 'vendor'::text))));

CREATE POLICY permission_decision_owner ON ph.permission_decision TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY permission_decision_read ON ph.permission_decision FOR SELECT TO ph_api USING (((studio_id = ( SELECT ph.app_studio() AS app_studio)) OR (vendor_id = ( SELECT ph.app_vendor() AS app_vendor))));

CREATE POLICY permission_insert ON ph.permission FOR INSERT TO ph_api WITH CHECK ((((studio_id = ph.app_studio()) AND (side = 'studio'::text)) OR ((vendor_id = ph.app_vendor()) AND (side = 'vendor'::text))));

CREATE POLICY permission_owner ON ph.permission TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY permission_post ON ph.permission TO ph_post USING (true) WITH CHECK (true);

CREATE POLICY permission_read ON ph.permission FOR SELECT TO ph_api USING (((studio_id = ( SELECT ph.app_studio() AS app_studio)) OR (vendor_id = ( SELECT ph.app_vendor() AS app_vendor))));

CREATE POLICY permission_update ON ph.permission FOR UPDATE TO ph_api USING (((studio_id = ( SELECT ph.app_studio() AS app_studio)) OR (vendor_id = ( SELECT ph.app_vendor() AS app_vendor)))) WITH CHECK (((studio_id = ph.app_studio()) OR (vendor_id = ph.app_vendor())));

CREATE POLICY permission_worker ON ph.permission FOR SELECT TO ph_worker USING (true);

ALTER TABLE ph.project ENABLE ROW LEVEL SECURITY;

CREATE POLICY project_insert ON ph.project FOR INSERT TO ph_api WITH CHECK ((studio_id = ph.app_studio()));

CREATE POLICY project_owner ON ph.project TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY project_read ON ph.project FOR SELECT TO ph_api USING ((studio_id = ( SELECT ph.app_studio() AS app_studio)));

ALTER TABLE ph.prop ENABLE ROW LEVEL SECURITY;

CREATE POLICY prop_clock ON ph.prop TO ph_clock USING (true) WITH CHECK (true);

CREATE POLICY prop_insert ON ph.prop FOR INSERT TO ph_api WITH CHECK ((studio_id = ph.app_studio()));

ALTER TABLE ph.prop_line ENABLE ROW LEVEL SECURITY;

CREATE POLICY prop_line_owner ON ph.prop_line TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY prop_line_read ON ph.prop_line FOR SELECT TO ph_api USING (((studio_id = ( SELECT ph.app_studio() AS app_studio)) OR (vendor_id = ( SELECT ph.app_vendor() AS app_vendor))));

CREATE POLICY prop_owner ON ph.prop TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY prop_post ON ph.prop TO ph_post USING (true) WITH CHECK (true);

CREATE POLICY prop_read ON ph.prop FOR SELECT TO ph_api USING (((studio_id = ( SELECT ph.app_studio() AS app_studio)) OR (vendor_id = ( SELECT ph.app_vendor() AS app_vendor))));

CREATE POLICY prop_update ON ph.prop FOR UPDATE TO ph_api USING (((studio_id = ( SELECT ph.app_studio() AS app_studio)) OR (vendor_id = ( SELECT ph.app_vendor() AS app_vendor)))) WITH CHECK (((studio_id = ph.app_studio()) OR (vendor_id = ph.app_vendor())));

CREATE POLICY prop_worker ON ph.prop TO ph_worker USING (true) WITH CHECK (true);

ALTER TABLE ph.provider ENABLE ROW LEVEL SECURITY;

CREATE POLICY provider_own ON ph.provider TO ph_api USING ((party_id = ( SELECT ph.app_party() AS app_party))) WITH CHECK ((party_id = ph.app_party()));

CREATE POLICY provider_owner ON ph.provider TO ph_owner USING (true) WITH CHECK (true);

ALTER TABLE ph.question ENABLE ROW LEVEL SECURITY;

CREATE POLICY question_insert ON ph.question FOR INSERT TO ph_api WITH CHECK ((vendor_id = ph.app_vendor()));

ALTER TABLE ph.question_message ENABLE ROW LEVEL SECURITY;

CREATE POLICY question_message_insert ON ph.question_message FOR INSERT TO ph_api WITH CHECK ((((studio_id = ph.app_studio()) AND (side = 'studio'::text)) OR ((vendor_id = ph.app_vendor()) AND (side = 'vendor'::text))));

CREATE POLICY question_message_owner ON ph.question_message TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY question_message_read ON ph.question_message FOR SELECT TO ph_api USING (((studio_id = ( SELECT ph.app_studio() AS app_studio)) OR (vendor_id = ( SELECT ph.app_vendor() AS app_vendor))));

CREATE POLICY question_owner ON ph.question TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY question_post ON ph.question TO ph_post USING (true) WITH CHECK (true);

CREATE POLICY question_read ON ph.question FOR SELECT TO ph_api USING (((studio_id = ( SELECT ph.app_studio() AS app_studio)) OR (vendor_id = ( SELECT ph.app_vendor() AS app_vendor))));

CREATE POLICY question_update ON ph.question FOR UPDATE TO ph_api USING (((studio_id = ( SELECT ph.app_studio() AS app_studio)) OR (vendor_id = ( SELECT ph.app_vendor() AS app_vendor)))) WITH CHECK (((studio_id = ph.app_studio()) OR (vendor_id = ph.app_vendor())));

ALTER TABLE ph.quota ENABLE ROW LEVEL SECURITY;

CREATE POLICY quota_insert ON ph.quota FOR INSERT TO ph_api WITH CHECK ((studio_id = ph.app_studio()));

CREATE POLICY quota_owner ON ph.quota TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY quota_read ON ph.quota FOR SELECT TO ph_api USING (((studio_id = ( SELECT ph.app_studio() AS app_studio)) OR (vendor_id = ( SELECT ph.app_vendor() AS app_vendor))));

CREATE POLICY quota_update ON ph.quota FOR UPDATE TO ph_api USING ((studio_id = ( SELECT ph.app_studio() AS app_studio))) WITH CHECK ((studio_id = ph.app_studio()));

ALTER TABLE ph.reassignment ENABLE ROW LEVEL SECURITY;

CREATE POLICY reassignment_insert ON ph.reassignment FOR INSERT TO ph_api WITH CHECK ((studio_id = ph.app_studio()));

CREATE POLICY reassignment_owner ON ph.reassignment TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY reassignment_read ON ph.reassignment FOR SELECT TO ph_api USING ((studio_id = ( SELECT ph.app_studio() AS app_studio)));

ALTER TABLE ph.reference_ack ENABLE ROW LEVEL SECURITY;

CREATE POLICY reference_ack_insert ON ph.reference_ack FOR INSERT TO ph_api WITH CHECK ((vendor_id = ph.app_vendor()));

CREATE POLICY reference_ack_owner ON ph.reference_ack TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY reference_ack_read ON ph.reference_ack FOR SELECT TO ph_api USING (((studio_id = ( SELECT ph.app_studio() AS app_studio)) OR (vendor_id = ( SELECT ph.app_vendor() AS app_vendor))));

ALTER TABLE ph.reference_file ENABLE ROW LEVEL SECURITY;

CREATE POLICY reference_file_clock ON ph.reference_file FOR SELECT TO ph_clock USING (true);

CREATE POLICY reference_file_insert ON ph.reference_file FOR INSERT TO ph_api WITH CHECK ((studio_id = ph.app_studio()));

CREATE POLICY reference_file_owner ON ph.reference_file TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY reference_file_read ON ph.reference_file FOR SELECT TO ph_api USING (((studio_id = ( SELECT ph.app_studio() AS app_studio)) OR ((vendor_id = ( SELECT ph.app_vendor() AS app_vendor)) AND published)));

CREATE POLICY reference_file_update ON ph.reference_file FOR UPDATE TO ph_api USING ((studio_id = ( SELECT ph.app_studio() AS app_studio))) WITH CHECK ((studio_id = ph.app_studio()));

ALTER TABLE ph.reference_pack ENABLE ROW LEVEL SECURITY;

CREATE POLICY reference_pack_insert ON ph.reference_pack FOR INSERT TO ph_api WITH CHECK ((studio_id = ph.app_studio()));

CREATE POLICY reference_pack_owner ON ph.reference_pack TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY reference_pack_read ON ph.reference_pack FOR SELECT TO ph_api USING (((studio_id = ( SELECT ph.app_studio() AS app_studio)) OR ((vendor_id = ( SELECT ph.app_vendor() AS app_vendor)) AND (published_at IS NOT NULL))));

CREATE POLICY reference_pack_update ON ph.reference_pack FOR UPDATE TO ph_api USING ((studio_id = ( SELECT ph.app_studio() AS app_studio))) WITH CHECK ((studio_id = ph.app_studio()));

ALTER TABLE ph.reminder ENABLE ROW LEVEL SECURITY;

CREATE POLICY reminder_clock ON ph.reminder TO ph_clock USING (true) WITH CHECK (true);

CREATE POLICY reminder_owner ON ph.reminder TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY reminder_read ON ph.reminder FOR SELECT TO ph_api USING (((studio_id = ( SELECT ph.app_studio() AS app_studio)) OR (vendor_id = ( SELECT ph.app_vendor() AS app_vendor))));

ALTER TABLE ph.removal ENABLE ROW LEVEL SECURITY;

CREATE POLICY removal_clock ON ph.removal TO ph_clock USING (true) WITH CHECK (true);

ALTER TABLE ph.removal_file ENABLE ROW LEVEL SECURITY;

CREATE POLICY removal_file_clock ON ph.removal_file TO ph_clock USING (true) WITH CHECK (true);

CREATE POLICY removal_file_owner ON ph.removal_file TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY removal_file_read ON ph.removal_file FOR SELECT TO ph_api USING (((studio_id = ( SELECT ph.app_studio() AS app_studio)) OR (vendor_id = ( SELECT ph.app_vendor() AS app_vendor))));

CREATE POLICY removal_owner ON ph.removal TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY removal_read ON ph.removal FOR SELECT TO ph_api USING (((studio_id = ( SELECT ph.app_studio() AS app_studio)) OR (vendor_id = ( SELECT ph.app_vendor() AS app_vendor))));

ALTER TABLE ph.retention ENABLE ROW LEVEL SECURITY;

CREATE POLICY retention_clock ON ph.retention TO ph_clock USING (true) WITH CHECK (true);

CREATE POLICY retention_insert ON ph.retention FOR INSERT TO ph_api WITH CHECK ((studio_id = ( SELECT ph.app_studio() AS app_studio)));

CREATE POLICY retention_owner ON ph.retention TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY retention_read ON ph.retention FOR SELECT TO ph_api USING (((studio_id = ( SELECT ph.app_studio() AS app_studio)) OR (vendor_id = ( SELECT ph.app_vendor() AS app_vendor))));

ALTER TABLE ph.saved_note ENABLE ROW LEVEL SECURITY;

CREATE POLICY saved_note_delete ON ph.saved_note FOR DELETE TO ph_api USING ((studio_id = ( SELECT ph.app_studio() AS app_studio)));

CREATE POLICY saved_note_insert ON ph.saved_note FOR INSERT TO ph_api WITH CHECK (((studio_id = ph.app_studio()) AND (by_member = ph.app_member())));

CREATE POLICY saved_note_owner ON ph.saved_note TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY saved_note_read ON ph.saved_note FOR SELECT TO ph_api USING ((studio_id = ( SELECT ph.app_studio() AS app_studio)));

ALTER TABLE ph.saved_view ENABLE ROW LEVEL SECURITY;

CREATE POLICY saved_view_own ON ph.saved_view TO ph_api USING (((party_id = ( SELECT ph.app_party() AS app_party)) AND (member_id = ( SELECT ph.app_member() AS app_member)))) WITH CHECK (((party_id = ph.app_party()) AND (member_id = ph.app_member())));

CREATE POLICY saved_view_owner ON ph.saved_view TO ph_owner USING (true) WITH CHECK (true);

ALTER TABLE ph.session ENABLE ROW LEVEL SECURITY;

CREATE POLICY session_own ON ph.session TO ph_api USING (((party_id = ( SELECT ph.app_party() AS app_party)) AND (member_id = ( SELECT ph.app_member() AS app_member)))) WITH CHECK (((party_id = ph.app_party()) AND (member_id = ph.app_member())));

CREATE POLICY session_owner ON ph.session TO ph_owner USING (true) WITH CHECK (true);

ALTER TABLE ph.set_use ENABLE ROW LEVEL SECURITY;

CREATE POLICY set_use_insert ON ph.set_use FOR INSERT TO ph_api WITH CHECK ((((studio_id = ph.app_studio()) AND (side = 'studio'::text)) OR ((vendor_id = ph.app_vendor()) AND (side = 'vendor'::text))));

CREATE POLICY set_use_owner ON ph.set_use TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY set_use_read ON ph.set_use FOR SELECT TO ph_api USING (((studio_id = ( SELECT ph.app_studio() AS app_studio)) OR (vendor_id = ( SELECT ph.app_vendor() AS app_vendor))));

ALTER TABLE ph.sign_in ENABLE ROW LEVEL SECURITY;

CREATE POLICY sign_in_owner ON ph.sign_in TO ph_owner USING (true) WITH CHECK (true);

ALTER TABLE ph.sign_off ENABLE ROW LEVEL SECURITY;

CREATE POLICY sign_off_clock ON ph.sign_off TO ph_clock USING (true) WITH CHECK (true);

CREATE POLICY sign_off_insert ON ph.sign_off FOR INSERT TO ph_api WITH CHECK ((studio_id = ph.app_studio()));

CREATE POLICY sign_off_owner ON ph.sign_off TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY sign_off_read ON ph.sign_off FOR SELECT TO ph_api USING (((studio_id = ( SELECT ph.app_studio() AS app_studio)) OR (vendor_id = ( SELECT ph.app_vendor() AS app_vendor))));

ALTER TABLE ph.spec_ack ENABLE ROW LEVEL SECURITY;

CREATE POLICY spec_ack_insert ON ph.spec_ack FOR INSERT TO ph_api WITH CHECK ((vendor_id = ph.app_vendor()));

CREATE POLICY spec_ack_owner ON ph.spec_ack TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY spec_ack_read ON ph.spec_ack FOR SELECT TO ph_api USING (((studio_id = ( SELECT ph.app_studio() AS app_studio)) OR (vendor_id = ( SELECT ph.app_vendor() AS app_vendor))));

ALTER TABLE ph.spec_revision ENABLE ROW LEVEL SECURITY;

CREATE POLICY spec_revision_insert ON ph.spec_revision FOR INSERT TO ph_api WITH CHECK ((studio_id = ph.app_studio()));

CREATE POLICY spec_revision_owner ON ph.spec_revision TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY spec_revision_read ON ph.spec_revision FOR SELECT TO ph_api USING (((studio_id = ( SELECT ph.app_studio() AS app_studio)) OR (vendor_id = ( SELECT ph.app_vendor() AS app_vendor))));

CREATE POLICY spec_revision_worker ON ph.spec_revision TO ph_worker USING (true) WITH CHECK (true);

ALTER TABLE ph.stored ENABLE ROW LEVEL SECURITY;

CREATE POLICY stored_owner ON ph.stored TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY stored_read ON ph.stored FOR SELECT TO ph_api USING (((studio_id = ( SELECT ph.app_studio() AS app_studio)) OR (vendor_id = ( SELECT ph.app_vendor() AS app_vendor))));

ALTER TABLE ph.token ENABLE ROW LEVEL SECURITY;

CREATE POLICY token_own ON ph.token TO ph_api USING (((party_id = ( SELECT ph.app_party() AS app_party)) AND (member_id = ( SELECT ph.app_member() AS app_member)))) WITH CHECK (((party_id = ph.app_party()) AND (member_id = ph.app_member())));

CREATE POLICY token_owner ON ph.token TO ph_owner USING (true) WITH CHECK (true);

ALTER TABLE ph.turn ENABLE ROW LEVEL SECURITY;

CREATE POLICY turn_owner ON ph.turn TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY turn_worker ON ph.turn TO ph_worker USING (true) WITH CHECK (true);

ALTER TABLE ph.work_order ENABLE ROW LEVEL SECURITY;

CREATE POLICY work_order_clock ON ph.work_order TO ph_clock USING (true) WITH CHECK (true);

CREATE POLICY work_order_insert ON ph.work_order FOR INSERT TO ph_api WITH CHECK ((studio_id = ph.app_studio()));

CREATE POLICY work_order_owner ON ph.work_order TO ph_owner USING (true) WITH CHECK (true);

CREATE POLICY work_order_post ON ph.work_order TO ph_post USING (true) WITH CHECK (true);

CREATE POLICY work_order_read ON ph.work_order FOR SELECT TO ph_api USING (((studio_id = ( SELECT ph.app_studio() AS app_studio)) OR (vendor_id = ( SELECT ph.app_vendor() AS app_vendor))));

CREATE POLICY work_order_worker ON ph.work_order FOR SELECT TO ph_worker USING (true);

GRANT USAGE ON SCHEMA ph TO ph_api;
GRANT USAGE ON SCHEMA ph TO ph_login;
GRANT USAGE ON SCHEMA ph TO ph_worker;
GRANT USAGE ON SCHEMA ph TO ph_notary;
GRANT USAGE ON SCHEMA ph TO ph_backup;
GRANT USAGE ON SCHEMA ph TO ph_clock;
GRANT USAGE ON SCHEMA ph TO ph_post;

REVOKE ALL ON FUNCTION ph.accept_invitation(the_hash bytea, new_id uuid, the_name text, the_password_hash text) FROM PUBLIC;
GRANT ALL ON FUNCTION ph.accept_invitation(the_hash bytea, new_id uuid, the_name text, the_password_hash text) TO ph_login;

REVOKE ALL ON FUNCTION ph.ask_reset(the_email text, the_id uuid, the_hash bytea) FROM PUBLIC;
GRANT ALL ON FUNCTION ph.ask_reset(the_email text, the_id uuid, the_hash bytea) TO ph_login;

REVOKE ALL ON FUNCTION ph.count_checks(the_studio uuid, the_inspection uuid) FROM PUBLIC;
GRANT ALL ON FUNCTION ph.count_checks(the_studio uuid, the_inspection uuid) TO ph_worker;

REVOKE ALL ON FUNCTION ph.count_evidence() FROM PUBLIC;

REVOKE ALL ON FUNCTION ph.count_removed() FROM PUBLIC;

REVOKE ALL ON FUNCTION ph.count_sealed() FROM PUBLIC;

REVOKE ALL ON FUNCTION ph.disable_member(the_member uuid) FROM PUBLIC;
GRANT ALL ON FUNCTION ph.disable_member(the_member uuid) TO ph_api;

REVOKE ALL ON FUNCTION ph.end_password_sessions() FROM PUBLIC;
GRANT ALL ON FUNCTION ph.end_password_sessions() TO ph_api;

REVOKE ALL ON FUNCTION ph.erase_member(the_member uuid) FROM PUBLIC;
GRANT ALL ON FUNCTION ph.erase_member(the_member uuid) TO ph_api;

REVOKE ALL ON FUNCTION ph.finish_reset(the_hash bytea, the_password text) FROM PUBLIC;
GRANT ALL ON FUNCTION ph.finish_reset(the_hash bytea, the_password text) TO ph_login;

REVOKE ALL ON FUNCTION ph.forget_access() FROM PUBLIC;

REVOKE ALL ON FUNCTION ph.forget_doors() FROM PUBLIC;

REVOKE ALL ON FUNCTION ph.invitation_late(the_hash bytea) FROM PUBLIC;
GRANT ALL ON FUNCTION ph.invitation_late(the_hash bytea) TO ph_login;

REVOKE ALL ON FUNCTION ph.login_attempt(the_key bytea, every interval, burst integer) FROM PUBLIC;
GRANT ALL ON FUNCTION ph.login_attempt(the_key bytea, every interval, burst integer) TO ph_login;

REVOKE ALL ON FUNCTION ph.login_device(the_email text, the_hash bytea) FROM PUBLIC;
GRANT ALL ON FUNCTION ph.login_device(the_email text, the_hash bytea) TO ph_login;

REVOKE ALL ON FUNCTION ph.login_device_of(the_party uuid, the_member uuid, the_hash bytea) FROM PUBLIC;
GRANT ALL ON FUNCTION ph.login_device_of(the_party uuid, the_member uuid, the_hash bytea) TO ph_login;

REVOKE ALL ON FUNCTION ph.login_failed(the_email text, the_act text, the_address text) FROM PUBLIC;
GRANT ALL ON FUNCTION ph.login_failed(the_email text, the_act text, the_address text) TO ph_login;

REVOKE ALL ON FUNCTION ph.login_identity(the_provider uuid, the_issuer text, the_subject text, the_email text, the_name text, the_invitation bytea, new_id uuid) FROM PUBLIC;
GRANT ALL ON FUNCTION ph.login_identity(the_provider uuid, the_issuer text, the_subject text, the_email text, the_name text, the_invitation bytea, new_id uuid) TO ph_login;

REVOKE ALL ON FUNCTION ph.login_invitation(the_hash bytea) FROM PUBLIC;
GRANT ALL ON FUNCTION ph.login_invitation(the_hash bytea) TO ph_login;

REVOKE ALL ON FUNCTION ph.login_password(the_email text) FROM PUBLIC;
GRANT ALL ON FUNCTION ph.login_password(the_email text) TO ph_login;

REVOKE ALL ON FUNCTION ph.login_provider(the_id uuid) FROM PUBLIC;
GRANT ALL ON FUNCTION ph.login_provider(the_id uuid) TO ph_login;

REVOKE ALL ON FUNCTION ph.login_reader(the_party uuid, the_member uuid) FROM PUBLIC;
GRANT ALL ON FUNCTION ph.login_reader(the_party uuid, the_member uuid) TO ph_login;

REVOKE ALL ON FUNCTION ph.login_session(the_hash bytea) FROM PUBLIC;
GRANT ALL ON FUNCTION ph.login_session(the_hash bytea) TO ph_login;

REVOKE ALL ON FUNCTION ph.login_token(the_hash bytea) FROM PUBLIC;
GRANT ALL ON FUNCTION ph.login_token(the_hash bytea) TO ph_login;

REVOKE ALL ON FUNCTION ph.mail_invitation(the_invitation uuid, the_mail uuid) FROM PUBLIC;
GRANT ALL ON FUNCTION ph.mail_invitation(the_invitation uuid, the_mail uuid) TO ph_api;

REVOKE ALL ON FUNCTION ph.mail_locked(the_email text, the_mail uuid) FROM PUBLIC;
GRANT ALL ON FUNCTION ph.mail_locked(the_email text, the_mail uuid) TO ph_login;

REVOKE ALL ON FUNCTION ph.mail_reader(the_party uuid, the_member uuid) FROM PUBLIC;
GRANT ALL ON FUNCTION ph.mail_reader(the_party uuid, the_member uuid) TO ph_post;

REVOKE ALL ON FUNCTION ph.make_finding_partitions(from_year integer, to_year integer) FROM PUBLIC;

GRANT ALL ON FUNCTION ph.oldest_program() TO ph_api;
GRANT ALL ON FUNCTION ph.oldest_program() TO ph_login;
GRANT ALL ON FUNCTION ph.oldest_program() TO ph_worker;
GRANT ALL ON FUNCTION ph.oldest_program() TO ph_notary;
GRANT ALL ON FUNCTION ph.oldest_program() TO ph_clock;

REVOKE ALL ON FUNCTION ph.own_password_hash() FROM PUBLIC;
GRANT ALL ON FUNCTION ph.own_password_hash() TO ph_api;

REVOKE ALL ON FUNCTION ph.proved_session(the_hash bytea) FROM PUBLIC;
GRANT ALL ON FUNCTION ph.proved_session(the_hash bytea) TO ph_login;

REVOKE ALL ON FUNCTION ph.reset_stands(the_hash bytea) FROM PUBLIC;
GRANT ALL ON FUNCTION ph.reset_stands(the_hash bytea) TO ph_login;

REVOKE ALL ON FUNCTION ph.rotate_hook(the_hook uuid, the_secret bytea, the_overlap interval) FROM PUBLIC;
GRANT ALL ON FUNCTION ph.rotate_hook(the_hook uuid, the_secret bytea, the_overlap interval) TO ph_api;

REVOKE ALL ON FUNCTION ph.sign_in_begin(the_provider uuid, the_state bytea, the_browser bytea, the_nonce text, the_verifier text, the_next text, the_invitation bytea) FROM PUBLIC;
GRANT ALL ON FUNCTION ph.sign_in_begin(the_provider uuid, the_state bytea, the_browser bytea, the_nonce text, the_verifier text, the_next text, the_invitation bytea) TO ph_login;

REVOKE ALL ON FUNCTION ph.sign_in_take(the_provider uuid, the_state bytea, the_browser bytea) FROM PUBLIC;
GRANT ALL ON FUNCTION ph.sign_in_take(the_provider uuid, the_state bytea, the_browser bytea) TO ph_login;

REVOKE ALL ON FUNCTION ph.stop_mail(the_member uuid) FROM PUBLIC;
GRANT ALL ON FUNCTION ph.stop_mail(the_member uuid) TO ph_login;

REVOKE ALL ON FUNCTION ph.sweep_access() FROM PUBLIC;
GRANT ALL ON FUNCTION ph.sweep_access() TO ph_api;

REVOKE ALL ON FUNCTION ph.sweep_idempotency() FROM PUBLIC;
GRANT ALL ON FUNCTION ph.sweep_idempotency() TO ph_api;

REVOKE ALL ON FUNCTION ph.tell_of_door() FROM PUBLIC;

REVOKE ALL ON FUNCTION ph.vendor_day(the_studio uuid, the_order uuid, the_time timestamp with time zone) FROM PUBLIC;

REVOKE ALL ON FUNCTION ph.vendor_has_members(the_vendor uuid) FROM PUBLIC;
GRANT ALL ON FUNCTION ph.vendor_has_members(the_vendor uuid) TO ph_api;

REVOKE ALL ON FUNCTION ph.waiting_since(the_studio uuid, the_prop uuid, from_when timestamp with time zone) FROM PUBLIC;
GRANT ALL ON FUNCTION ph.waiting_since(the_studio uuid, the_prop uuid, from_when timestamp with time zone) TO ph_api;
GRANT ALL ON FUNCTION ph.waiting_since(the_studio uuid, the_prop uuid, from_when timestamp with time zone) TO ph_worker;
GRANT ALL ON FUNCTION ph.waiting_since(the_studio uuid, the_prop uuid, from_when timestamp with time zone) TO ph_clock;

REVOKE ALL ON FUNCTION ph.write_lines(the_studio uuid, the_props uuid[]) FROM PUBLIC;

GRANT SELECT,INSERT ON TABLE ph.access TO ph_api;
GRANT SELECT ON TABLE ph.access TO ph_backup;

GRANT SELECT ON TABLE ph.anchor TO ph_api;
GRANT SELECT ON TABLE ph.anchor TO ph_backup;
GRANT SELECT,INSERT ON TABLE ph.anchor TO ph_notary;

GRANT SELECT ON TABLE ph.attempt TO ph_backup;

GRANT SELECT,INSERT ON TABLE ph.batch TO ph_api;
GRANT SELECT ON TABLE ph.batch TO ph_backup;

GRANT UPDATE(sealed_at) ON TABLE ph.batch TO ph_api;

GRANT SELECT,INSERT ON TABLE ph.calendar TO ph_api;
GRANT SELECT ON TABLE ph.calendar TO ph_backup;

GRANT SELECT(party_id) ON TABLE ph.calendar TO ph_post;

GRANT SELECT(number) ON TABLE ph.calendar TO ph_post;

GRANT SELECT(time_zone) ON TABLE ph.calendar TO ph_post;

GRANT SELECT,INSERT ON TABLE ph.cancellation TO ph_api;
GRANT SELECT ON TABLE ph.cancellation TO ph_backup;

GRANT SELECT,INSERT ON TABLE ph.capacity TO ph_api;
GRANT SELECT ON TABLE ph.capacity TO ph_backup;

GRANT UPDATE(slots) ON TABLE ph.capacity TO ph_api;

GRANT UPDATE(by_member) ON TABLE ph.capacity TO ph_api;

GRANT UPDATE(by_name) ON TABLE ph.capacity TO ph_api;

GRANT UPDATE(at) ON TABLE ph.capacity TO ph_api;

GRANT SELECT,INSERT ON TABLE ph.change_order TO ph_api;
GRANT SELECT ON TABLE ph.change_order TO ph_backup;

GRANT UPDATE(state) ON TABLE ph.change_order TO ph_api;

GRANT UPDATE(last_event) ON TABLE ph.change_order TO ph_api;

GRANT UPDATE(decided_by) ON TABLE ph.change_order TO ph_api;

GRANT UPDATE(decided_reason) ON TABLE ph.change_order TO ph_api;

GRANT SELECT ON TABLE ph.check_count TO ph_api;
GRANT SELECT ON TABLE ph.check_count TO ph_backup;

GRANT SELECT ON TABLE ph.checkpoint TO ph_api;
GRANT SELECT ON TABLE ph.checkpoint TO ph_backup;
GRANT SELECT,INSERT ON TABLE ph.checkpoint TO ph_notary;

GRANT SELECT,INSERT ON TABLE ph.concession TO ph_api;
GRANT SELECT ON TABLE ph.concession TO ph_backup;

GRANT SELECT,INSERT ON TABLE ph.delivery TO ph_api;
GRANT SELECT ON TABLE ph.delivery TO ph_backup;
GRANT SELECT ON TABLE ph.delivery TO ph_clock;

GRANT SELECT(studio_id) ON TABLE ph.delivery TO ph_worker;
GRANT SELECT(studio_id) ON TABLE ph.delivery TO ph_post;

GRANT SELECT(vendor_id) ON TABLE ph.delivery TO ph_worker;
GRANT SELECT(vendor_id) ON TABLE ph.delivery TO ph_post;

GRANT SELECT(work_order_id) ON TABLE ph.delivery TO ph_worker;
GRANT SELECT(work_order_id) ON TABLE ph.delivery TO ph_post;

GRANT SELECT(prop_id) ON TABLE ph.delivery TO ph_worker;
GRANT SELECT(prop_id) ON TABLE ph.delivery TO ph_post;

GRANT SELECT(milestone_id) ON TABLE ph.delivery TO ph_worker;
GRANT SELECT(milestone_id) ON TABLE ph.delivery TO ph_post;

GRANT SELECT(id) ON TABLE ph.delivery TO ph_worker;
GRANT SELECT(id) ON TABLE ph.delivery TO ph_post;

GRANT SELECT(number) ON TABLE ph.delivery TO ph_worker;
GRANT SELECT(number) ON TABLE ph.delivery TO ph_post;

GRANT UPDATE(state) ON TABLE ph.delivery TO ph_api;
GRANT SELECT(state) ON TABLE ph.delivery TO ph_worker;
GRANT UPDATE(state) ON TABLE ph.delivery TO ph_clock;

GRANT SELECT(manifest_sha256) ON TABLE ph.delivery TO ph_worker;

GRANT SELECT(spec_revision_id) ON TABLE ph.delivery TO ph_worker;

GRANT SELECT(files) ON TABLE ph.delivery TO ph_worker;

GRANT SELECT(bytes) ON TABLE ph.delivery TO ph_worker;

GRANT SELECT(opened_by) ON TABLE ph.delivery TO ph_post;

GRANT SELECT(opened_at) ON TABLE ph.delivery TO ph_worker;

GRANT UPDATE(sealing_at) ON TABLE ph.delivery TO ph_api;

GRANT UPDATE(sealed_at) ON TABLE ph.delivery TO ph_api;
GRANT SELECT(sealed_at) ON TABLE ph.delivery TO ph_worker;

GRANT UPDATE(sealed_by) ON TABLE ph.delivery TO ph_api;
GRANT SELECT(sealed_by) ON TABLE ph.delivery TO ph_post;

GRANT UPDATE(abandoned_at) ON TABLE ph.delivery TO ph_api;
GRANT UPDATE(abandoned_at) ON TABLE ph.delivery TO ph_clock;

GRANT UPDATE(abandoned_by) ON TABLE ph.delivery TO ph_api;

GRANT UPDATE(round_cause) ON TABLE ph.delivery TO ph_api;

GRANT SELECT(batch_id) ON TABLE ph.delivery TO ph_post;

GRANT UPDATE(swept_at) ON TABLE ph.delivery TO ph_clock;

GRANT SELECT,INSERT ON TABLE ph.deputy TO ph_api;
GRANT SELECT ON TABLE ph.deputy TO ph_backup;

GRANT SELECT ON TABLE ph.device TO ph_backup;
GRANT INSERT ON TABLE ph.device TO ph_api;

GRANT SELECT(party_id) ON TABLE ph.device TO ph_api;

GRANT SELECT(member_id) ON TABLE ph.device TO ph_api;

GRANT SELECT(id) ON TABLE ph.device TO ph_api;

GRANT SELECT(created_at) ON TABLE ph.device TO ph_api;

GRANT SELECT(ended_at),UPDATE(ended_at) ON TABLE ph.device TO ph_api;

GRANT SELECT ON TABLE ph.due_told TO ph_backup;
GRANT SELECT,INSERT ON TABLE ph.due_told TO ph_post;

GRANT SELECT,INSERT ON TABLE ph.engagement TO ph_api;
GRANT SELECT ON TABLE ph.engagement TO ph_backup;

GRANT SELECT,INSERT ON TABLE ph.erasure TO ph_api;
GRANT SELECT ON TABLE ph.erasure TO ph_backup;

GRANT SELECT ON TABLE ph.evidence TO ph_api;
GRANT SELECT ON TABLE ph.evidence TO ph_backup;
GRANT SELECT,INSERT ON TABLE ph.evidence TO ph_worker;

GRANT SELECT(studio_id) ON TABLE ph.evidence TO ph_clock;

GRANT SELECT(work_order_id) ON TABLE ph.evidence TO ph_clock;

GRANT SELECT(inspection_id) ON TABLE ph.evidence TO ph_clock;

GRANT SELECT(object_key) ON TABLE ph.evidence TO ph_clock;

GRANT SELECT(size) ON TABLE ph.evidence TO ph_clock;

GRANT SELECT,INSERT ON TABLE ph.fact TO ph_api;
GRANT SELECT ON TABLE ph.fact TO ph_backup;
GRANT INSERT ON TABLE ph.fact TO ph_worker;
GRANT SELECT,INSERT ON TABLE ph.fact TO ph_clock;

GRANT SELECT(studio_id) ON TABLE ph.fact TO ph_post;

GRANT SELECT(vendor_id) ON TABLE ph.fact TO ph_post;

GRANT SELECT(log_id) ON TABLE ph.fact TO ph_post;

GRANT SELECT(idx) ON TABLE ph.fact TO ph_post;

GRANT SELECT(kind) ON TABLE ph.fact TO ph_post;

GRANT SELECT(version) ON TABLE ph.fact TO ph_post;

GRANT SELECT(subject_id) ON TABLE ph.fact TO ph_post;

GRANT SELECT(actor) ON TABLE ph.fact TO ph_post;

GRANT SELECT(member_id) ON TABLE ph.fact TO ph_post;

GRANT SELECT(recorded_at) ON TABLE ph.fact TO ph_post;

GRANT SELECT(body) ON TABLE ph.fact TO ph_post;

GRANT SELECT,INSERT ON TABLE ph.fact_person TO ph_api;
GRANT SELECT ON TABLE ph.fact_person TO ph_backup;

GRANT SELECT ON TABLE ph.feed TO ph_backup;
GRANT SELECT,INSERT,UPDATE ON TABLE ph.feed TO ph_post;

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
GRANT SELECT ON TABLE ph.goose_db_version TO ph_post;

GRANT SELECT ON SEQUENCE ph.goose_db_version_id_seq TO ph_backup;

GRANT SELECT,INSERT ON TABLE ph.handover TO ph_api;
GRANT SELECT ON TABLE ph.handover TO ph_backup;

GRANT SELECT,INSERT ON TABLE ph.handover_file TO ph_api;
GRANT SELECT ON TABLE ph.handover_file TO ph_backup;

GRANT SELECT,INSERT ON TABLE ph.hold TO ph_api;
GRANT SELECT ON TABLE ph.hold TO ph_backup;

GRANT SELECT ON TABLE ph.hook TO ph_backup;
GRANT SELECT ON TABLE ph.hook TO ph_post;
GRANT INSERT ON TABLE ph.hook TO ph_api;

GRANT SELECT(party_id) ON TABLE ph.hook TO ph_api;

GRANT SELECT(id) ON TABLE ph.hook TO ph_api;

GRANT SELECT(url),UPDATE(url) ON TABLE ph.hook TO ph_api;

GRANT SELECT(kinds),UPDATE(kinds) ON TABLE ph.hook TO ph_api;

GRANT SELECT(previous_until) ON TABLE ph.hook TO ph_api;

GRANT SELECT(made_by) ON TABLE ph.hook TO ph_api;

GRANT SELECT(created_at) ON TABLE ph.hook TO ph_api;

GRANT UPDATE(failing_since) ON TABLE ph.hook TO ph_post;
GRANT SELECT(failing_since),UPDATE(failing_since) ON TABLE ph.hook TO ph_api;

GRANT UPDATE(disabled_at) ON TABLE ph.hook TO ph_post;
GRANT SELECT(disabled_at),UPDATE(disabled_at) ON TABLE ph.hook TO ph_api;

GRANT UPDATE(disabled_why) ON TABLE ph.hook TO ph_post;
GRANT SELECT(disabled_why),UPDATE(disabled_why) ON TABLE ph.hook TO ph_api;

GRANT SELECT(removed_at),UPDATE(removed_at) ON TABLE ph.hook TO ph_api;

GRANT SELECT ON TABLE ph.hook_attempt TO ph_backup;
GRANT SELECT,INSERT ON TABLE ph.hook_attempt TO ph_post;
GRANT SELECT ON TABLE ph.hook_attempt TO ph_api;

GRANT SELECT ON TABLE ph.hook_send TO ph_backup;
GRANT SELECT,INSERT,DELETE,UPDATE ON TABLE ph.hook_send TO ph_post;
GRANT SELECT,INSERT ON TABLE ph.hook_send TO ph_api;

GRANT UPDATE(state) ON TABLE ph.hook_send TO ph_api;

GRANT UPDATE(tries) ON TABLE ph.hook_send TO ph_api;

GRANT UPDATE(next_at) ON TABLE ph.hook_send TO ph_api;

GRANT UPDATE(claimed_until) ON TABLE ph.hook_send TO ph_api;

GRANT UPDATE(done_at) ON TABLE ph.hook_send TO ph_api;

GRANT SELECT ON TABLE ph.house_hash TO ph_api;
GRANT SELECT ON TABLE ph.house_hash TO ph_backup;
GRANT SELECT,INSERT ON TABLE ph.house_hash TO ph_notary;

GRANT SELECT ON TABLE ph.house_leaf TO ph_backup;
GRANT SELECT,INSERT ON TABLE ph.house_leaf TO ph_notary;

GRANT SELECT ON TABLE ph.idempotency TO ph_backup;
GRANT SELECT,INSERT ON TABLE ph.idempotency TO ph_api;

GRANT SELECT ON TABLE ph.identity TO ph_backup;

GRANT SELECT(party_id) ON TABLE ph.identity TO ph_api;

GRANT SELECT(member_id) ON TABLE ph.identity TO ph_api;

GRANT SELECT(issuer) ON TABLE ph.identity TO ph_api;

GRANT SELECT(created_at) ON TABLE ph.identity TO ph_api;

GRANT SELECT(last_used_at) ON TABLE ph.identity TO ph_api;

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

GRANT SELECT(trace) ON TABLE ph.inspection TO ph_worker;

GRANT SELECT(first_issue),UPDATE(first_issue) ON TABLE ph.inspection TO ph_worker;

GRANT SELECT ON TABLE ph.invitation TO ph_backup;
GRANT INSERT ON TABLE ph.invitation TO ph_api;

GRANT SELECT(party_id) ON TABLE ph.invitation TO ph_api;
GRANT SELECT(party_id) ON TABLE ph.invitation TO ph_post;

GRANT SELECT(id) ON TABLE ph.invitation TO ph_api;
GRANT SELECT(id) ON TABLE ph.invitation TO ph_post;

GRANT SELECT(side) ON TABLE ph.invitation TO ph_api;
GRANT SELECT(side) ON TABLE ph.invitation TO ph_post;

GRANT SELECT(engaged_by) ON TABLE ph.invitation TO ph_api;

GRANT SELECT(email) ON TABLE ph.invitation TO ph_api;
GRANT SELECT(email) ON TABLE ph.invitation TO ph_post;

GRANT SELECT(roles) ON TABLE ph.invitation TO ph_api;
GRANT SELECT(roles) ON TABLE ph.invitation TO ph_post;

GRANT SELECT(created_at) ON TABLE ph.invitation TO ph_api;

GRANT SELECT(created_by) ON TABLE ph.invitation TO ph_api;

GRANT SELECT(expires_at) ON TABLE ph.invitation TO ph_api;
GRANT SELECT(expires_at) ON TABLE ph.invitation TO ph_post;

GRANT SELECT(accepted_at) ON TABLE ph.invitation TO ph_api;
GRANT SELECT(accepted_at) ON TABLE ph.invitation TO ph_post;

GRANT SELECT,INSERT ON TABLE ph.log TO ph_api;
GRANT SELECT ON TABLE ph.log TO ph_backup;
GRANT SELECT ON TABLE ph.log TO ph_worker;
GRANT SELECT ON TABLE ph.log TO ph_notary;
GRANT SELECT ON TABLE ph.log TO ph_clock;

GRANT SELECT(studio_id) ON TABLE ph.log TO ph_post;

GRANT SELECT(vendor_id) ON TABLE ph.log TO ph_post;

GRANT SELECT(id) ON TABLE ph.log TO ph_post;

GRANT UPDATE(size) ON TABLE ph.log TO ph_api;
GRANT UPDATE(size) ON TABLE ph.log TO ph_worker;
GRANT UPDATE(size) ON TABLE ph.log TO ph_clock;
GRANT SELECT(size) ON TABLE ph.log TO ph_post;

GRANT UPDATE(root) ON TABLE ph.log TO ph_api;
GRANT UPDATE(root) ON TABLE ph.log TO ph_worker;
GRANT UPDATE(root) ON TABLE ph.log TO ph_clock;

GRANT UPDATE(anchored_size) ON TABLE ph.log TO ph_notary;

GRANT UPDATE(frontier) ON TABLE ph.log TO ph_api;
GRANT UPDATE(frontier) ON TABLE ph.log TO ph_worker;
GRANT UPDATE(frontier) ON TABLE ph.log TO ph_clock;

GRANT SELECT(told_size),UPDATE(told_size) ON TABLE ph.log TO ph_post;

GRANT SELECT,INSERT ON TABLE ph.log_hash TO ph_api;
GRANT SELECT ON TABLE ph.log_hash TO ph_backup;
GRANT SELECT,INSERT ON TABLE ph.log_hash TO ph_worker;
GRANT SELECT,INSERT ON TABLE ph.log_hash TO ph_clock;

GRANT SELECT ON TABLE ph.mail TO ph_backup;
GRANT SELECT,INSERT,DELETE,UPDATE ON TABLE ph.mail TO ph_post;

GRANT SELECT ON TABLE ph.mail_choice TO ph_backup;
GRANT SELECT ON TABLE ph.mail_choice TO ph_post;
GRANT SELECT,INSERT,UPDATE ON TABLE ph.mail_choice TO ph_api;

GRANT SELECT ON TABLE ph.mail_day TO ph_backup;
GRANT SELECT,INSERT,DELETE ON TABLE ph.mail_day TO ph_post;

GRANT SELECT,INSERT ON TABLE ph.maintenance TO ph_api;
GRANT SELECT ON TABLE ph.maintenance TO ph_backup;

GRANT SELECT ON TABLE ph.member TO ph_backup;

GRANT SELECT(party_id) ON TABLE ph.member TO ph_api;
GRANT SELECT(party_id) ON TABLE ph.member TO ph_post;

GRANT SELECT(id) ON TABLE ph.member TO ph_api;
GRANT SELECT(id) ON TABLE ph.member TO ph_post;

GRANT SELECT(side) ON TABLE ph.member TO ph_api;
GRANT SELECT(side) ON TABLE ph.member TO ph_post;

GRANT SELECT(name) ON TABLE ph.member TO ph_api;
GRANT SELECT(name) ON TABLE ph.member TO ph_post;

GRANT SELECT(email) ON TABLE ph.member TO ph_api;
GRANT SELECT(email) ON TABLE ph.member TO ph_post;

GRANT UPDATE(password_hash) ON TABLE ph.member TO ph_api;

GRANT SELECT(roles) ON TABLE ph.member TO ph_api;
GRANT SELECT(roles) ON TABLE ph.member TO ph_post;

GRANT SELECT(created_at) ON TABLE ph.member TO ph_api;

GRANT SELECT(disabled_at) ON TABLE ph.member TO ph_api;
GRANT SELECT(disabled_at) ON TABLE ph.member TO ph_post;

GRANT SELECT(language),UPDATE(language) ON TABLE ph.member TO ph_api;

GRANT SELECT(time_zone),UPDATE(time_zone) ON TABLE ph.member TO ph_api;

GRANT SELECT,INSERT ON TABLE ph.milestone TO ph_api;
GRANT SELECT ON TABLE ph.milestone TO ph_backup;
GRANT SELECT ON TABLE ph.milestone TO ph_clock;

GRANT SELECT(studio_id) ON TABLE ph.milestone TO ph_worker;
GRANT SELECT(studio_id) ON TABLE ph.milestone TO ph_post;

GRANT SELECT(vendor_id) ON TABLE ph.milestone TO ph_worker;
GRANT SELECT(vendor_id) ON TABLE ph.milestone TO ph_post;

GRANT SELECT(work_order_id) ON TABLE ph.milestone TO ph_worker;
GRANT SELECT(work_order_id) ON TABLE ph.milestone TO ph_post;

GRANT SELECT(prop_id) ON TABLE ph.milestone TO ph_worker;
GRANT SELECT(prop_id) ON TABLE ph.milestone TO ph_post;

GRANT SELECT(id) ON TABLE ph.milestone TO ph_worker;
GRANT SELECT(id) ON TABLE ph.milestone TO ph_post;

GRANT SELECT(kind) ON TABLE ph.milestone TO ph_worker;
GRANT SELECT(kind) ON TABLE ph.milestone TO ph_post;

GRANT SELECT(due_sort) ON TABLE ph.milestone TO ph_post;

GRANT UPDATE(state) ON TABLE ph.milestone TO ph_api;
GRANT SELECT(state),UPDATE(state) ON TABLE ph.milestone TO ph_worker;
GRANT UPDATE(state) ON TABLE ph.milestone TO ph_clock;
GRANT SELECT(state) ON TABLE ph.milestone TO ph_post;

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

GRANT SELECT ON TABLE ph.milestone_count TO ph_api;
GRANT SELECT ON TABLE ph.milestone_count TO ph_backup;

GRANT SELECT ON TABLE ph.move TO ph_api;
GRANT SELECT ON TABLE ph.move TO ph_backup;
GRANT SELECT ON TABLE ph.move TO ph_worker;
GRANT SELECT ON TABLE ph.move TO ph_clock;

GRANT SELECT,INSERT ON TABLE ph.nda_ack TO ph_api;
GRANT SELECT ON TABLE ph.nda_ack TO ph_backup;

GRANT SELECT ON TABLE ph.news TO ph_backup;
GRANT SELECT,INSERT,DELETE ON TABLE ph.news TO ph_post;
GRANT SELECT ON TABLE ph.news TO ph_api;

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

GRANT SELECT,INSERT ON TABLE ph.origin_declaration TO ph_api;
GRANT SELECT ON TABLE ph.origin_declaration TO ph_backup;

GRANT SELECT,INSERT,UPDATE ON TABLE ph.orphan TO ph_clock;
GRANT SELECT ON TABLE ph.orphan TO ph_backup;

GRANT SELECT ON TABLE ph.party TO ph_backup;
GRANT SELECT,INSERT ON TABLE ph.party TO ph_api;

GRANT SELECT(id) ON TABLE ph.party TO ph_post;

GRANT SELECT(side) ON TABLE ph.party TO ph_post;

GRANT SELECT(name) ON TABLE ph.party TO ph_post;

GRANT SELECT ON TABLE ph.password_reset TO ph_backup;

GRANT SELECT,INSERT ON TABLE ph.payable TO ph_api;
GRANT SELECT ON TABLE ph.payable TO ph_backup;
GRANT SELECT,INSERT ON TABLE ph.payable TO ph_clock;

GRANT SELECT,INSERT ON TABLE ph.payment_hold TO ph_api;
GRANT SELECT ON TABLE ph.payment_hold TO ph_backup;

GRANT SELECT(studio_id) ON TABLE ph.payment_hold TO ph_post;

GRANT SELECT(prop_id) ON TABLE ph.payment_hold TO ph_post;

GRANT SELECT(milestone_id) ON TABLE ph.payment_hold TO ph_post;

GRANT SELECT(id) ON TABLE ph.payment_hold TO ph_post;

GRANT SELECT,INSERT ON TABLE ph.payment_hold_end TO ph_api;
GRANT SELECT ON TABLE ph.payment_hold_end TO ph_backup;

GRANT SELECT,INSERT,DELETE ON TABLE ph.pending_sign_off TO ph_api;
GRANT SELECT ON TABLE ph.pending_sign_off TO ph_backup;

GRANT SELECT(studio_id) ON TABLE ph.pending_sign_off TO ph_clock;

GRANT SELECT(id) ON TABLE ph.pending_sign_off TO ph_clock;

GRANT SELECT(milestone_id) ON TABLE ph.pending_sign_off TO ph_clock;

GRANT SELECT(by_member) ON TABLE ph.pending_sign_off TO ph_clock;

GRANT SELECT(send_at) ON TABLE ph.pending_sign_off TO ph_clock;

GRANT UPDATE(stopped_at) ON TABLE ph.pending_sign_off TO ph_api;
GRANT SELECT(stopped_at) ON TABLE ph.pending_sign_off TO ph_clock;

GRANT UPDATE(stopped_why) ON TABLE ph.pending_sign_off TO ph_api;

GRANT SELECT,INSERT ON TABLE ph.permission TO ph_api;
GRANT SELECT ON TABLE ph.permission TO ph_backup;

GRANT SELECT(studio_id) ON TABLE ph.permission TO ph_worker;
GRANT SELECT(studio_id) ON TABLE ph.permission TO ph_post;

GRANT SELECT(work_order_id) ON TABLE ph.permission TO ph_worker;

GRANT SELECT(id) ON TABLE ph.permission TO ph_worker;
GRANT SELECT(id) ON TABLE ph.permission TO ph_post;

GRANT SELECT(prop_id) ON TABLE ph.permission TO ph_worker;
GRANT SELECT(prop_id) ON TABLE ph.permission TO ph_post;

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
GRANT SELECT(studio_id) ON TABLE ph.prop TO ph_post;

GRANT SELECT(vendor_id) ON TABLE ph.prop TO ph_worker;
GRANT SELECT(vendor_id) ON TABLE ph.prop TO ph_post;

GRANT SELECT(work_order_id) ON TABLE ph.prop TO ph_worker;
GRANT SELECT(work_order_id) ON TABLE ph.prop TO ph_post;

GRANT SELECT(id) ON TABLE ph.prop TO ph_worker;
GRANT SELECT(id) ON TABLE ph.prop TO ph_post;

GRANT SELECT(code) ON TABLE ph.prop TO ph_worker;
GRANT SELECT(code) ON TABLE ph.prop TO ph_post;

GRANT SELECT(tier) ON TABLE ph.prop TO ph_worker;

GRANT UPDATE(work_began_at) ON TABLE ph.prop TO ph_api;

GRANT UPDATE(spec_in_force) ON TABLE ph.prop TO ph_api;

GRANT SELECT(kit) ON TABLE ph.prop TO ph_worker;

GRANT SELECT ON TABLE ph.prop_line TO ph_api;
GRANT SELECT ON TABLE ph.prop_line TO ph_backup;

GRANT SELECT ON TABLE ph.provider TO ph_backup;
GRANT INSERT ON TABLE ph.provider TO ph_api;

GRANT SELECT(party_id) ON TABLE ph.provider TO ph_api;

GRANT SELECT(id) ON TABLE ph.provider TO ph_api;

GRANT SELECT(issuer),UPDATE(issuer) ON TABLE ph.provider TO ph_api;

GRANT SELECT(client_id),UPDATE(client_id) ON TABLE ph.provider TO ph_api;

GRANT UPDATE(client_secret) ON TABLE ph.provider TO ph_api;

GRANT SELECT(required),UPDATE(required) ON TABLE ph.provider TO ph_api;

GRANT SELECT(created_at) ON TABLE ph.provider TO ph_api;

GRANT SELECT(changed_at),UPDATE(changed_at) ON TABLE ph.provider TO ph_api;

GRANT SELECT(changed_by),UPDATE(changed_by) ON TABLE ph.provider TO ph_api;

GRANT SELECT(removed_at),UPDATE(removed_at) ON TABLE ph.provider TO ph_api;

GRANT SELECT,INSERT ON TABLE ph.question TO ph_api;
GRANT SELECT ON TABLE ph.question TO ph_backup;

GRANT UPDATE(state) ON TABLE ph.question TO ph_api;

GRANT UPDATE(last_event) ON TABLE ph.question TO ph_api;

GRANT SELECT,INSERT ON TABLE ph.question_message TO ph_api;
GRANT SELECT ON TABLE ph.question_message TO ph_backup;

GRANT SELECT,INSERT ON TABLE ph.quota TO ph_api;
GRANT SELECT ON TABLE ph.quota TO ph_backup;

GRANT UPDATE(bytes) ON TABLE ph.quota TO ph_api;

GRANT UPDATE(by_member) ON TABLE ph.quota TO ph_api;

GRANT UPDATE(by_name) ON TABLE ph.quota TO ph_api;

GRANT UPDATE(at) ON TABLE ph.quota TO ph_api;

GRANT SELECT,INSERT ON TABLE ph.reassignment TO ph_api;
GRANT SELECT ON TABLE ph.reassignment TO ph_backup;

GRANT SELECT,INSERT ON TABLE ph.reference_ack TO ph_api;
GRANT SELECT ON TABLE ph.reference_ack TO ph_backup;

GRANT SELECT,INSERT ON TABLE ph.reference_file TO ph_api;
GRANT SELECT ON TABLE ph.reference_file TO ph_backup;

GRANT SELECT(studio_id) ON TABLE ph.reference_file TO ph_clock;

GRANT SELECT(work_order_id) ON TABLE ph.reference_file TO ph_clock;

GRANT SELECT(object_key) ON TABLE ph.reference_file TO ph_clock;

GRANT UPDATE(published) ON TABLE ph.reference_file TO ph_api;

GRANT SELECT,INSERT ON TABLE ph.reference_pack TO ph_api;
GRANT SELECT ON TABLE ph.reference_pack TO ph_backup;

GRANT UPDATE(published_at) ON TABLE ph.reference_pack TO ph_api;

GRANT SELECT ON TABLE ph.reminder TO ph_api;
GRANT SELECT ON TABLE ph.reminder TO ph_backup;
GRANT SELECT,INSERT ON TABLE ph.reminder TO ph_clock;

GRANT SELECT ON TABLE ph.removal TO ph_api;
GRANT SELECT,INSERT ON TABLE ph.removal TO ph_clock;
GRANT SELECT ON TABLE ph.removal TO ph_backup;

GRANT UPDATE(cleared_at) ON TABLE ph.removal TO ph_clock;

GRANT SELECT ON TABLE ph.removal_file TO ph_api;
GRANT SELECT,INSERT ON TABLE ph.removal_file TO ph_clock;
GRANT SELECT ON TABLE ph.removal_file TO ph_backup;

GRANT SELECT,INSERT ON TABLE ph.retention TO ph_api;
GRANT SELECT ON TABLE ph.retention TO ph_clock;
GRANT SELECT ON TABLE ph.retention TO ph_backup;

GRANT SELECT,INSERT,DELETE ON TABLE ph.saved_note TO ph_api;
GRANT SELECT ON TABLE ph.saved_note TO ph_backup;

GRANT SELECT,INSERT ON TABLE ph.saved_view TO ph_api;
GRANT SELECT ON TABLE ph.saved_view TO ph_backup;

GRANT UPDATE(query) ON TABLE ph.saved_view TO ph_api;

GRANT UPDATE(put_away) ON TABLE ph.saved_view TO ph_api;

GRANT UPDATE(at) ON TABLE ph.saved_view TO ph_api;

GRANT SELECT ON TABLE ph.session TO ph_backup;
GRANT INSERT ON TABLE ph.session TO ph_api;

GRANT SELECT(party_id) ON TABLE ph.session TO ph_api;

GRANT SELECT(member_id) ON TABLE ph.session TO ph_api;

GRANT SELECT(id) ON TABLE ph.session TO ph_api;

GRANT SELECT(created_at) ON TABLE ph.session TO ph_api;

GRANT SELECT(expires_at) ON TABLE ph.session TO ph_api;

GRANT SELECT(last_seen_at) ON TABLE ph.session TO ph_api;

GRANT SELECT(ended_at),UPDATE(ended_at) ON TABLE ph.session TO ph_api;

GRANT SELECT(via) ON TABLE ph.session TO ph_api;

GRANT SELECT(agent) ON TABLE ph.session TO ph_api;

GRANT SELECT(address) ON TABLE ph.session TO ph_api;

GRANT SELECT(proved_at),UPDATE(proved_at) ON TABLE ph.session TO ph_api;

GRANT SELECT,INSERT ON TABLE ph.set_use TO ph_api;
GRANT SELECT ON TABLE ph.set_use TO ph_backup;

GRANT SELECT ON TABLE ph.sign_in TO ph_backup;

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

GRANT SELECT ON TABLE ph.stored TO ph_api;
GRANT SELECT ON TABLE ph.stored TO ph_backup;

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

GRANT SELECT,INSERT,UPDATE ON TABLE ph.turn TO ph_worker;
GRANT SELECT ON TABLE ph.turn TO ph_backup;

GRANT SELECT,INSERT ON TABLE ph.work_order TO ph_api;
GRANT SELECT ON TABLE ph.work_order TO ph_backup;
GRANT SELECT ON TABLE ph.work_order TO ph_clock;

GRANT SELECT(studio_id) ON TABLE ph.work_order TO ph_worker;
GRANT SELECT(studio_id) ON TABLE ph.work_order TO ph_post;

GRANT SELECT(vendor_id) ON TABLE ph.work_order TO ph_post;

GRANT SELECT(id) ON TABLE ph.work_order TO ph_worker;
GRANT SELECT(id) ON TABLE ph.work_order TO ph_post;

GRANT SELECT(code) ON TABLE ph.work_order TO ph_post;

GRANT SELECT(title) ON TABLE ph.work_order TO ph_post;

GRANT SELECT(review_days) ON TABLE ph.work_order TO ph_worker;

GRANT SELECT(codename) ON TABLE ph.work_order TO ph_post;

GRANT SELECT(nda_required) ON TABLE ph.work_order TO ph_post;

ALTER DEFAULT PRIVILEGES FOR ROLE ph_owner IN SCHEMA ph GRANT SELECT ON SEQUENCES  TO ph_backup;

ALTER DEFAULT PRIVILEGES FOR ROLE ph_owner IN SCHEMA ph GRANT SELECT ON TABLES  TO ph_backup;
