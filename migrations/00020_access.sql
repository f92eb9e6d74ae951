-- Who saw and did what: a row for each member, act, thing and hour.
-- Lock: none on what is there. Cost: milliseconds.

-- +goose Up
CREATE TABLE ph.access (
  party_id  uuid NOT NULL,
  hour      timestamptz NOT NULL,
  member_id uuid NOT NULL,
  act       text NOT NULL,
  subject   uuid NOT NULL, -- of the thing, or of the token; all zeros where there is none
  address   text NOT NULL DEFAULT '',
  first_at  timestamptz NOT NULL DEFAULT now(),
  times     integer NOT NULL DEFAULT 1, -- counted for log-ins that failed; for the rest at least this often
  PRIMARY KEY (party_id, hour, member_id, act, subject),
  FOREIGN KEY (party_id, member_id) REFERENCES ph.member (party_id, id),
  CONSTRAINT access_act_known CHECK (act IN ('logged_in', 'log_in_failed', 'log_in_held', 'joined', 'logged_out', 'token_made', 'token_used', 'token_revoked', 'sessions_ended', 'password_changed',
    'provider_changed', 'read_order', 'read_prop', 'read_delivery', 'read_inspection', 'read_file', 'exported', 'read_handover', 'read_access')),
  CONSTRAINT access_address_length CHECK (char_length(address) <= 60)
);
CREATE INDEX access_by_age ON ph.access (hour);

ALTER TABLE ph.access ENABLE ROW LEVEL SECURITY;
ALTER TABLE ph.access FORCE ROW LEVEL SECURITY;
CREATE POLICY access_owner ON ph.access TO ph_owner USING (true) WITH CHECK (true);
CREATE POLICY access_read ON ph.access FOR SELECT TO ph_api USING (party_id = ph.app_party());
CREATE POLICY access_insert ON ph.access FOR INSERT TO ph_api WITH CHECK (party_id = ph.app_party() AND member_id = ph.app_member());
GRANT SELECT, INSERT ON ph.access TO ph_api;
GRANT SELECT ON ph.access TO ph_backup;

-- A log-in that failed or was held up, at a member's e-mail. An e-mail that nobody has leaves nothing.
-- +goose StatementBegin
CREATE FUNCTION ph.login_failed(the_email text, the_act text, the_address text) RETURNS void
  LANGUAGE sql SECURITY DEFINER SET search_path = pg_catalog
AS $$
  INSERT INTO ph.access AS a (party_id, hour, member_id, act, subject, address)
  SELECT m.party_id, date_trunc('hour', now(), 'UTC'), m.id, the_act, '00000000-0000-0000-0000-000000000000', left(the_address, 60)
  FROM ph.member m WHERE m.email = lower(the_email) AND m.disabled_at IS NULL AND the_act IN ('log_in_failed', 'log_in_held')
  ON CONFLICT (party_id, hour, member_id, act, subject) DO UPDATE SET times = a.times + 1, address = excluded.address
$$;
-- +goose StatementEnd

-- Kept for 180 days.
-- +goose StatementBegin
CREATE FUNCTION ph.sweep_access() RETURNS bigint LANGUAGE sql SECURITY DEFINER SET search_path = pg_catalog AS $$
  WITH gone AS (
    DELETE FROM ph.access a WHERE a.ctid IN (SELECT b.ctid FROM ph.access b WHERE b.hour < now() - interval '180 days' LIMIT 10000) RETURNING 1
  ) SELECT count(*) FROM gone
$$;
-- +goose StatementEnd

-- Who is erased leaves no address behind.
-- +goose StatementBegin
CREATE FUNCTION ph.forget_access() RETURNS trigger LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog AS $$
BEGIN
  UPDATE ph.access a SET address = '' WHERE a.party_id = NEW.party_id AND a.member_id = NEW.id;
  RETURN NULL;
END $$;
-- +goose StatementEnd
CREATE TRIGGER forget_access AFTER UPDATE OF email ON ph.member FOR EACH ROW
  WHEN (NEW.email LIKE 'erased-%@erased.invalid') EXECUTE FUNCTION ph.forget_access();

REVOKE ALL ON FUNCTION ph.login_failed(text, text, text), ph.sweep_access(), ph.forget_access() FROM PUBLIC;
GRANT EXECUTE ON FUNCTION ph.login_failed(text, text, text) TO ph_login;
GRANT EXECUTE ON FUNCTION ph.sweep_access() TO ph_api;
