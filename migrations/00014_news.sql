-- Telling people and programs: news made of facts, hooks that programs register, mails, one-time links by mail.
-- Lock: ACCESS EXCLUSIVE on log for a moment; SHARE on milestone while an index over its open rows is built (0.2 s for
-- 300,000). Cost: one update of a row per log (0.1 s for 10,000) and an index over them; everything else is new. What was recorded before this migration is told to nobody.

-- +goose Up

-- How far each log was told. The facts are the outbox: they are written with the act, gapless and in commit order.
ALTER TABLE ph.log ADD COLUMN told_size bigint NOT NULL DEFAULT 0;
UPDATE ph.log SET told_size = size;
ALTER TABLE ph.log ADD CONSTRAINT log_told_range CHECK (told_size BETWEEN 0 AND size) NOT VALID;
CREATE INDEX log_to_tell ON ph.log (id) WHERE told_size < size;

-- Where each party's feed ends. Its row's lock gives news their number: gapless and in commit order.
CREATE TABLE ph.feed (
  party_id uuid PRIMARY KEY REFERENCES ph.party,
  last     bigint NOT NULL
);
-- What a party is told. body is sent as it stands: ids and codes, never a price, a person's name or another vendor.
CREATE TABLE ph.news (
  party_id   uuid NOT NULL REFERENCES ph.party,
  seq        bigint NOT NULL,
  id         uuid NOT NULL,
  kind       text NOT NULL,
  subject_id uuid NOT NULL, -- what it is about at the most: a prop, an order; told in order within it
  at         timestamptz NOT NULL,
  told_at    timestamptz NOT NULL DEFAULT now(),
  body       text NOT NULL,
  PRIMARY KEY (party_id, seq)
);
CREATE INDEX news_by_time ON ph.news (party_id, at, seq);
CREATE INDEX news_age ON ph.news (told_at);

-- Due dates that were told, each once; a date that moves is told anew.
CREATE TABLE ph.due_told (
  studio_id    uuid NOT NULL,
  milestone_id uuid NOT NULL,
  due_on       date NOT NULL,
  at           timestamptz NOT NULL DEFAULT now(),
  PRIMARY KEY (studio_id, milestone_id, due_on),
  FOREIGN KEY (studio_id, milestone_id) REFERENCES ph.milestone (studio_id, id)
);

CREATE INDEX milestone_due ON ph.milestone (due_sort, id) WHERE state IN ('open', 'failed', 'returned');

-- Addresses that a party's programs listen at. Secrets are sealed with a key that is not in the database.
CREATE TABLE ph.hook (
  party_id       uuid NOT NULL REFERENCES ph.party,
  id             uuid NOT NULL,
  url            text NOT NULL,
  kinds          text[] NOT NULL, -- none: all
  secret         bytea NOT NULL,
  previous       bytea,           -- signs too until previous_until
  previous_until timestamptz,
  made_by        uuid NOT NULL,
  created_at     timestamptz NOT NULL DEFAULT now(),
  failing_since  timestamptz,
  disabled_at    timestamptz,
  disabled_why   text,
  removed_at     timestamptz, -- never deleted: what it was sent stays to be seen
  PRIMARY KEY (party_id, id),
  FOREIGN KEY (party_id, made_by) REFERENCES ph.member (party_id, id),
  CONSTRAINT hook_url_length CHECK (char_length(url) BETWEEN 9 AND 2000),
  CONSTRAINT hook_kinds_few CHECK (cardinality(kinds) <= 100),
  CONSTRAINT hook_previous_ends CHECK ((previous IS NULL) = (previous_until IS NULL)),
  CONSTRAINT hook_disabled_why_known CHECK ((disabled_at IS NULL) = (disabled_why IS NULL) AND disabled_why IN ('member', 'failing', 'gone'))
);

-- One message to one hook.
CREATE TABLE ph.hook_send (
  party_id      uuid NOT NULL,
  hook_id       uuid NOT NULL,
  id            uuid NOT NULL,
  seq           bigint,        -- of the news; NULL: a ping
  message_id    uuid NOT NULL, -- webhook-id: the same in every attempt and replay
  kind          text NOT NULL,
  subject_id    uuid NOT NULL,
  state         text NOT NULL DEFAULT 'due',
  attempts      integer NOT NULL DEFAULT 0, -- in all
  tries         integer NOT NULL DEFAULT 0, -- since it was last begun: gives the pause
  next_at       timestamptz NOT NULL DEFAULT now(),
  claimed_until timestamptz,
  created_at    timestamptz NOT NULL DEFAULT now(),
  done_at       timestamptz,
  PRIMARY KEY (party_id, id),
  CONSTRAINT hook_send_once UNIQUE (party_id, hook_id, seq),
  FOREIGN KEY (party_id, hook_id) REFERENCES ph.hook (party_id, id),
  CONSTRAINT hook_send_state_known CHECK (state IN ('due', 'sent', 'given_up')),
  CONSTRAINT hook_send_done_at CHECK ((state = 'due') = (done_at IS NULL))
);
CREATE INDEX hook_send_due ON ph.hook_send (party_id, hook_id, next_at, id) WHERE state = 'due';
CREATE INDEX hook_send_line ON ph.hook_send (party_id, hook_id, subject_id, seq) WHERE state = 'due';
CREATE INDEX hook_send_of_hook ON ph.hook_send (party_id, hook_id, message_id);
CREATE TABLE ph.hook_attempt (
  party_id uuid NOT NULL,
  hook_id  uuid NOT NULL,
  send_id  uuid NOT NULL,
  number   integer NOT NULL,
  at       timestamptz NOT NULL DEFAULT now(),
  status   integer,         -- NULL: no answer
  problem  text NOT NULL,   -- why there was none
  excerpt  text NOT NULL,   -- the answer's first bytes
  took_ms  integer NOT NULL,
  PRIMARY KEY (party_id, send_id, number),
  FOREIGN KEY (party_id, send_id) REFERENCES ph.hook_send (party_id, id) ON DELETE CASCADE, -- when the post forgets old messages
  CONSTRAINT hook_attempt_excerpt_short CHECK (char_length(excerpt) <= 1024 AND char_length(problem) <= 1024)
);

-- Mails to send. about holds ids and codes; the text is made when it is sent, and a one-time link's secret too.
CREATE TABLE ph.mail (
  id            uuid PRIMARY KEY,
  party_id      uuid NOT NULL REFERENCES ph.party,
  member_id     uuid, -- NULL: somebody who is invited
  address       text NOT NULL,
  kind          text NOT NULL,
  about         jsonb NOT NULL,
  cause         text NOT NULL, -- one mail for one cause
  state         text NOT NULL DEFAULT 'due',
  tries         integer NOT NULL DEFAULT 0,
  next_at       timestamptz NOT NULL DEFAULT now(),
  claimed_until timestamptz,
  created_at    timestamptz NOT NULL DEFAULT now(),
  done_at       timestamptz,
  problem       text NOT NULL DEFAULT '',
  CONSTRAINT mail_once UNIQUE (cause),
  FOREIGN KEY (party_id, member_id) REFERENCES ph.member (party_id, id),
  CONSTRAINT mail_state_known CHECK (state IN ('due', 'sent', 'refused', 'given_up', 'dropped')),
  CONSTRAINT mail_done_at CHECK ((state = 'due') = (done_at IS NULL)),
  CONSTRAINT mail_kind_known CHECK (kind IN ('invitation', 'reset', 'locked', 'news', 'digest', 'hook_disabled'))
);
CREATE INDEX mail_due ON ph.mail (next_at, id) WHERE state = 'due';
CREATE INDEX mail_age ON ph.mail (created_at);

-- One digest for a person and day: the key holds it, whatever restarts, doubles or clocks do. up_to is where the next
-- one goes on, so that nothing is told twice or left out.
CREATE TABLE ph.mail_day (
  party_id  uuid NOT NULL,
  member_id uuid NOT NULL,
  day       date NOT NULL,
  up_to     bigint NOT NULL,
  at        timestamptz NOT NULL DEFAULT now(),
  PRIMARY KEY (party_id, member_id, day),
  FOREIGN KEY (party_id, member_id) REFERENCES ph.member (party_id, id)
);
-- What a person wants to be told by mail, and how; where there is no row the topic's own rule counts.
CREATE TABLE ph.mail_choice (
  party_id  uuid NOT NULL,
  member_id uuid NOT NULL,
  topic     text NOT NULL,
  how       text NOT NULL,
  PRIMARY KEY (party_id, member_id, topic),
  FOREIGN KEY (party_id, member_id) REFERENCES ph.member (party_id, id),
  CONSTRAINT mail_choice_topic_known CHECK (topic IN ('decision', 'silence', 'question', 'inspection', 'terms', 'due')),
  CONSTRAINT mail_choice_how_known CHECK (how IN ('at_once', 'digest', 'never'))
);

-- One-time links to set a new password.
CREATE TABLE ph.password_reset (
  party_id    uuid NOT NULL,
  member_id   uuid NOT NULL,
  id          uuid NOT NULL,
  secret_hash bytea NOT NULL,
  created_at  timestamptz NOT NULL DEFAULT now(),
  expires_at  timestamptz NOT NULL,
  used_at     timestamptz,
  PRIMARY KEY (party_id, id),
  FOREIGN KEY (party_id, member_id) REFERENCES ph.member (party_id, id)
);
CREATE UNIQUE INDEX password_reset_secret_key ON ph.password_reset (secret_hash);
CREATE INDEX password_reset_of_member ON ph.password_reset (party_id, member_id, created_at);

-- An invitation goes out by mail in the transaction that makes it.
-- +goose StatementBegin
CREATE FUNCTION ph.mail_invitation(the_invitation uuid, the_mail uuid) RETURNS void LANGUAGE sql SECURITY DEFINER SET search_path = pg_catalog AS $$
  INSERT INTO ph.mail (id, party_id, address, kind, about, cause)
  SELECT the_mail, i.party_id, i.email, 'invitation', jsonb_build_object('invitation', i.id), 'invitation ' || i.id
  FROM ph.invitation i WHERE i.id = the_invitation AND (i.party_id = ph.app_party() OR i.engaged_by = ph.app_studio())
$$;
-- +goose StatementEnd

-- Begins a reset where the e-mail is a member's, three times an hour at most. The answer is the same either way.
-- +goose StatementBegin
CREATE FUNCTION ph.ask_reset(the_email text, the_id uuid, the_hash bytea) RETURNS void LANGUAGE sql SECURITY DEFINER SET search_path = pg_catalog AS $$
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
-- +goose StatementEnd

-- Whether a link can still be used.
-- +goose StatementBegin
CREATE FUNCTION ph.reset_stands(the_hash bytea) RETURNS boolean LANGUAGE sql STABLE SECURITY DEFINER SET search_path = pg_catalog AS $$
  SELECT EXISTS (SELECT FROM ph.password_reset r JOIN ph.member m ON m.party_id = r.party_id AND m.id = r.member_id
    WHERE r.secret_hash = the_hash AND r.used_at IS NULL AND r.expires_at > now() AND m.disabled_at IS NULL)
$$;
-- +goose StatementEnd

-- Sets the password, once; every session ends, and every other link.
-- +goose StatementBegin
CREATE FUNCTION ph.finish_reset(the_hash bytea, the_password text) RETURNS boolean LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog AS $$
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
  RETURN true;
END $$;
-- +goose StatementEnd

-- Tells a member that their log-in was slowed down or closed, once a day at most.
-- +goose StatementBegin
CREATE FUNCTION ph.mail_locked(the_email text, the_mail uuid) RETURNS void LANGUAGE sql SECURITY DEFINER SET search_path = pg_catalog AS $$
  INSERT INTO ph.mail (id, party_id, member_id, address, kind, about, cause)
  SELECT the_mail, m.party_id, m.id, m.email, 'locked', '{}', 'locked ' || m.id || ' ' || (now() AT TIME ZONE 'UTC')::date
  FROM ph.member m WHERE m.email = lower(the_email) AND m.disabled_at IS NULL
  ON CONFLICT (cause) DO NOTHING
$$;
-- +goose StatementEnd

-- Ends all mail to a member but the kinds that keep an account safe: the link of one click, RFC 8058.
-- +goose StatementBegin
CREATE FUNCTION ph.stop_mail(the_member uuid) RETURNS boolean LANGUAGE sql SECURITY DEFINER SET search_path = pg_catalog AS $$
  WITH stopped AS (
    INSERT INTO ph.mail_choice (party_id, member_id, topic, how)
    SELECT m.party_id, m.id, t, 'never' FROM ph.member m, unnest(ARRAY['decision', 'silence', 'question', 'inspection', 'terms', 'due']) t WHERE m.id = the_member
    ON CONFLICT (party_id, member_id, topic) DO UPDATE SET how = 'never' RETURNING 1)
  SELECT EXISTS (SELECT FROM stopped)
$$;
-- +goose StatementEnd
REVOKE ALL ON FUNCTION ph.mail_invitation(uuid, uuid), ph.ask_reset(text, uuid, bytea), ph.reset_stands(bytea), ph.finish_reset(bytea, text), ph.mail_locked(text, uuid),
  ph.stop_mail(uuid) FROM PUBLIC;
GRANT EXECUTE ON FUNCTION ph.mail_invitation(uuid, uuid) TO ph_api;
GRANT EXECUTE ON FUNCTION ph.ask_reset(text, uuid, bytea), ph.reset_stands(bytea), ph.finish_reset(bytea, text), ph.mail_locked(text, uuid), ph.stop_mail(uuid) TO ph_login;

-- Who is erased leaves no address in old mails.
-- +goose StatementBegin
CREATE FUNCTION ph.forget_mail() RETURNS trigger LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog AS $$
BEGIN
  DELETE FROM ph.mail m WHERE m.party_id = NEW.party_id AND (m.member_id = NEW.id OR m.address = OLD.email);
  RETURN NULL;
END $$;
-- +goose StatementEnd
CREATE TRIGGER forget_mail AFTER UPDATE OF email ON ph.member FOR EACH ROW WHEN (NEW.email <> OLD.email) EXECUTE FUNCTION ph.forget_mail();

-- A new secret of a webhook; the one before goes on signing for a while. No caller can read either.
-- +goose StatementBegin
CREATE FUNCTION ph.rotate_hook(the_hook uuid, the_secret bytea, the_overlap interval) RETURNS boolean LANGUAGE sql SECURITY DEFINER SET search_path = pg_catalog AS $$
  WITH turned AS (
    UPDATE ph.hook h SET secret = the_secret,
      previous = CASE WHEN the_overlap > interval '0' THEN h.secret END, previous_until = CASE WHEN the_overlap > interval '0' THEN now() + the_overlap END
    WHERE h.party_id = ph.app_party() AND h.id = the_hook AND h.removed_at IS NULL RETURNING 1)
  SELECT EXISTS (SELECT FROM turned)
$$;
-- +goose StatementEnd
REVOKE ALL ON FUNCTION ph.rotate_hook(uuid, bytea, interval) FROM PUBLIC;
GRANT EXECUTE ON FUNCTION ph.rotate_hook(uuid, bytea, interval) TO ph_api;

-- How a member reads. The columns come with a later migration; plpgsql looks for them when it is called.
-- +goose StatementBegin
CREATE FUNCTION ph.mail_reader(the_party uuid, the_member uuid) RETURNS TABLE (language text, time_zone text)
LANGUAGE plpgsql STABLE SECURITY DEFINER SET search_path = pg_catalog AS $$
#variable_conflict use_column
BEGIN
  RETURN QUERY SELECT coalesce(m.language, ''),
    coalesce(m.time_zone, (SELECT c.time_zone FROM ph.calendar c WHERE c.party_id = m.party_id ORDER BY c.number DESC LIMIT 1), 'UTC')
  FROM ph.member m WHERE m.party_id = the_party AND m.id = the_member;
END $$;
-- +goose StatementEnd
REVOKE ALL ON FUNCTION ph.mail_reader(uuid, uuid) FROM PUBLIC;
GRANT EXECUTE ON FUNCTION ph.mail_reader(uuid, uuid) TO ph_post;

-- The post works for every party. It reads what news are made of (prices only where a fact's leaf holds one) and writes
-- only what is its own.
GRANT USAGE ON SCHEMA ph TO ph_post;
-- +goose StatementBegin
DO $$
DECLARE r record;
BEGIN
  FOR r IN SELECT unnest(ARRAY['feed', 'news', 'due_told', 'hook', 'hook_send', 'hook_attempt', 'mail', 'mail_day', 'mail_choice', 'password_reset']) AS name LOOP
    EXECUTE format('ALTER TABLE ph.%I ENABLE ROW LEVEL SECURITY', r.name);
    EXECUTE format('ALTER TABLE ph.%I FORCE ROW LEVEL SECURITY', r.name);
    EXECUTE format('CREATE POLICY %I ON ph.%I TO ph_owner USING (true) WITH CHECK (true)', r.name || '_owner', r.name);
    EXECUTE format('GRANT SELECT ON ph.%I TO ph_backup', r.name);
  END LOOP;
  FOR r IN SELECT unnest(ARRAY['log', 'fact', 'work_order', 'prop', 'milestone', 'delivery', 'permission', 'question', 'payment_hold', 'engagement', 'party', 'member', 'invitation', 'calendar',
    'feed', 'news', 'due_told', 'hook', 'hook_send', 'hook_attempt', 'mail', 'mail_day', 'mail_choice']) AS name LOOP
    EXECUTE format('CREATE POLICY %I ON ph.%I TO ph_post USING (true) WITH CHECK (true)', r.name || '_post', r.name);
  END LOOP;
  -- A party reads its own news, hooks and what became of them.
  FOR r IN SELECT unnest(ARRAY['news', 'hook', 'hook_send', 'hook_attempt']) AS name LOOP
    EXECUTE format('CREATE POLICY %I ON ph.%I FOR SELECT TO ph_api USING (party_id = ph.app_party())', r.name || '_read', r.name);
  END LOOP;
END $$;
-- +goose StatementEnd
GRANT SELECT (studio_id, vendor_id, id, size, told_size), UPDATE (told_size) ON ph.log TO ph_post;
GRANT SELECT (studio_id, vendor_id, log_id, idx, kind, version, subject_id, actor, member_id, recorded_at, body) ON ph.fact TO ph_post;
GRANT SELECT (studio_id, vendor_id, id, code, title, codename, nda_required) ON ph.work_order TO ph_post;
GRANT SELECT (studio_id, vendor_id, work_order_id, id, code) ON ph.prop TO ph_post;
GRANT SELECT (studio_id, vendor_id, work_order_id, prop_id, id, kind, state, due_sort) ON ph.milestone TO ph_post;
GRANT SELECT (studio_id, vendor_id, work_order_id, prop_id, milestone_id, id, number, opened_by, sealed_by, batch_id) ON ph.delivery TO ph_post;
GRANT SELECT (studio_id, id, prop_id) ON ph.permission TO ph_post;
GRANT SELECT (studio_id, id, prop_id, milestone_id) ON ph.payment_hold TO ph_post;
GRANT SELECT (party_id, id, side, name, email, roles, disabled_at) ON ph.member TO ph_post;
GRANT SELECT (party_id, id, side, email, roles, expires_at, accepted_at) ON ph.invitation TO ph_post;
GRANT SELECT (id, side, name) ON ph.party TO ph_post;
GRANT SELECT (party_id, number, time_zone) ON ph.calendar TO ph_post;
GRANT SELECT, INSERT, UPDATE ON ph.feed, ph.hook_send, ph.mail TO ph_post;
GRANT SELECT, INSERT ON ph.news, ph.due_told, ph.hook_attempt, ph.mail_day TO ph_post;
GRANT DELETE ON ph.news, ph.hook_send, ph.mail, ph.mail_day TO ph_post;
GRANT SELECT, UPDATE (failing_since, disabled_at, disabled_why) ON ph.hook TO ph_post;
GRANT SELECT ON ph.mail_choice TO ph_post;

GRANT SELECT ON ph.news, ph.hook_send, ph.hook_attempt TO ph_api;
GRANT SELECT (party_id, id, url, kinds, previous_until, made_by, created_at, failing_since, disabled_at, disabled_why, removed_at) ON ph.hook TO ph_api;
GRANT INSERT, UPDATE (url, kinds, failing_since, disabled_at, disabled_why, removed_at) ON ph.hook TO ph_api;
CREATE POLICY hook_insert ON ph.hook FOR INSERT TO ph_api WITH CHECK (party_id = ph.app_party() AND made_by = ph.app_member());
CREATE POLICY hook_update ON ph.hook FOR UPDATE TO ph_api USING (party_id = ph.app_party()) WITH CHECK (party_id = ph.app_party());
GRANT INSERT, UPDATE (state, tries, next_at, claimed_until, done_at) ON ph.hook_send TO ph_api; -- replays
CREATE POLICY hook_send_insert ON ph.hook_send FOR INSERT TO ph_api WITH CHECK (party_id = ph.app_party());
CREATE POLICY hook_send_update ON ph.hook_send FOR UPDATE TO ph_api USING (party_id = ph.app_party()) WITH CHECK (party_id = ph.app_party());
CREATE POLICY mail_choice_own ON ph.mail_choice TO ph_api
  USING (party_id = ph.app_party() AND member_id = ph.app_member()) WITH CHECK (party_id = ph.app_party() AND member_id = ph.app_member());
GRANT SELECT, INSERT, UPDATE ON ph.mail_choice TO ph_api;
