-- Logging in by a party's own OpenID Connect provider; sessions that end when idle and say where they are; devices that
-- are known, so that strangers who guess lock nobody out; attempts counted for all processes together.
-- Lock: ACCESS EXCLUSIVE on member and session for a moment (columns without a rewrite). Cost: milliseconds.

-- +goose Up

-- One provider for each party. The secret is for ph_login's functions alone.
CREATE TABLE ph.provider (
  party_id      uuid NOT NULL REFERENCES ph.party,
  id            uuid NOT NULL,             -- of the address to log in at
  issuer        text NOT NULL,
  client_id     text NOT NULL,
  client_secret text NOT NULL DEFAULT '',  -- '': a public client, held by PKCE
  required      boolean NOT NULL DEFAULT false, -- passwords of the party's members no longer work
  created_at    timestamptz NOT NULL DEFAULT now(),
  changed_at    timestamptz NOT NULL DEFAULT now(),
  changed_by    uuid NOT NULL,
  removed_at    timestamptz,
  PRIMARY KEY (party_id),
  CONSTRAINT provider_issuer_is_an_address CHECK (issuer ~ '^https?://' AND char_length(issuer) <= 500),
  CONSTRAINT provider_client_length CHECK (char_length(client_id) BETWEEN 1 AND 500 AND char_length(client_secret) <= 1000),
  CONSTRAINT provider_removed_is_not_required CHECK (removed_at IS NULL OR NOT required)
);
CREATE UNIQUE INDEX provider_id_key ON ph.provider (id);

-- Whom a provider's subject is here. Only ever within the provider's own party.
CREATE TABLE ph.identity (
  party_id     uuid NOT NULL,
  member_id    uuid NOT NULL,
  issuer       text NOT NULL,
  subject      text NOT NULL,
  created_at   timestamptz NOT NULL DEFAULT now(),
  last_used_at timestamptz NOT NULL DEFAULT now(),
  PRIMARY KEY (party_id, issuer, subject),
  FOREIGN KEY (party_id, member_id) REFERENCES ph.member (party_id, id),
  CONSTRAINT identity_subject_length CHECK (char_length(subject) BETWEEN 1 AND 255) -- OpenID Connect Core 1.0, section 2
);
CREATE UNIQUE INDEX identity_member_key ON ph.identity (party_id, member_id, issuer);

-- A log-in that has gone to the provider and is not back yet.
CREATE TABLE ph.sign_in (
  party_id        uuid NOT NULL REFERENCES ph.party,
  state_hash      bytea NOT NULL,
  browser_hash    bytea NOT NULL, -- of the cookie in the browser that began it
  provider_id     uuid NOT NULL,
  nonce           text NOT NULL,
  verifier        text NOT NULL,
  next            text NOT NULL,
  invitation_hash bytea,
  created_at      timestamptz NOT NULL DEFAULT now(),
  PRIMARY KEY (party_id, state_hash)
);
CREATE INDEX sign_in_by_age ON ph.sign_in (created_at);

-- Browsers that somebody has logged in from.
CREATE TABLE ph.device (
  party_id     uuid NOT NULL,
  member_id    uuid NOT NULL,
  id           uuid NOT NULL,
  secret_hash  bytea NOT NULL,
  created_at   timestamptz NOT NULL DEFAULT now(),
  ended_at     timestamptz,
  PRIMARY KEY (party_id, id),
  FOREIGN KEY (party_id, member_id) REFERENCES ph.member (party_id, id)
);
CREATE UNIQUE INDEX device_secret_key ON ph.device (secret_hash, party_id, member_id);

-- When the attempts of a key are used up until (a bucket that leaks at a constant rate, in one number).
CREATE TABLE ph.attempt (
  key   bytea PRIMARY KEY,
  until timestamptz NOT NULL
);

-- Who joined by a provider has no password.
ALTER TABLE ph.member ALTER COLUMN password_hash DROP NOT NULL;
ALTER TABLE ph.session
  ADD COLUMN via text NOT NULL DEFAULT 'password',
  ADD COLUMN agent text NOT NULL DEFAULT '',
  ADD COLUMN address text NOT NULL DEFAULT '',
  ADD CONSTRAINT session_via_known CHECK (via IN ('password', 'provider', 'invitation')) NOT VALID,
  ADD CONSTRAINT session_place_length CHECK (char_length(agent) <= 200 AND char_length(address) <= 60) NOT VALID;
CREATE INDEX session_of_member ON ph.session (party_id, member_id, id DESC) WHERE ended_at IS NULL;

-- +goose StatementBegin
DO $$
DECLARE r text;
BEGIN
  FOREACH r IN ARRAY ARRAY['provider', 'identity', 'sign_in', 'device', 'attempt'] LOOP
    EXECUTE format('ALTER TABLE ph.%I ENABLE ROW LEVEL SECURITY', r);
    EXECUTE format('ALTER TABLE ph.%I FORCE ROW LEVEL SECURITY', r);
    EXECUTE format('CREATE POLICY %I ON ph.%I TO ph_owner USING (true) WITH CHECK (true)', r || '_owner', r);
    EXECUTE format('GRANT SELECT ON ph.%I TO ph_backup', r);
  END LOOP;
END $$;
-- +goose StatementEnd
CREATE POLICY provider_own ON ph.provider TO ph_api USING (party_id = ph.app_party()) WITH CHECK (party_id = ph.app_party());
CREATE POLICY identity_read ON ph.identity FOR SELECT TO ph_api USING (party_id = ph.app_party());
CREATE POLICY device_own ON ph.device TO ph_api
  USING (party_id = ph.app_party() AND member_id = ph.app_member()) WITH CHECK (party_id = ph.app_party() AND member_id = ph.app_member());
GRANT SELECT (party_id, id, issuer, client_id, required, created_at, changed_at, changed_by, removed_at), INSERT,
  UPDATE (issuer, client_id, client_secret, required, changed_at, changed_by, removed_at) ON ph.provider TO ph_api;
GRANT SELECT (party_id, member_id, issuer, created_at, last_used_at) ON ph.identity TO ph_api;
GRANT SELECT (party_id, member_id, id, created_at, ended_at), INSERT, UPDATE (ended_at) ON ph.device TO ph_api;
GRANT SELECT (via, agent, address) ON ph.session TO ph_api;

-- A party whose provider is required takes no password.
DROP FUNCTION ph.login_password(text);
-- +goose StatementBegin
CREATE FUNCTION ph.login_password(the_email text)
  RETURNS TABLE (party_id uuid, party_name text, side text, member_id uuid, name text, roles text[], password_hash text, provider_id uuid, required boolean)
  LANGUAGE sql STABLE SECURITY DEFINER SET search_path = pg_catalog
AS $$
  SELECT m.party_id, p.name, m.side, m.id, m.name, m.roles, m.password_hash, o.id, coalesce(o.required, false)
  FROM ph.member m JOIN ph.party p ON p.id = m.party_id
  LEFT JOIN ph.provider o ON o.party_id = m.party_id AND o.removed_at IS NULL
  WHERE m.email = lower(the_email) AND m.disabled_at IS NULL
$$;
-- +goose StatementEnd

-- A session also ends after 30 minutes without a request.
-- +goose StatementBegin
CREATE OR REPLACE FUNCTION ph.login_session(the_hash bytea)
  RETURNS TABLE (party_id uuid, party_name text, side text, member_id uuid, name text, roles text[], session_id uuid)
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
  RETURN QUERY SELECT m.party_id, p.name, m.side, m.id, m.name, m.roles, s.id
  FROM ph.session s
  JOIN ph.member m ON m.party_id = s.party_id AND m.id = s.member_id
  JOIN ph.party p ON p.id = m.party_id
  WHERE s.secret_hash = the_hash AND m.disabled_at IS NULL;
END $$;
-- +goose StatementEnd

DROP FUNCTION ph.login_invitation(bytea);
-- +goose StatementBegin
CREATE FUNCTION ph.login_invitation(the_hash bytea)
  RETURNS TABLE (party_id uuid, party_name text, side text, id uuid, email text, roles text[], expires_at timestamptz, provider_id uuid, required boolean)
  LANGUAGE sql STABLE SECURITY DEFINER SET search_path = pg_catalog
AS $$
  SELECT i.party_id, p.name, i.side, i.id, i.email, i.roles, i.expires_at, o.id, coalesce(o.required, false)
  FROM ph.invitation i JOIN ph.party p ON p.id = i.party_id
  LEFT JOIN ph.provider o ON o.party_id = i.party_id AND o.removed_at IS NULL
  WHERE i.secret_hash = the_hash AND i.accepted_at IS NULL AND i.expires_at > now()
$$;
-- +goose StatementEnd

-- +goose StatementBegin
CREATE FUNCTION ph.login_provider(the_id uuid)
  RETURNS TABLE (party_id uuid, party_name text, id uuid, issuer text, client_id text, client_secret text, required boolean)
  LANGUAGE sql STABLE SECURITY DEFINER SET search_path = pg_catalog
AS $$
  SELECT o.party_id, p.name, o.id, o.issuer, o.client_id, o.client_secret, o.required
  FROM ph.provider o JOIN ph.party p ON p.id = o.party_id WHERE o.id = the_id AND o.removed_at IS NULL
$$;
-- +goose StatementEnd

-- +goose StatementBegin
CREATE FUNCTION ph.sign_in_begin(the_provider uuid, the_state bytea, the_browser bytea, the_nonce text, the_verifier text, the_next text, the_invitation bytea)
  RETURNS boolean LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog
AS $$
BEGIN
  DELETE FROM ph.sign_in s WHERE s.created_at < now() - interval '10 minutes';
  INSERT INTO ph.sign_in (party_id, state_hash, browser_hash, provider_id, nonce, verifier, next, invitation_hash)
  SELECT o.party_id, the_state, the_browser, o.id, the_nonce, the_verifier, left(the_next, 2000), the_invitation
  FROM ph.provider o WHERE o.id = the_provider AND o.removed_at IS NULL;
  RETURN FOUND;
END $$;
-- +goose StatementEnd

-- Once, within ten minutes, in the browser that began it, and from the provider that it went to.
-- +goose StatementBegin
CREATE FUNCTION ph.sign_in_take(the_provider uuid, the_state bytea, the_browser bytea)
  RETURNS TABLE (nonce text, verifier text, next text, invitation_hash bytea)
  LANGUAGE sql SECURITY DEFINER SET search_path = pg_catalog
AS $$
  DELETE FROM ph.sign_in s
  WHERE s.provider_id = the_provider AND s.state_hash = the_state AND s.browser_hash = the_browser AND s.created_at > now() - interval '10 minutes'
  RETURNING s.nonce, s.verifier, s.next, s.invitation_hash
$$;
-- +goose StatementEnd

-- Where the party's provider is required, a password makes no member; a provider's person has none (NULL).
-- +goose StatementBegin
CREATE OR REPLACE FUNCTION ph.accept_invitation(the_hash bytea, new_id uuid, the_name text, the_password_hash text)
  RETURNS TABLE (party_id uuid, party_name text, side text, member_id uuid, name text, roles text[])
  LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog
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
-- +goose StatementEnd

-- Who a provider's subject is: known from before, or linked now to the holder of an invitation or to the member with this
-- e-mail, once. Only within the provider's party; nobody is made a member without an invitation. the_email is '' where the
-- provider has not verified it.
-- +goose StatementBegin
CREATE FUNCTION ph.login_identity(the_provider uuid, the_issuer text, the_subject text, the_email text, the_name text, the_invitation bytea, new_id uuid)
  RETURNS TABLE (party_id uuid, party_name text, side text, member_id uuid, name text, roles text[])
  LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog
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
-- +goose StatementEnd

-- Turning "required" on ends the sessions that a password began.
-- +goose StatementBegin
CREATE FUNCTION ph.end_password_sessions() RETURNS void LANGUAGE sql SECURITY DEFINER SET search_path = pg_catalog AS $$
  UPDATE ph.session s SET ended_at = now() WHERE s.party_id = ph.app_party() AND s.via <> 'provider' AND s.ended_at IS NULL
$$;
-- +goose StatementEnd

-- +goose StatementBegin
CREATE FUNCTION ph.login_device(the_email text, the_hash bytea) RETURNS boolean
  LANGUAGE sql STABLE SECURITY DEFINER SET search_path = pg_catalog
AS $$
  SELECT EXISTS (SELECT FROM ph.device d JOIN ph.member m ON m.party_id = d.party_id AND m.id = d.member_id
    WHERE d.secret_hash = the_hash AND d.ended_at IS NULL AND d.created_at > now() - interval '400 days'
      AND m.email = lower(the_email) AND m.disabled_at IS NULL)
$$;
-- +goose StatementEnd

-- +goose StatementBegin
CREATE FUNCTION ph.login_device_of(the_party uuid, the_member uuid, the_hash bytea) RETURNS boolean
  LANGUAGE sql STABLE SECURITY DEFINER SET search_path = pg_catalog
AS $$
  SELECT EXISTS (SELECT FROM ph.device d WHERE d.secret_hash = the_hash AND d.party_id = the_party AND d.member_id = the_member
    AND d.ended_at IS NULL AND d.created_at > now() - interval '400 days')
$$;
-- +goose StatementEnd

-- Takes one attempt of a key, of which there are burst at once and one more every so often. Zero: taken; else how long to
-- wait. (The generic cell rate algorithm, ITU-T I.371, annex A, as virtual scheduling; from memory.)
-- +goose StatementBegin
CREATE FUNCTION ph.login_attempt(the_key bytea, every interval, burst integer) RETURNS interval
  LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog
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
-- +goose StatementEnd

-- Who is erased or disabled is forgotten here too.
-- +goose StatementBegin
CREATE FUNCTION ph.forget_doors() RETURNS trigger LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog AS $$
BEGIN
  DELETE FROM ph.device d WHERE d.party_id = NEW.party_id AND d.member_id = NEW.id;
  IF NEW.email LIKE 'erased-%@erased.invalid' THEN
    DELETE FROM ph.identity i WHERE i.party_id = NEW.party_id AND i.member_id = NEW.id;
    UPDATE ph.session s SET agent = '', address = '' WHERE s.party_id = NEW.party_id AND s.member_id = NEW.id;
  END IF;
  RETURN NULL;
END $$;
-- +goose StatementEnd
CREATE TRIGGER forget_doors AFTER UPDATE OF disabled_at, email ON ph.member FOR EACH ROW
  WHEN (OLD.disabled_at IS DISTINCT FROM NEW.disabled_at OR OLD.email <> NEW.email) EXECUTE FUNCTION ph.forget_doors();

REVOKE ALL ON FUNCTION ph.login_password(text), ph.login_invitation(bytea), ph.login_provider(uuid), ph.login_device(text, bytea), ph.login_device_of(uuid, uuid, bytea), ph.login_attempt(bytea, interval, integer),
  ph.sign_in_begin(uuid, bytea, bytea, text, text, text, bytea), ph.sign_in_take(uuid, bytea, bytea),
  ph.login_identity(uuid, text, text, text, text, bytea, uuid), ph.end_password_sessions(), ph.forget_doors() FROM PUBLIC;
GRANT EXECUTE ON FUNCTION ph.login_password(text), ph.login_invitation(bytea), ph.login_provider(uuid), ph.login_device(text, bytea), ph.login_device_of(uuid, uuid, bytea), ph.login_attempt(bytea, interval, integer),
  ph.sign_in_begin(uuid, bytea, bytea, text, text, text, bytea), ph.sign_in_take(uuid, bytea, bytea),
  ph.login_identity(uuid, text, text, text, text, bytea, uuid) TO ph_login;
GRANT EXECUTE ON FUNCTION ph.end_password_sessions() TO ph_api;
