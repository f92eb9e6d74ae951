-- Calendars, change orders, rework by cause, clocks of both sides, silence that accepts, cancelling with a fee.
-- Lock: ACCESS EXCLUSIVE on milestone, work_order, delivery, sign_off, cancellation, payable and milestone_move for a
-- moment each. Cost: new columns have constant defaults (no rewrite), new checks on old rows are NOT VALID; three indexes
-- are built on payable and milestone, which have a row per milestone (0.2 s for 300,000) and stop writing meanwhile. Not
-- CONCURRENTLY: that waits for every snapshot, also for a second migration that waits for this one.

-- +goose Up

-- One table of transitions for every state machine of the ledger.
ALTER TABLE ph.milestone_move RENAME TO move;
ALTER TABLE ph.move ADD COLUMN machine text NOT NULL DEFAULT 'milestone';
ALTER TABLE ph.move ALTER COLUMN machine DROP DEFAULT;
ALTER TABLE ph.move DROP CONSTRAINT milestone_move_pkey;
ALTER TABLE ph.move ADD CONSTRAINT move_pkey PRIMARY KEY (machine, from_state, event);
INSERT INTO ph.move (machine, from_state, event, to_state, actor) VALUES
  ('milestone', 'review', 'hold',   'held',      'studio'),
  ('milestone', 'held',   'resume', 'review',    'studio'),
  ('milestone', 'held',   'cancel', 'cancelled', 'studio'),
  ('milestone', 'review', 'deem',   'accepted',  'machine'),
  ('change_order', '',           'studio_offers', 'for_vendor', 'studio'),
  ('change_order', '',           'vendor_offers', 'for_studio', 'vendor'),
  ('change_order', 'for_vendor', 'agree',         'agreed',     'vendor'),
  ('change_order', 'for_vendor', 'decline',       'declined',   'vendor'),
  ('change_order', 'for_vendor', 'withdraw',      'withdrawn',  'studio'),
  ('change_order', 'for_studio', 'agree',         'agreed',     'studio'),
  ('change_order', 'for_studio', 'decline',       'declined',   'studio'),
  ('change_order', 'for_studio', 'withdraw',      'withdrawn',  'vendor');
GRANT SELECT ON ph.move TO ph_clock;
CREATE POLICY move_clock ON ph.move FOR SELECT TO ph_clock USING (true);

-- Who acts in this transaction.
CREATE FUNCTION ph.app_actor() RETURNS text LANGUAGE sql STABLE PARALLEL SAFE SET search_path = pg_catalog
  AS $$ SELECT CASE WHEN ph.app_studio() IS NOT NULL THEN 'studio' WHEN ph.app_vendor() IS NOT NULL THEN 'vendor' ELSE 'machine' END $$;

-- Refuses every beginning and every change of state that is not a row of ph.move for this machine and caller.
-- +goose StatementBegin
CREATE FUNCTION ph.state_guard() RETURNS trigger LANGUAGE plpgsql SET search_path = pg_catalog AS $$
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
-- +goose StatementEnd

ALTER TABLE ph.milestone DROP CONSTRAINT milestone_state_known;
ALTER TABLE ph.milestone ADD CONSTRAINT milestone_state_known
  CHECK (state IN ('open', 'inspecting', 'failed', 'stuck', 'review', 'held', 'returned', 'accepted', 'cancelled')) NOT VALID;
ALTER TABLE ph.milestone ALTER COLUMN due_sort DROP EXPRESSION;
ALTER TABLE ph.milestone
  ADD COLUMN due_moved      date,                        -- by an agreed change order
  ADD COLUMN change_minor   bigint NOT NULL DEFAULT 0,   -- of agreed change orders
  ADD COLUMN rework_vendor  integer NOT NULL DEFAULT 0,  -- rounds after the first: the vendor's nonconformities
  ADD COLUMN rework_studio  integer NOT NULL DEFAULT 0,  -- and the studio's changed minds
  ADD COLUMN review_due_at  timestamptz,                 -- while in review
  ADD COLUMN vendor_secs    bigint NOT NULL DEFAULT 0,   -- time on each desk, of the states left so far
  ADD COLUMN studio_secs    bigint NOT NULL DEFAULT 0,
  ADD COLUMN inspector_secs bigint NOT NULL DEFAULT 0;

CREATE INDEX milestone_review_due ON ph.milestone (review_due_at, id) WHERE state = 'review'; -- what the clock looks for

-- +goose StatementBegin
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
-- +goose StatementEnd

ALTER TABLE ph.work_order
  ADD COLUMN silence_accepts boolean NOT NULL DEFAULT false,
  ADD COLUMN kill_fee_bp     integer NOT NULL DEFAULT 0,
  ADD CONSTRAINT work_order_kill_fee_range CHECK (kill_fee_bp BETWEEN 0 AND 10000) NOT VALID;

-- A party's calendar, in numbered revisions: a holiday that comes later makes a new one.
CREATE TABLE ph.calendar (
  party_id   uuid NOT NULL REFERENCES ph.party,
  id         uuid NOT NULL,
  number     integer NOT NULL,
  time_zone  text NOT NULL,
  workdays   smallint[] NOT NULL, -- ISO 8601: 1 is Monday, 7 Sunday
  holidays   date[] NOT NULL,
  by_member  uuid NOT NULL,
  by_name    text,
  created_at timestamptz NOT NULL DEFAULT now(),
  PRIMARY KEY (party_id, id),
  CONSTRAINT calendar_number_key UNIQUE (party_id, number),
  CONSTRAINT calendar_workdays_known CHECK (cardinality(workdays) BETWEEN 1 AND 7 AND workdays <@ ARRAY[1, 2, 3, 4, 5, 6, 7]::smallint[]),
  CONSTRAINT calendar_holidays_few CHECK (cardinality(holidays) <= 1000)
);

-- The revision that a side promised to work by on an order, copied in so that both see it. It never changes.
CREATE TABLE ph.order_calendar (
  studio_id     uuid NOT NULL,
  vendor_id     uuid NOT NULL,
  work_order_id uuid NOT NULL,
  id            uuid NOT NULL,
  side          text NOT NULL,
  calendar_id   uuid NOT NULL,
  number        integer NOT NULL,
  time_zone     text NOT NULL,
  workdays      smallint[] NOT NULL,
  holidays      date[] NOT NULL,
  by_member     uuid NOT NULL,
  by_name       text,
  at            timestamptz NOT NULL DEFAULT now(),
  PRIMARY KEY (studio_id, id),
  CONSTRAINT order_calendar_once UNIQUE (studio_id, work_order_id, side),
  FOREIGN KEY (studio_id, vendor_id, work_order_id) REFERENCES ph.work_order (studio_id, vendor_id, id),
  CONSTRAINT order_calendar_side_known CHECK (side IN ('studio', 'vendor'))
);
CREATE INDEX order_calendar_by_vendor ON ph.order_calendar (vendor_id, work_order_id);

-- Why a delivery was a further round; NULL for a first one and for those of before this column.
ALTER TABLE ph.delivery ADD COLUMN round_cause text,
  ADD CONSTRAINT delivery_round_cause_known CHECK (round_cause IN ('first', 'nonconformity', 'changed_mind', 'not_evaluated')) NOT VALID;

-- Offered by one side, agreed or declined by the other. What it changes is only what was agreed.
CREATE TABLE ph.change_order (
  studio_id        uuid NOT NULL,
  vendor_id        uuid NOT NULL,
  work_order_id    uuid NOT NULL,
  prop_id          uuid NOT NULL,
  milestone_id     uuid NOT NULL,
  id               uuid NOT NULL,
  title            text NOT NULL,
  reason           text NOT NULL,
  delta_minor      bigint NOT NULL, -- added to the milestone's amount
  due_on           date,            -- NULL: the due date stays
  spec_revision_id uuid,            -- that it prices
  delivery_id      uuid,            -- returned because the studio changed its mind
  state            text NOT NULL,
  last_event       text NOT NULL,
  since            timestamptz NOT NULL DEFAULT now(),
  offered_by       uuid NOT NULL,
  by_name          text,
  offered_at       timestamptz NOT NULL DEFAULT now(),
  decided_by       uuid,
  decided_reason   text,
  PRIMARY KEY (studio_id, id),
  CONSTRAINT change_order_parties UNIQUE (studio_id, vendor_id, work_order_id, id),
  FOREIGN KEY (studio_id, vendor_id, work_order_id, prop_id, milestone_id) REFERENCES ph.milestone (studio_id, vendor_id, work_order_id, prop_id, id),
  FOREIGN KEY (studio_id, prop_id, spec_revision_id) REFERENCES ph.spec_revision (studio_id, prop_id, id),
  FOREIGN KEY (studio_id, vendor_id, work_order_id, delivery_id) REFERENCES ph.delivery (studio_id, vendor_id, work_order_id, id),
  CONSTRAINT change_order_state_known CHECK (state IN ('for_vendor', 'for_studio', 'agreed', 'declined', 'withdrawn')),
  CONSTRAINT change_order_title_length CHECK (char_length(title) BETWEEN 1 AND 200),
  CONSTRAINT change_order_reason_length CHECK (char_length(reason) BETWEEN 1 AND 4000),
  CONSTRAINT change_order_delta_range CHECK (delta_minor BETWEEN -1000000000000 AND 1000000000000)
);
CREATE UNIQUE INDEX change_order_of_spec_key ON ph.change_order (studio_id, spec_revision_id) WHERE state IN ('for_vendor', 'for_studio', 'agreed');
CREATE INDEX change_order_of_order ON ph.change_order (studio_id, work_order_id, id);
CREATE INDEX change_order_by_vendor ON ph.change_order (vendor_id, id);
CREATE INDEX change_order_of_milestone ON ph.change_order (studio_id, milestone_id);
CREATE TRIGGER change_order_guard BEFORE INSERT OR UPDATE OF state, last_event, since ON ph.change_order FOR EACH ROW EXECUTE FUNCTION ph.state_guard('change_order');

-- An agreed change takes effect on its milestone; nobody else may write these columns.
-- +goose StatementBegin
CREATE FUNCTION ph.change_order_agreed() RETURNS trigger LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog AS $$
BEGIN
  IF NEW.state = 'agreed' AND OLD.state <> 'agreed' THEN
    UPDATE ph.milestone m SET change_minor = m.change_minor + NEW.delta_minor, due_moved = coalesce(NEW.due_on, m.due_moved),
      due_sort = coalesce(NEW.due_on, m.due_sort)
    WHERE m.studio_id = NEW.studio_id AND m.id = NEW.milestone_id;
  END IF;
  RETURN NULL;
END $$;
-- +goose StatementEnd
CREATE TRIGGER change_order_agreed AFTER UPDATE ON ph.change_order FOR EACH ROW EXECUTE FUNCTION ph.change_order_agreed();
ALTER TABLE ph.milestone ADD CONSTRAINT milestone_changed_amount_range CHECK (amount_minor + change_minor >= 0) NOT VALID;

-- Silence accepts only after a reminder that is at least one working day old; the times are worked out by the calendar
-- that the studio pinned. 20 hours: a working day that loses an hour to summer time, and the rest of a night before it.
CREATE TABLE ph.reminder (
  studio_id     uuid NOT NULL,
  vendor_id     uuid NOT NULL,
  work_order_id uuid NOT NULL,
  prop_id       uuid NOT NULL,
  milestone_id  uuid NOT NULL,
  delivery_id   uuid NOT NULL,
  id            uuid NOT NULL,
  review_due_at timestamptz NOT NULL,
  effective_at  timestamptz NOT NULL, -- when silence accepts
  at            timestamptz NOT NULL DEFAULT now(),
  PRIMARY KEY (studio_id, id),
  CONSTRAINT reminder_of_delivery UNIQUE (studio_id, delivery_id, id, effective_at),
  FOREIGN KEY (studio_id, vendor_id, work_order_id, prop_id, milestone_id, delivery_id)
    REFERENCES ph.delivery (studio_id, vendor_id, work_order_id, prop_id, milestone_id, id),
  CONSTRAINT reminder_leaves_time CHECK (effective_at >= at + interval '20 hours' AND effective_at >= review_due_at)
);
CREATE INDEX reminder_due ON ph.reminder (effective_at, id);
CREATE INDEX reminder_of_milestone ON ph.reminder (studio_id, milestone_id, id);

ALTER TABLE ph.sign_off
  ADD COLUMN cause        text,        -- of a return
  ADD COLUMN reminder_id  uuid,        -- of an acceptance by silence
  ADD COLUMN effective_at timestamptz;
ALTER TABLE ph.sign_off ALTER COLUMN by_member DROP NOT NULL;
ALTER TABLE ph.sign_off DROP CONSTRAINT sign_off_decision_known, DROP CONSTRAINT sign_off_role_known, DROP CONSTRAINT sign_off_not_by_own_hand;
ALTER TABLE ph.sign_off
  ADD CONSTRAINT sign_off_decision_known CHECK (decision IN ('accept', 'accept_note', 'accept_as_is', 'return', 'deemed')) NOT VALID,
  ADD CONSTRAINT sign_off_role_known CHECK (by_role IN ('art_director', 'technical_artist', 'clock')) NOT VALID,
  ADD CONSTRAINT sign_off_not_by_own_hand CHECK (by_member <> opened_by AND by_member <> sealed_by) NOT VALID,
  ADD CONSTRAINT sign_off_by_somebody CHECK ((decision = 'deemed') = (by_member IS NULL) AND (decision = 'deemed') = (by_role = 'clock')) NOT VALID,
  ADD CONSTRAINT sign_off_cause_known CHECK (cause IS NULL OR (cause IN ('nonconformity', 'changed_mind') AND decision = 'return')) NOT VALID,
  ADD CONSTRAINT sign_off_silence_was_announced CHECK ((decision = 'deemed') = (reminder_id IS NOT NULL) AND
    (decision = 'deemed') = (effective_at IS NOT NULL) AND (effective_at IS NULL OR effective_at <= at)) NOT VALID,
  ADD CONSTRAINT sign_off_reminder FOREIGN KEY (studio_id, delivery_id, reminder_id, effective_at) REFERENCES ph.reminder (studio_id, delivery_id, id, effective_at);

ALTER TABLE ph.cancellation ADD COLUMN fee_minor bigint NOT NULL DEFAULT 0,
  ADD CONSTRAINT cancellation_fee_range CHECK (fee_minor >= 0) NOT VALID,
  ADD CONSTRAINT cancellation_parties UNIQUE (studio_id, vendor_id, work_order_id, id);
ALTER TABLE ph.payable ADD COLUMN kind text NOT NULL DEFAULT 'milestone', ADD COLUMN cancellation_id uuid;
ALTER TABLE ph.payable ALTER COLUMN sign_off_id DROP NOT NULL;
ALTER TABLE ph.payable
  ADD CONSTRAINT payable_has_its_ground CHECK (CASE kind WHEN 'milestone' THEN sign_off_id IS NOT NULL AND cancellation_id IS NULL
    WHEN 'kill_fee' THEN sign_off_id IS NULL AND cancellation_id IS NOT NULL ELSE false END) NOT VALID,
  ADD CONSTRAINT payable_cancellation FOREIGN KEY (studio_id, vendor_id, work_order_id, cancellation_id) REFERENCES ph.cancellation (studio_id, vendor_id, work_order_id, id);
CREATE INDEX payable_by_time ON ph.payable (studio_id, at, id);
CREATE INDEX payable_by_time_of_vendor ON ph.payable (vendor_id, at, id);

-- The studio keeps a delivery back without deciding, or goes on with it.
CREATE TABLE ph.hold (
  studio_id     uuid NOT NULL,
  vendor_id     uuid NOT NULL,
  work_order_id uuid NOT NULL,
  prop_id       uuid NOT NULL,
  milestone_id  uuid NOT NULL,
  id            uuid NOT NULL,
  event         text NOT NULL,
  reason        text NOT NULL,
  by_member     uuid NOT NULL,
  by_name       text,
  at            timestamptz NOT NULL DEFAULT now(),
  PRIMARY KEY (studio_id, id),
  FOREIGN KEY (studio_id, vendor_id, work_order_id, prop_id, milestone_id) REFERENCES ph.milestone (studio_id, vendor_id, work_order_id, prop_id, id),
  CONSTRAINT hold_event_known CHECK (event IN ('hold', 'resume')),
  CONSTRAINT hold_reason_length CHECK (char_length(reason) <= 4000 AND (event = 'resume' OR reason <> ''))
);
CREATE INDEX hold_of_milestone ON ph.hold (studio_id, milestone_id, id);
CREATE INDEX hold_of_order ON ph.hold (studio_id, work_order_id, id);

-- Who may do what with the new tables. Where a row has a side, it is the writer's own.
-- +goose StatementBegin
DO $$
DECLARE r record; studio text := 'studio_id = ph.app_studio()'; vendor text := 'vendor_id = ph.app_vendor()';
BEGIN
  FOR r IN SELECT * FROM (VALUES
    ('order_calendar', '(studio_id = ph.app_studio() AND side = ''studio'') OR (vendor_id = ph.app_vendor() AND side = ''vendor'')'),
    ('change_order',   'studio_id = ph.app_studio() OR vendor_id = ph.app_vendor()'),
    ('hold',           'studio_id = ph.app_studio()'),
    ('reminder',       NULL)
  ) AS t (name, inserts) LOOP
    EXECUTE format('ALTER TABLE ph.%I ENABLE ROW LEVEL SECURITY', r.name);
    EXECUTE format('ALTER TABLE ph.%I FORCE ROW LEVEL SECURITY', r.name);
    EXECUTE format('CREATE POLICY %I ON ph.%I TO ph_owner USING (true) WITH CHECK (true)', r.name || '_owner', r.name);
    EXECUTE format('CREATE POLICY %I ON ph.%I FOR SELECT TO ph_api USING (%s OR %s)', r.name || '_read', r.name, studio, vendor);
    EXECUTE format('GRANT SELECT ON ph.%I TO ph_api, ph_backup', r.name);
    IF r.inserts IS NOT NULL THEN
      EXECUTE format('CREATE POLICY %I ON ph.%I FOR INSERT TO ph_api WITH CHECK (%s)', r.name || '_insert', r.name, r.inserts);
      EXECUTE format('GRANT INSERT ON ph.%I TO ph_api', r.name);
    END IF;
  END LOOP;
  -- The clock acts for every order whose silence accepts.
  FOR r IN SELECT unnest(ARRAY['work_order', 'prop', 'milestone', 'delivery', 'inspection', 'order_calendar', 'sign_off', 'payable', 'reminder', 'log', 'log_hash', 'fact']) AS name LOOP
    EXECUTE format('CREATE POLICY %I ON ph.%I TO ph_clock USING (true) WITH CHECK (true)', r.name || '_clock', r.name);
    EXECUTE format('GRANT SELECT ON ph.%I TO ph_clock', r.name);
  END LOOP;
END $$;
-- +goose StatementEnd
ALTER TABLE ph.calendar ENABLE ROW LEVEL SECURITY;
ALTER TABLE ph.calendar FORCE ROW LEVEL SECURITY;
CREATE POLICY calendar_owner ON ph.calendar TO ph_owner USING (true) WITH CHECK (true);
CREATE POLICY calendar_own ON ph.calendar TO ph_api USING (party_id = ph.app_party()) WITH CHECK (party_id = ph.app_party());
GRANT SELECT, INSERT ON ph.calendar TO ph_api;
GRANT SELECT ON ph.calendar TO ph_backup;

CREATE POLICY change_order_update ON ph.change_order FOR UPDATE TO ph_api
  USING (studio_id = ph.app_studio() OR vendor_id = ph.app_vendor()) WITH CHECK (studio_id = ph.app_studio() OR vendor_id = ph.app_vendor());
GRANT UPDATE (state, last_event, decided_by, decided_reason) ON ph.change_order TO ph_api;
GRANT UPDATE (rework_vendor, rework_studio, review_due_at) ON ph.milestone TO ph_api;
GRANT UPDATE (round_cause) ON ph.delivery TO ph_api;

-- The inspector sets the review's due date when it passes a delivery.
CREATE POLICY work_order_worker ON ph.work_order FOR SELECT TO ph_worker USING (true);
CREATE POLICY order_calendar_worker ON ph.order_calendar FOR SELECT TO ph_worker USING (true);
GRANT SELECT (studio_id, id, review_days) ON ph.work_order TO ph_worker;
GRANT SELECT (studio_id, work_order_id, side, time_zone, workdays, holidays) ON ph.order_calendar TO ph_worker;
GRANT SELECT (review_due_at), UPDATE (review_due_at) ON ph.milestone TO ph_worker;

GRANT USAGE ON SCHEMA ph TO ph_clock;
GRANT INSERT ON ph.reminder, ph.sign_off, ph.payable, ph.log_hash, ph.fact TO ph_clock;
GRANT UPDATE (state, last_event, since, review_due_at) ON ph.milestone TO ph_clock;
GRANT UPDATE (size, root) ON ph.log TO ph_clock;

-- A time as leaves hold it: UTC, to the microsecond.
CREATE FUNCTION ph.stamp(at timestamptz) RETURNS text LANGUAGE sql IMMUTABLE PARALLEL SAFE SET search_path = pg_catalog
  AS $$ SELECT to_char(at AT TIME ZONE 'UTC', 'YYYY-MM-DD"T"HH24:MI:SS.US"Z"') $$;
