-- When a session's member last showed who they are, which acts on money and on log-ins ask for; secrets of log-in providers
-- sealed by the programs, which takes more room.
-- Lock: ACCESS EXCLUSIVE on session, provider and access for a moment (a column without a default, checks that are NOT VALID).
-- Cost: milliseconds. Sessions that are open have shown it never: their next such act asks.

-- +goose Up

ALTER TABLE ph.session ADD COLUMN proved_at timestamptz;
GRANT SELECT (proved_at), UPDATE (proved_at) ON ph.session TO ph_api;

ALTER TABLE ph.access DROP CONSTRAINT access_act_known;
ALTER TABLE ph.access ADD CONSTRAINT access_act_known CHECK (act IN ('logged_in', 'log_in_failed', 'log_in_held', 'joined', 'logged_out', 'proved', 'token_made', 'token_used', 'token_revoked', 'sessions_ended',
  'password_changed', 'provider_changed', 'read_order', 'read_prop', 'read_delivery', 'read_inspection', 'read_file', 'exported', 'read_handover', 'read_access')) NOT VALID;

-- Sealed is longer than plain: 4,000 bytes of 1,000 characters, nonce and tag, in base64.
ALTER TABLE ph.provider DROP CONSTRAINT provider_client_length;
ALTER TABLE ph.provider ADD CONSTRAINT provider_client_length CHECK (char_length(client_id) BETWEEN 1 AND 500 AND char_length(client_secret) <= 6000) NOT VALID;

-- login_session, with how long ago the member showed it, in seconds by the database's clock; NULL where never. Programs that are
-- older go on calling that.
-- +goose StatementBegin
CREATE FUNCTION ph.proved_session(the_hash bytea)
  RETURNS TABLE (party_id uuid, party_name text, side text, member_id uuid, name text, roles text[], session_id uuid, proved_seconds bigint)
  LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog
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
-- +goose StatementEnd
REVOKE ALL ON FUNCTION ph.proved_session(bytea) FROM PUBLIC;
GRANT EXECUTE ON FUNCTION ph.proved_session(bytea) TO ph_login;
