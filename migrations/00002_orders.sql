-- Projects, work orders, props, milestones with their state machine, spec revisions.
-- Lock: none on existing tables (everything is new). Cost: milliseconds.

-- +goose Up

CREATE TABLE ph.project (
  studio_id  uuid NOT NULL REFERENCES ph.party,
  id         uuid NOT NULL,
  code       text NOT NULL,
  title      text NOT NULL,
  created_at timestamptz NOT NULL DEFAULT now(),
  created_by uuid NOT NULL,
  by_name    text,
  PRIMARY KEY (studio_id, id),
  CONSTRAINT project_code_key UNIQUE (studio_id, code),
  CONSTRAINT project_code_form CHECK (code ~ '^[A-Za-z0-9][A-Za-z0-9_.-]{0,63}$'),
  CONSTRAINT project_title_length CHECK (char_length(title) BETWEEN 1 AND 200)
);

CREATE TABLE ph.work_order (
  studio_id       uuid NOT NULL,
  vendor_id       uuid NOT NULL,
  id              uuid NOT NULL,
  project_id      uuid NOT NULL,
  code            text NOT NULL,
  title           text NOT NULL,
  currency        text NOT NULL,
  rounds_included integer NOT NULL,
  review_days     integer NOT NULL,
  terms           text NOT NULL,
  placed_at       timestamptz NOT NULL DEFAULT now(),
  placed_by       uuid NOT NULL,
  by_name         text,
  PRIMARY KEY (studio_id, id),
  CONSTRAINT work_order_parties UNIQUE (studio_id, vendor_id, id),
  CONSTRAINT work_order_code_key UNIQUE (studio_id, code),
  FOREIGN KEY (studio_id, vendor_id) REFERENCES ph.engagement (studio_id, vendor_id),
  FOREIGN KEY (studio_id, project_id) REFERENCES ph.project (studio_id, id),
  CONSTRAINT work_order_code_form CHECK (code ~ '^[A-Za-z0-9][A-Za-z0-9_.-]{0,63}$'),
  CONSTRAINT work_order_title_length CHECK (char_length(title) BETWEEN 1 AND 200),
  CONSTRAINT work_order_currency_form CHECK (currency ~ '^[A-Z]{3}$'),
  CONSTRAINT work_order_rounds_range CHECK (rounds_included BETWEEN 0 AND 100),
  CONSTRAINT work_order_review_range CHECK (review_days BETWEEN 1 AND 365),
  CONSTRAINT work_order_terms_length CHECK (char_length(terms) <= 100000)
);
CREATE INDEX work_order_by_vendor ON ph.work_order (vendor_id, id);

CREATE TABLE ph.prop (
  studio_id     uuid NOT NULL,
  vendor_id     uuid NOT NULL,
  work_order_id uuid NOT NULL,
  id            uuid NOT NULL,
  code          text NOT NULL,
  title         text NOT NULL,
  tier          text NOT NULL,
  price_minor   bigint NOT NULL,
  ordered_at    timestamptz NOT NULL DEFAULT now(),
  ordered_by    uuid NOT NULL,
  by_name       text,
  work_began_at timestamptz, -- first delivery opened, or first acknowledgement: from here on a new spec needs the vendor's yes
  spec_in_force uuid,        -- what deliveries are judged by
  PRIMARY KEY (studio_id, id),
  CONSTRAINT prop_parties UNIQUE (studio_id, vendor_id, work_order_id, id),
  CONSTRAINT prop_code_key UNIQUE (studio_id, work_order_id, code),
  FOREIGN KEY (studio_id, vendor_id, work_order_id) REFERENCES ph.work_order (studio_id, vendor_id, id),
  CONSTRAINT prop_code_form CHECK (code ~ '^[A-Za-z0-9][A-Za-z0-9_.-]{0,63}$'),
  CONSTRAINT prop_title_length CHECK (char_length(title) BETWEEN 1 AND 200),
  CONSTRAINT prop_tier_known CHECK (tier IN ('background', 'mid', 'hero', 'close_up')),
  CONSTRAINT prop_price_range CHECK (price_minor BETWEEN 0 AND 1000000000000)
);
CREATE INDEX prop_by_vendor ON ph.prop (vendor_id, id);
CREATE INDEX prop_by_order ON ph.prop (studio_id, work_order_id, id);

CREATE TABLE ph.spec_revision (
  studio_id       uuid NOT NULL,
  vendor_id       uuid NOT NULL,
  work_order_id   uuid NOT NULL,
  prop_id         uuid NOT NULL,
  id              uuid NOT NULL,
  number          integer NOT NULL,
  parent_id       uuid,
  document        bytea NOT NULL,
  document_sha256 bytea NOT NULL,
  digest          bytea NOT NULL, -- of the resolved spec's canonical JSON
  note            text NOT NULL,
  by_member       uuid NOT NULL,
  by_name         text,
  created_at      timestamptz NOT NULL DEFAULT now(),
  PRIMARY KEY (studio_id, id),
  CONSTRAINT spec_revision_prop UNIQUE (studio_id, prop_id, id),
  CONSTRAINT spec_revision_number_key UNIQUE (studio_id, prop_id, number),
  FOREIGN KEY (studio_id, vendor_id, work_order_id, prop_id) REFERENCES ph.prop (studio_id, vendor_id, work_order_id, id),
  CONSTRAINT spec_revision_parent FOREIGN KEY (studio_id, prop_id, parent_id) REFERENCES ph.spec_revision (studio_id, prop_id, id),
  CONSTRAINT spec_revision_first_has_no_parent CHECK ((number = 1) = (parent_id IS NULL)),
  CONSTRAINT spec_revision_digest_length CHECK (length(digest) = 32 AND length(document_sha256) = 32),
  CONSTRAINT spec_revision_document_size CHECK (length(document) BETWEEN 1 AND 1048576),
  CONSTRAINT spec_revision_note_length CHECK (char_length(note) <= 4000)
);
CREATE INDEX spec_revision_by_vendor ON ph.spec_revision (vendor_id, id);

ALTER TABLE ph.prop ADD CONSTRAINT prop_spec_of_this_prop
  FOREIGN KEY (studio_id, id, spec_in_force) REFERENCES ph.spec_revision (studio_id, prop_id, id);

CREATE TABLE ph.spec_ack (
  studio_id        uuid NOT NULL,
  vendor_id        uuid NOT NULL,
  work_order_id    uuid NOT NULL,
  prop_id          uuid NOT NULL,
  spec_revision_id uuid NOT NULL,
  id               uuid NOT NULL,
  by_member        uuid NOT NULL,
  by_name          text,
  at               timestamptz NOT NULL DEFAULT now(),
  PRIMARY KEY (studio_id, id),
  CONSTRAINT spec_ack_once UNIQUE (studio_id, spec_revision_id),
  FOREIGN KEY (studio_id, vendor_id, work_order_id, prop_id) REFERENCES ph.prop (studio_id, vendor_id, work_order_id, id),
  FOREIGN KEY (studio_id, prop_id, spec_revision_id) REFERENCES ph.spec_revision (studio_id, prop_id, id)
);

-- The state machine. The program holds the same table; a test compares the two.
CREATE TABLE ph.milestone_move (
  from_state text NOT NULL,
  event      text NOT NULL,
  to_state   text NOT NULL,
  actor      text NOT NULL,
  PRIMARY KEY (from_state, event)
);
INSERT INTO ph.milestone_move (from_state, event, to_state, actor) VALUES
  ('open',       'seal',         'inspecting', 'vendor'),
  ('failed',     'seal',         'inspecting', 'vendor'),
  ('stuck',      'seal',         'inspecting', 'vendor'),
  ('returned',   'seal',         'inspecting', 'vendor'),
  ('inspecting', 'pass',         'review',     'machine'),
  ('inspecting', 'fail',         'failed',     'machine'),
  ('inspecting', 'unable',       'stuck',      'machine'),
  ('failed',     'reinspect',    'inspecting', 'studio'),
  ('stuck',      'reinspect',    'inspecting', 'studio'),
  ('review',     'reinspect',    'inspecting', 'studio'),
  ('review',     'accept',       'accepted',   'studio'),
  ('failed',     'accept_as_is', 'accepted',   'studio'),
  ('review',     'return',       'returned',   'studio'),
  ('failed',     'return',       'returned',   'studio'),
  ('stuck',      'return',       'returned',   'studio'),
  ('open',       'cancel',       'cancelled',  'studio'),
  ('inspecting', 'cancel',       'cancelled',  'studio'),
  ('failed',     'cancel',       'cancelled',  'studio'),
  ('stuck',      'cancel',       'cancelled',  'studio'),
  ('review',     'cancel',       'cancelled',  'studio'),
  ('returned',   'cancel',       'cancelled',  'studio');

CREATE TABLE ph.milestone (
  studio_id     uuid NOT NULL,
  vendor_id     uuid NOT NULL,
  work_order_id uuid NOT NULL,
  prop_id       uuid NOT NULL,
  id            uuid NOT NULL,
  position      integer NOT NULL,
  kind          text NOT NULL,
  share_bp      integer NOT NULL,
  amount_minor  bigint NOT NULL,
  due_on        date,
  due_sort      date NOT NULL GENERATED ALWAYS AS (coalesce(due_on, date '9999-12-31')) STORED, -- no date sorts last
  state         text NOT NULL DEFAULT 'open',
  last_event    text,
  since         timestamptz NOT NULL DEFAULT now(),
  rounds        integer NOT NULL DEFAULT 0,
  PRIMARY KEY (studio_id, id),
  CONSTRAINT milestone_parties UNIQUE (studio_id, vendor_id, work_order_id, prop_id, id),
  CONSTRAINT milestone_kind_key UNIQUE (studio_id, prop_id, kind),
  CONSTRAINT milestone_position_key UNIQUE (studio_id, prop_id, position),
  FOREIGN KEY (studio_id, vendor_id, work_order_id, prop_id) REFERENCES ph.prop (studio_id, vendor_id, work_order_id, id),
  CONSTRAINT milestone_kind_known CHECK (kind IN ('block_out', 'sculpt', 'game_mesh', 'maps', 'final')),
  CONSTRAINT milestone_state_known CHECK (state IN ('open', 'inspecting', 'failed', 'stuck', 'review', 'returned', 'accepted', 'cancelled')),
  CONSTRAINT milestone_share_range CHECK (share_bp BETWEEN 0 AND 10000),
  CONSTRAINT milestone_amount_range CHECK (amount_minor >= 0)
);
-- "My work", by due date, from either side; accepted and cancelled ones are most of the table after a year.
CREATE INDEX milestone_work_of_studio ON ph.milestone (studio_id, due_sort, id) WHERE state NOT IN ('accepted', 'cancelled');
CREATE INDEX milestone_work_of_vendor ON ph.milestone (vendor_id, due_sort, id) WHERE state NOT IN ('accepted', 'cancelled');
CREATE INDEX milestone_by_vendor ON ph.milestone (vendor_id, id);
CREATE INDEX milestone_all_of_studio ON ph.milestone (studio_id, due_sort, id);
CREATE INDEX milestone_all_of_vendor ON ph.milestone (vendor_id, due_sort, id);
CREATE INDEX milestone_of_order ON ph.milestone (studio_id, work_order_id, due_sort, id);

-- Refuses every change of state that is not a row of ph.milestone_move for this kind of caller.
-- +goose StatementBegin
CREATE FUNCTION ph.milestone_guard() RETURNS trigger LANGUAGE plpgsql SET search_path = pg_catalog AS $$
DECLARE caller text := CASE WHEN ph.app_studio() IS NOT NULL THEN 'studio' WHEN ph.app_vendor() IS NOT NULL THEN 'vendor' ELSE 'machine' END;
BEGIN
  IF TG_OP = 'INSERT' THEN
    IF NEW.state <> 'open' OR NEW.last_event IS NOT NULL THEN
      RAISE EXCEPTION 'a milestone begins open' USING ERRCODE = 'check_violation', CONSTRAINT = 'milestone_begins_open';
    END IF;
    RETURN NEW;
  END IF;
  IF NOT EXISTS (SELECT FROM ph.milestone_move v
                 WHERE v.from_state = OLD.state AND v.event = NEW.last_event AND v.to_state = NEW.state AND v.actor = caller) THEN
    RAISE EXCEPTION 'no move % by the % leads from % to %', NEW.last_event, caller, OLD.state, NEW.state
      USING ERRCODE = 'check_violation', CONSTRAINT = 'milestone_move_known';
  END IF;
  NEW.since := now();
  RETURN NEW;
END $$;
-- +goose StatementEnd
CREATE TRIGGER milestone_guard BEFORE INSERT OR UPDATE OF state, last_event ON ph.milestone
  FOR EACH ROW EXECUTE FUNCTION ph.milestone_guard();

-- At the end of the transaction that orders a prop: the shares make a whole and the amounts the price, to the last unit.
-- +goose StatementBegin
CREATE FUNCTION ph.milestone_sums() RETURNS trigger LANGUAGE plpgsql SET search_path = pg_catalog AS $$
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
-- +goose StatementEnd
CREATE CONSTRAINT TRIGGER milestone_sums AFTER INSERT ON ph.milestone
  DEFERRABLE INITIALLY DEFERRED FOR EACH ROW EXECUTE FUNCTION ph.milestone_sums();

CREATE TABLE ph.cancellation (
  studio_id     uuid NOT NULL,
  vendor_id     uuid NOT NULL,
  work_order_id uuid NOT NULL,
  prop_id       uuid NOT NULL,
  milestone_id  uuid NOT NULL,
  id            uuid NOT NULL,
  reason        text NOT NULL,
  by_member     uuid NOT NULL,
  by_name       text,
  at            timestamptz NOT NULL DEFAULT now(),
  PRIMARY KEY (studio_id, id),
  CONSTRAINT cancellation_once UNIQUE (studio_id, milestone_id),
  FOREIGN KEY (studio_id, vendor_id, work_order_id, prop_id, milestone_id) REFERENCES ph.milestone (studio_id, vendor_id, work_order_id, prop_id, id),
  CONSTRAINT cancellation_reason_length CHECK (char_length(reason) BETWEEN 1 AND 4000)
);
