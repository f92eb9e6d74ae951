-- Kits and kinds of props, batches of deliveries, questions with a clock, notes pinned to a place, permissions before and
-- after the work.
-- Lock: ACCESS EXCLUSIVE on prop, delivery, inspection, note and concession for a moment each. Cost: constant defaults, no
-- rewrite; one index is built on prop and one on delivery (1 s for a million deliveries) and stops writing meanwhile.

-- +goose Up

INSERT INTO ph.move (machine, from_state, event, to_state, actor) VALUES
  ('question',   '',          'ask',             'asked',     'vendor'),
  ('question',   'asked',     'answer',          'answered',  'studio'),
  ('question',   'answered',  'ask_again',       'asked',     'vendor'),
  ('question',   'asked',     'close',           'closed',    'vendor'),
  ('question',   'answered',  'close',           'closed',    'vendor'),
  ('permission', '',          'vendor_requests', 'requested', 'vendor'),
  ('permission', '',          'studio_grants',   'granted',   'studio'),
  ('permission', 'requested', 'grant',           'granted',   'studio'),
  ('permission', 'requested', 'refuse',          'refused',   'studio'),
  ('permission', 'requested', 'withdraw',        'withdrawn', 'vendor'),
  ('permission', 'granted',   'revoke',          'revoked',   'studio');

ALTER TABLE ph.prop
  ADD COLUMN kind          text NOT NULL DEFAULT 'prop',
  ADD COLUMN kit           text,                          -- what it is a piece of
  ADD COLUMN pilot         boolean NOT NULL DEFAULT false, -- the first of its kit: the others wait for it
  ADD COLUMN blocked_by    integer NOT NULL DEFAULT 0,    -- questions that wait for the studio
  ADD COLUMN blocked_since timestamptz,
  ADD COLUMN blocked_secs  bigint NOT NULL DEFAULT 0,
  ADD CONSTRAINT prop_kind_known CHECK (kind IN ('prop', 'texture_set', 'kit')) NOT VALID,
  ADD CONSTRAINT prop_kit_form CHECK (kit ~ '^[A-Za-z0-9][A-Za-z0-9_.-]{0,63}$') NOT VALID,
  ADD CONSTRAINT prop_pilot_has_kit CHECK (NOT pilot OR kit IS NOT NULL) NOT VALID;
CREATE UNIQUE INDEX prop_pilot_key ON ph.prop (studio_id, work_order_id, kit) WHERE pilot;

CREATE TABLE ph.batch (
  studio_id     uuid NOT NULL,
  vendor_id     uuid NOT NULL,
  work_order_id uuid NOT NULL,
  id            uuid NOT NULL,
  number        integer NOT NULL,
  title         text NOT NULL,
  opened_by     uuid NOT NULL,
  by_name       text,
  opened_at     timestamptz NOT NULL DEFAULT now(),
  sealed_at     timestamptz,
  PRIMARY KEY (studio_id, id),
  CONSTRAINT batch_parties UNIQUE (studio_id, vendor_id, work_order_id, id),
  CONSTRAINT batch_number_key UNIQUE (studio_id, work_order_id, number),
  FOREIGN KEY (studio_id, vendor_id, work_order_id) REFERENCES ph.work_order (studio_id, vendor_id, id),
  CONSTRAINT batch_title_length CHECK (char_length(title) BETWEEN 1 AND 200)
);
CREATE INDEX batch_by_vendor ON ph.batch (vendor_id, id);
ALTER TABLE ph.delivery ADD COLUMN batch_id uuid,
  ADD CONSTRAINT delivery_batch FOREIGN KEY (studio_id, vendor_id, work_order_id, batch_id) REFERENCES ph.batch (studio_id, vendor_id, work_order_id, id);
CREATE INDEX delivery_of_batch ON ph.delivery (studio_id, batch_id, id) WHERE batch_id IS NOT NULL;

CREATE TABLE ph.question (
  studio_id     uuid NOT NULL,
  vendor_id     uuid NOT NULL,
  work_order_id uuid NOT NULL,
  prop_id       uuid NOT NULL,
  id            uuid NOT NULL,
  number        integer NOT NULL,
  blocks        boolean NOT NULL, -- the vendor cannot go on before the answer
  state         text NOT NULL,
  last_event    text NOT NULL,
  since         timestamptz NOT NULL DEFAULT now(),
  waited_secs   bigint NOT NULL DEFAULT 0, -- on the studio's desk, of the times that ended
  asked_by      uuid NOT NULL,
  by_name       text,
  asked_at      timestamptz NOT NULL DEFAULT now(),
  PRIMARY KEY (studio_id, id),
  CONSTRAINT question_parties UNIQUE (studio_id, vendor_id, work_order_id, id),
  CONSTRAINT question_number_key UNIQUE (studio_id, prop_id, number),
  FOREIGN KEY (studio_id, vendor_id, work_order_id, prop_id) REFERENCES ph.prop (studio_id, vendor_id, work_order_id, id),
  CONSTRAINT question_state_known CHECK (state IN ('asked', 'answered', 'closed'))
);
CREATE INDEX question_of_order ON ph.question (studio_id, work_order_id, id);
CREATE INDEX question_by_vendor ON ph.question (vendor_id, id);

-- Before the guard (triggers run in the order of their names): the time that a question waited.
-- +goose StatementBegin
CREATE FUNCTION ph.question_clock() RETURNS trigger LANGUAGE plpgsql SET search_path = pg_catalog AS $$
BEGIN
  IF OLD.state = 'asked' AND NEW.state <> 'asked' THEN
    NEW.waited_secs := OLD.waited_secs + greatest(0, extract(epoch FROM now() - OLD.since))::bigint;
  END IF;
  RETURN NEW;
END $$;
-- +goose StatementEnd
CREATE TRIGGER question_clock BEFORE UPDATE OF state, last_event, since ON ph.question FOR EACH ROW EXECUTE FUNCTION ph.question_clock();
CREATE TRIGGER question_guard BEFORE INSERT OR UPDATE OF state, last_event, since ON ph.question FOR EACH ROW EXECUTE FUNCTION ph.state_guard('question');

-- The time that a prop is blocked: while any blocking question waits, counted once however many do. Nobody else may write it.
-- +goose StatementBegin
CREATE FUNCTION ph.question_blocks() RETURNS trigger LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog AS $$
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
-- +goose StatementEnd
CREATE TRIGGER question_blocks AFTER INSERT OR UPDATE ON ph.question FOR EACH ROW EXECUTE FUNCTION ph.question_blocks();

CREATE TABLE ph.question_message (
  studio_id        uuid NOT NULL,
  vendor_id        uuid NOT NULL,
  work_order_id    uuid NOT NULL,
  question_id      uuid NOT NULL,
  id               uuid NOT NULL,
  side             text NOT NULL,
  event            text NOT NULL,
  text             text NOT NULL,
  salt             bytea NOT NULL,
  spec_revision_id uuid, -- the answer, where it became one
  by_member        uuid NOT NULL,
  by_name          text,
  at               timestamptz NOT NULL DEFAULT now(),
  PRIMARY KEY (studio_id, id),
  FOREIGN KEY (studio_id, vendor_id, work_order_id, question_id) REFERENCES ph.question (studio_id, vendor_id, work_order_id, id),
  FOREIGN KEY (studio_id, spec_revision_id) REFERENCES ph.spec_revision (studio_id, id),
  CONSTRAINT question_message_side_known CHECK (side IN ('studio', 'vendor')),
  CONSTRAINT question_message_text_length CHECK (char_length(text) BETWEEN (event <> 'close')::integer AND 10000)
);
CREATE INDEX question_message_of ON ph.question_message (studio_id, question_id, id);
CREATE INDEX question_message_of_order ON ph.question_message (studio_id, work_order_id, id);

-- A note may point at a place, answer another note, and be settled.
ALTER TABLE ph.note ADD COLUMN pin jsonb, ADD COLUMN reply_to uuid,
  ADD CONSTRAINT note_reply FOREIGN KEY (studio_id, reply_to) REFERENCES ph.note (studio_id, id);
CREATE TABLE ph.note_resolution (
  studio_id     uuid NOT NULL,
  vendor_id     uuid, -- NULL: of a private note
  work_order_id uuid NOT NULL,
  note_id       uuid NOT NULL,
  id            uuid NOT NULL,
  side          text NOT NULL,
  resolved      boolean NOT NULL, -- false: open again
  delivery_id   uuid,             -- in which it is mended
  by_member     uuid NOT NULL,
  by_name       text,
  at            timestamptz NOT NULL DEFAULT now(),
  PRIMARY KEY (studio_id, id),
  FOREIGN KEY (studio_id, note_id) REFERENCES ph.note (studio_id, id),
  FOREIGN KEY (studio_id, delivery_id) REFERENCES ph.delivery (studio_id, id),
  CONSTRAINT note_resolution_side_known CHECK (side IN ('studio', 'vendor')),
  CONSTRAINT note_resolution_private_is_the_studios CHECK (vendor_id IS NOT NULL OR side = 'studio')
);
CREATE INDEX note_resolution_of ON ph.note_resolution (studio_id, note_id, id);
CREATE INDEX note_resolution_of_order ON ph.note_resolution (studio_id, work_order_id, id);

-- Deviation permits before the work, and concessions that go beyond one finding (ISO 9000): a check may fail, up to a
-- worst value, on one prop, a kit or the whole order, until a day.
CREATE TABLE ph.permission (
  studio_id      uuid NOT NULL,
  vendor_id      uuid NOT NULL,
  work_order_id  uuid NOT NULL,
  id             uuid NOT NULL,
  kind           text NOT NULL,
  prop_id        uuid,
  kit            text,
  chk            text NOT NULL,
  part           text NOT NULL, -- '' any
  set_name       text NOT NULL,
  worst          double precision, -- NULL: any value
  until_on       date,
  reason         text NOT NULL,
  state          text NOT NULL,
  last_event     text NOT NULL,
  since          timestamptz NOT NULL DEFAULT now(),
  side           text NOT NULL,
  by_member      uuid NOT NULL,
  by_name        text,
  at             timestamptz NOT NULL DEFAULT now(),
  PRIMARY KEY (studio_id, id),
  CONSTRAINT permission_parties UNIQUE (studio_id, vendor_id, work_order_id, id),
  FOREIGN KEY (studio_id, vendor_id, work_order_id) REFERENCES ph.work_order (studio_id, vendor_id, id),
  FOREIGN KEY (studio_id, vendor_id, work_order_id, prop_id) REFERENCES ph.prop (studio_id, vendor_id, work_order_id, id),
  CONSTRAINT permission_kind_known CHECK (kind IN ('permit', 'concession')),
  CONSTRAINT permission_state_known CHECK (state IN ('requested', 'granted', 'refused', 'withdrawn', 'revoked')),
  CONSTRAINT permission_one_scope CHECK (prop_id IS NULL OR kit IS NULL),
  CONSTRAINT permission_side_known CHECK (side IN ('studio', 'vendor')),
  CONSTRAINT permission_reason_length CHECK (char_length(reason) BETWEEN 1 AND 4000)
);
CREATE INDEX permission_granted ON ph.permission (studio_id, work_order_id, chk) WHERE state = 'granted';
CREATE INDEX permission_of_order ON ph.permission (studio_id, work_order_id, id);
CREATE INDEX permission_by_vendor ON ph.permission (vendor_id, id);
CREATE TRIGGER permission_guard BEFORE INSERT OR UPDATE OF state, last_event, since ON ph.permission FOR EACH ROW EXECUTE FUNCTION ph.state_guard('permission');

CREATE TABLE ph.permission_decision (
  studio_id     uuid NOT NULL,
  vendor_id     uuid NOT NULL,
  work_order_id uuid NOT NULL,
  permission_id uuid NOT NULL,
  id            uuid NOT NULL,
  side          text NOT NULL,
  event         text NOT NULL,
  reason        text NOT NULL,
  by_member     uuid NOT NULL,
  by_name       text,
  at            timestamptz NOT NULL DEFAULT now(),
  PRIMARY KEY (studio_id, id),
  FOREIGN KEY (studio_id, vendor_id, work_order_id, permission_id) REFERENCES ph.permission (studio_id, vendor_id, work_order_id, id),
  CONSTRAINT permission_decision_side_known CHECK (side IN ('studio', 'vendor')),
  CONSTRAINT permission_decision_reason_length CHECK (char_length(reason) <= 4000)
);
CREATE INDEX permission_decision_of ON ph.permission_decision (studio_id, permission_id, id);
CREATE INDEX permission_decision_of_order ON ph.permission_decision (studio_id, work_order_id, id);

ALTER TABLE ph.concession ADD COLUMN permission_id uuid,
  ADD CONSTRAINT concession_permission FOREIGN KEY (studio_id, vendor_id, work_order_id, permission_id) REFERENCES ph.permission (studio_id, vendor_id, work_order_id, id);
ALTER TABLE ph.inspection ADD COLUMN permitted integer; -- blocking findings that failed and were permitted

-- +goose StatementBegin
DO $$
DECLARE r record; studio text := 'studio_id = ph.app_studio()'; vendor text := 'vendor_id = ph.app_vendor()';
  sided text := '(studio_id = ph.app_studio() AND side = ''studio'') OR (vendor_id = ph.app_vendor() AND side = ''vendor'')';
BEGIN
  FOR r IN SELECT * FROM (VALUES
    ('batch',            vendor, vendor),
    ('question',         vendor, studio || ' OR ' || vendor),
    ('question_message', sided,  NULL),
    ('note_resolution',  sided,  NULL),
    ('permission_decision', sided, NULL),
    ('permission',       sided,  studio || ' OR ' || vendor)
  ) AS t (name, inserts, updates) LOOP
    EXECUTE format('ALTER TABLE ph.%I ENABLE ROW LEVEL SECURITY', r.name);
    EXECUTE format('ALTER TABLE ph.%I FORCE ROW LEVEL SECURITY', r.name);
    EXECUTE format('CREATE POLICY %I ON ph.%I TO ph_owner USING (true) WITH CHECK (true)', r.name || '_owner', r.name);
    EXECUTE format('CREATE POLICY %I ON ph.%I FOR SELECT TO ph_api USING (%s OR %s)', r.name || '_read', r.name, studio, vendor);
    EXECUTE format('CREATE POLICY %I ON ph.%I FOR INSERT TO ph_api WITH CHECK (%s)', r.name || '_insert', r.name, r.inserts);
    EXECUTE format('GRANT SELECT, INSERT ON ph.%I TO ph_api', r.name);
    EXECUTE format('GRANT SELECT ON ph.%I TO ph_backup', r.name);
    IF r.updates IS NOT NULL THEN
      EXECUTE format('CREATE POLICY %I ON ph.%I FOR UPDATE TO ph_api USING (%s) WITH CHECK (%s)', r.name || '_update', r.name, r.updates, r.updates);
    END IF;
  END LOOP;
END $$;
-- +goose StatementEnd
GRANT UPDATE (sealed_at) ON ph.batch TO ph_api;
GRANT UPDATE (state, last_event) ON ph.question TO ph_api;
GRANT UPDATE (state, last_event) ON ph.permission TO ph_api;
CREATE POLICY permission_worker ON ph.permission FOR SELECT TO ph_worker USING (true);
GRANT SELECT (studio_id, work_order_id, id, prop_id, kit, chk, part, set_name, worst, until_on, state) ON ph.permission TO ph_worker;
GRANT SELECT (kit) ON ph.prop TO ph_worker;
GRANT SELECT (permitted), UPDATE (permitted) ON ph.inspection TO ph_worker;
