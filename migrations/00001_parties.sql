-- Parties, their members, and how callers are recognised.
-- Lock: none on existing tables (everything is new). Cost: milliseconds.

-- +goose Up

-- The caller of a transaction, set with set_config(..., true) at its beginning. After a transaction the setting is ''
-- on that connection and not NULL, hence nullif. Exactly one of app.studio and app.vendor is set.
CREATE FUNCTION ph.app_studio() RETURNS uuid LANGUAGE sql STABLE PARALLEL SAFE
  AS $$ SELECT nullif(current_setting('app.studio', true), '')::uuid $$;
CREATE FUNCTION ph.app_vendor() RETURNS uuid LANGUAGE sql STABLE PARALLEL SAFE
  AS $$ SELECT nullif(current_setting('app.vendor', true), '')::uuid $$;
CREATE FUNCTION ph.app_party() RETURNS uuid LANGUAGE sql STABLE PARALLEL SAFE
  AS $$ SELECT coalesce(nullif(current_setting('app.studio', true), ''), nullif(current_setting('app.vendor', true), ''))::uuid $$;
CREATE FUNCTION ph.app_member() RETURNS uuid LANGUAGE sql STABLE PARALLEL SAFE
  AS $$ SELECT nullif(current_setting('app.member', true), '')::uuid $$;

CREATE TABLE ph.party (
  id         uuid PRIMARY KEY,
  side       text NOT NULL,
  name       text NOT NULL,
  created_at timestamptz NOT NULL DEFAULT now(),
  CONSTRAINT party_side_known CHECK (side IN ('studio', 'vendor')),
  CONSTRAINT party_name_length CHECK (char_length(name) BETWEEN 1 AND 200)
);

-- Who works with whom. The names are copied in, so that neither side can read the other's party row.
CREATE TABLE ph.engagement (
  studio_id   uuid NOT NULL REFERENCES ph.party,
  vendor_id   uuid NOT NULL REFERENCES ph.party,
  studio_name text NOT NULL,
  vendor_name text NOT NULL,
  created_at  timestamptz NOT NULL DEFAULT now(),
  created_by  uuid NOT NULL,
  PRIMARY KEY (studio_id, vendor_id)
);
CREATE INDEX engagement_by_vendor ON ph.engagement (vendor_id, studio_id);

CREATE TABLE ph.member (
  party_id      uuid NOT NULL REFERENCES ph.party,
  id            uuid NOT NULL,
  side          text NOT NULL,
  name          text NOT NULL,
  email         text NOT NULL,
  password_hash text NOT NULL,
  roles         text[] NOT NULL,
  created_at    timestamptz NOT NULL DEFAULT now(),
  disabled_at   timestamptz,
  PRIMARY KEY (party_id, id),
  CONSTRAINT member_roles_fit_side CHECK (cardinality(roles) > 0 AND (
    (side = 'studio' AND roles <@ ARRAY['producer', 'art_director', 'technical_artist']) OR
    (side = 'vendor' AND roles <@ ARRAY['vendor_lead', 'vendor_artist']))),
  CONSTRAINT member_name_length CHECK (char_length(name) <= 200),
  CONSTRAINT member_email_plain CHECK (email = lower(email) AND email LIKE '%_@_%' AND char_length(email) <= 254),
  CONSTRAINT member_password_hashed CHECK (password_hash LIKE '$argon2id$%')
);
-- One key across parties: people log in with the e-mail alone. Only the holder of an invitation can meet it.
CREATE UNIQUE INDEX member_email_key ON ph.member (email);

CREATE TABLE ph.invitation (
  party_id    uuid NOT NULL REFERENCES ph.party,
  id          uuid NOT NULL,
  side        text NOT NULL,
  engaged_by  uuid, -- the studio that asks in a vendor's first member; NULL: asked in by the party itself
  email       text NOT NULL,
  roles       text[] NOT NULL,
  secret_hash bytea NOT NULL,
  created_at  timestamptz NOT NULL DEFAULT now(),
  created_by  uuid NOT NULL,
  expires_at  timestamptz NOT NULL,
  accepted_at timestamptz,
  PRIMARY KEY (party_id, id),
  CONSTRAINT invitation_of_engaged_vendor FOREIGN KEY (engaged_by, party_id) REFERENCES ph.engagement (studio_id, vendor_id),
  CONSTRAINT invitation_roles_fit_side CHECK (cardinality(roles) > 0 AND (
    (side = 'studio' AND roles <@ ARRAY['producer', 'art_director', 'technical_artist']) OR
    (side = 'vendor' AND roles <@ ARRAY['vendor_lead', 'vendor_artist']))),
  CONSTRAINT invitation_email_plain CHECK (email = lower(email) AND email LIKE '%_@_%' AND char_length(email) <= 254)
);
CREATE UNIQUE INDEX invitation_secret_key ON ph.invitation (secret_hash);

CREATE TABLE ph.session (
  party_id     uuid NOT NULL,
  member_id    uuid NOT NULL,
  id           uuid NOT NULL,
  secret_hash  bytea NOT NULL,
  created_at   timestamptz NOT NULL DEFAULT now(),
  expires_at   timestamptz NOT NULL,
  last_seen_at timestamptz,
  ended_at     timestamptz,
  PRIMARY KEY (party_id, id),
  FOREIGN KEY (party_id, member_id) REFERENCES ph.member (party_id, id)
);
CREATE UNIQUE INDEX session_secret_key ON ph.session (secret_hash);

CREATE TABLE ph.token (
  party_id     uuid NOT NULL,
  member_id    uuid NOT NULL,
  id           uuid NOT NULL,
  name         text NOT NULL,
  hint         text NOT NULL,
  secret_hash  bytea NOT NULL,
  scopes       text[] NOT NULL,
  created_at   timestamptz NOT NULL DEFAULT now(),
  expires_at   timestamptz NOT NULL,
  last_used_at timestamptz,
  revoked_at   timestamptz,
  PRIMARY KEY (party_id, id),
  FOREIGN KEY (party_id, member_id) REFERENCES ph.member (party_id, id),
  CONSTRAINT token_scopes_known CHECK (cardinality(scopes) > 0 AND scopes <@ ARRAY['read', 'deliver', 'order', 'review', 'admin']),
  CONSTRAINT token_name_length CHECK (char_length(name) BETWEEN 1 AND 100)
);
CREATE UNIQUE INDEX token_secret_key ON ph.token (secret_hash);

-- What ph_login may do: find a caller by what they show. Nothing else of these tables is open to it.

-- +goose StatementBegin
CREATE FUNCTION ph.login_password(the_email text)
  RETURNS TABLE (party_id uuid, party_name text, side text, member_id uuid, name text, roles text[], password_hash text)
  LANGUAGE sql STABLE SECURITY DEFINER SET search_path = pg_catalog
AS $$
  SELECT m.party_id, p.name, m.side, m.id, m.name, m.roles, m.password_hash
  FROM ph.member m JOIN ph.party p ON p.id = m.party_id
  WHERE m.email = lower(the_email) AND m.disabled_at IS NULL
$$;
-- +goose StatementEnd

-- +goose StatementBegin
CREATE FUNCTION ph.login_session(the_hash bytea)
  RETURNS TABLE (party_id uuid, party_name text, side text, member_id uuid, name text, roles text[], session_id uuid)
  LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog
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
-- +goose StatementEnd

-- +goose StatementBegin
CREATE FUNCTION ph.login_token(the_hash bytea)
  RETURNS TABLE (party_id uuid, party_name text, side text, member_id uuid, name text, roles text[], token_id uuid, scopes text[])
  LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog
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
-- +goose StatementEnd

-- +goose StatementBegin
CREATE FUNCTION ph.login_invitation(the_hash bytea)
  RETURNS TABLE (party_id uuid, party_name text, side text, id uuid, email text, roles text[], expires_at timestamptz)
  LANGUAGE sql STABLE SECURITY DEFINER SET search_path = pg_catalog
AS $$
  SELECT i.party_id, p.name, i.side, i.id, i.email, i.roles, i.expires_at
  FROM ph.invitation i JOIN ph.party p ON p.id = i.party_id
  WHERE i.secret_hash = the_hash AND i.accepted_at IS NULL AND i.expires_at > now()
$$;
-- +goose StatementEnd

-- Makes the member of an invitation, once. A studio's invitation into a vendor counts only for the first member: from
-- then on the vendor asks people in itself, or a studio could look into a vendor's work for others.
-- +goose StatementBegin
CREATE FUNCTION ph.accept_invitation(the_hash bytea, new_id uuid, the_name text, the_password_hash text)
  RETURNS TABLE (party_id uuid, party_name text, side text, member_id uuid, name text, roles text[])
  LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog
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
-- +goose StatementEnd

-- The caller's own password hash, to check the old password when it is changed; ph_api cannot read the column.
-- +goose StatementBegin
CREATE FUNCTION ph.own_password_hash() RETURNS text
  LANGUAGE sql STABLE SECURITY DEFINER SET search_path = pg_catalog
AS $$ SELECT m.password_hash FROM ph.member m WHERE m.party_id = ph.app_party() AND m.id = ph.app_member() $$;
-- +goose StatementEnd
