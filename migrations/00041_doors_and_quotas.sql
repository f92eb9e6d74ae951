-- Who has changed how a member logs in is told to that member by mail; a reset leaves its note and forgets the browsers that were known;
-- an invitation forgets the address of who is erased. How many bytes a vendor may keep, in all and in one order. Whether a delivery came
-- in time is counted by the vendor's own days.
-- Lock: ACCESS EXCLUSIVE on mail, member, identity and token for a moment (a check that is NOT VALID, triggers). Cost: milliseconds, and
-- one pass over the invitations, of which there are as many as people. What is counted already stays as it was counted.

-- +goose Up

ALTER TABLE ph.mail DROP CONSTRAINT mail_kind_known;
ALTER TABLE ph.mail ADD CONSTRAINT mail_kind_known CHECK (kind IN ('invitation', 'reset', 'locked', 'news', 'digest', 'hook_disabled', 'door')) NOT VALID;

-- A further way in, or another in place of the one before: by whatever program, in the transaction that opens it. Who joins is not told
-- of the way by which they came. OWASP ASVS 4.0.3, 2.2.3 and 2.5.5.
-- +goose StatementBegin
CREATE FUNCTION ph.tell_of_door() RETURNS trigger LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog AS $$
DECLARE the_member uuid;
BEGIN
  the_member := (to_jsonb(NEW) ->> CASE WHEN TG_TABLE_NAME = 'member' THEN 'id' ELSE 'member_id' END)::uuid;
  INSERT INTO ph.mail (id, party_id, member_id, address, kind, about, cause)
  SELECT n.id, m.party_id, m.id, m.email, 'door', jsonb_build_object('why', TG_ARGV[0]), 'door ' || n.id
  FROM ph.member m CROSS JOIN (SELECT gen_random_uuid() AS id) n
  WHERE m.party_id = NEW.party_id AND m.id = the_member AND m.disabled_at IS NULL AND m.created_at < now();
  RETURN NULL;
END $$;
-- +goose StatementEnd
REVOKE ALL ON FUNCTION ph.tell_of_door() FROM PUBLIC;
CREATE TRIGGER tell_of_password AFTER UPDATE OF password_hash ON ph.member FOR EACH ROW
  WHEN (NEW.password_hash IS DISTINCT FROM OLD.password_hash) EXECUTE FUNCTION ph.tell_of_door('password');
CREATE TRIGGER tell_of_identity AFTER INSERT ON ph.identity FOR EACH ROW EXECUTE FUNCTION ph.tell_of_door('identity');
CREATE TRIGGER tell_of_token AFTER INSERT ON ph.token FOR EACH ROW EXECUTE FUNCTION ph.tell_of_door('token');

-- +goose StatementBegin
CREATE OR REPLACE FUNCTION ph.finish_reset(the_hash bytea, the_password text) RETURNS boolean
  LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog AS $$
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
-- +goose StatementEnd

-- +goose StatementBegin
CREATE OR REPLACE FUNCTION ph.forget_mail() RETURNS trigger LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog AS $$
BEGIN
  DELETE FROM ph.mail m WHERE m.party_id = NEW.party_id AND (m.member_id = NEW.id OR m.address = OLD.email);
  UPDATE ph.invitation i SET email = NEW.email WHERE i.party_id = NEW.party_id AND i.email = OLD.email;
  RETURN NULL;
END $$;
-- +goose StatementEnd
-- Of those who were erased before: what they joined by is found by what it is, an accepted invitation to an address that no member has.
UPDATE ph.invitation i SET email = 'erased-' || i.id || '@erased.invalid'
WHERE i.accepted_at IS NOT NULL AND NOT EXISTS (SELECT FROM ph.member m WHERE m.party_id = i.party_id AND m.email = i.email);

-- How many bytes of a vendor's deliveries a studio keeps: in all where no order is named, else in that order. The studio says it, both
-- read it. No row, or one without bytes, is no limit; it is a setting, no act: nothing of what was delivered changes by it.
CREATE TABLE ph.quota (
  studio_id     uuid NOT NULL,
  vendor_id     uuid NOT NULL,
  id            uuid NOT NULL,
  work_order_id uuid,
  bytes         bigint,
  by_member     uuid NOT NULL,
  by_name       text,
  at            timestamptz NOT NULL DEFAULT now(),
  PRIMARY KEY (studio_id, id),
  FOREIGN KEY (studio_id, vendor_id) REFERENCES ph.engagement (studio_id, vendor_id),
  FOREIGN KEY (studio_id, vendor_id, work_order_id) REFERENCES ph.work_order (studio_id, vendor_id, id),
  CONSTRAINT quota_bytes_range CHECK (bytes BETWEEN 0 AND 1000000000000000)
);
CREATE UNIQUE INDEX quota_key ON ph.quota (studio_id, vendor_id, work_order_id) NULLS NOT DISTINCT;
CREATE INDEX quota_of_vendor ON ph.quota (vendor_id);
ALTER TABLE ph.quota ENABLE ROW LEVEL SECURITY;
ALTER TABLE ph.quota FORCE ROW LEVEL SECURITY;
CREATE POLICY quota_owner ON ph.quota TO ph_owner USING (true) WITH CHECK (true);
CREATE POLICY quota_read ON ph.quota FOR SELECT TO ph_api USING (studio_id = (SELECT ph.app_studio()) OR vendor_id = (SELECT ph.app_vendor()));
CREATE POLICY quota_insert ON ph.quota FOR INSERT TO ph_api WITH CHECK (studio_id = ph.app_studio());
CREATE POLICY quota_update ON ph.quota FOR UPDATE TO ph_api USING (studio_id = (SELECT ph.app_studio())) WITH CHECK (studio_id = ph.app_studio());
GRANT SELECT, INSERT ON ph.quota TO ph_api;
GRANT UPDATE (bytes, by_member, by_name, at) ON ph.quota TO ph_api;
GRANT SELECT ON ph.quota TO ph_backup;

-- A day where a party works: in UTC where it has pinned no calendar, or one whose zone this database does not know.
-- +goose StatementBegin
CREATE FUNCTION ph.vendor_day(the_studio uuid, the_order uuid, the_time timestamptz) RETURNS date
  LANGUAGE plpgsql STABLE SECURITY DEFINER SET search_path = pg_catalog AS $$
DECLARE zone text;
BEGIN
  SELECT c.time_zone INTO zone FROM ph.order_calendar c WHERE c.studio_id = the_studio AND c.work_order_id = the_order AND c.side = 'vendor';
  RETURN (the_time AT TIME ZONE coalesce(zone, 'UTC'))::date;
EXCEPTION WHEN invalid_parameter_value THEN
  RETURN (the_time AT TIME ZONE 'UTC')::date;
END $$;
-- +goose StatementEnd
REVOKE ALL ON FUNCTION ph.vendor_day(uuid, uuid, timestamptz) FROM PUBLIC;

-- As before, but for the day on which it was sealed: a due day is the vendor's day.
-- +goose StatementBegin
CREATE OR REPLACE FUNCTION ph.milestone_counted() RETURNS trigger LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog AS $$
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
-- +goose StatementEnd
