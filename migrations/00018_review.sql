-- Decisions that wait before the vendor is told, sentences that a studio says often, drawings on pictures.
-- Lock: ACCESS EXCLUSIVE on note for a moment; an index stops writing to milestone while it is built (0.3 s for a million).
-- Cost: a column without a default is not written anywhere.

-- +goose Up

-- Not a fact: until it is sent it can be taken back, and then nothing of it stays. One at a time for each milestone.
CREATE TABLE ph.pending_sign_off (
  studio_id     uuid NOT NULL,
  id            uuid NOT NULL,
  milestone_id  uuid NOT NULL,
  delivery_id   uuid NOT NULL,
  inspection_id uuid NOT NULL, -- that was looked at
  decision      text NOT NULL,
  reason        text NOT NULL,
  cause         text NOT NULL,
  price_minor   bigint, -- of a further round
  price_due     date,
  sketch        jsonb,  -- drawn on a picture of the inspection, for the vendor
  by_member     uuid NOT NULL,
  at            timestamptz NOT NULL DEFAULT now(),
  send_at       timestamptz, -- NULL: when somebody sends it
  stopped_at    timestamptz, -- could not be sent any more: kept for its author to read
  stopped_why   text,
  PRIMARY KEY (studio_id, id),
  FOREIGN KEY (studio_id, milestone_id) REFERENCES ph.milestone (studio_id, id),
  FOREIGN KEY (studio_id, delivery_id) REFERENCES ph.delivery (studio_id, id),
  FOREIGN KEY (studio_id, inspection_id) REFERENCES ph.inspection (studio_id, id),
  CONSTRAINT pending_decision_known CHECK (decision IN ('accept', 'accept_note', 'accept_as_is', 'return')),
  CONSTRAINT pending_cause_known CHECK (cause IN ('', 'nonconformity', 'changed_mind')),
  CONSTRAINT pending_reason_length CHECK (char_length(reason) <= 4000),
  CONSTRAINT pending_sketch_size CHECK (octet_length(sketch::text) <= 131072),
  CONSTRAINT pending_stopped_says_why CHECK ((stopped_at IS NULL) = (stopped_why IS NULL)),
  CONSTRAINT pending_stopped_known CHECK (stopped_why IN ('decided', 'inspected', 'delivered', 'role', 'state', 'price'))
);
CREATE UNIQUE INDEX pending_sign_off_once ON ph.pending_sign_off (studio_id, milestone_id) WHERE stopped_at IS NULL;
CREATE INDEX pending_sign_off_due ON ph.pending_sign_off (send_at) WHERE stopped_at IS NULL;
CREATE INDEX pending_sign_off_of_member ON ph.pending_sign_off (studio_id, by_member, id);

CREATE TABLE ph.saved_note (
  studio_id uuid NOT NULL,
  id        uuid NOT NULL,
  text      text NOT NULL,
  by_member uuid NOT NULL,
  at        timestamptz NOT NULL DEFAULT now(),
  PRIMARY KEY (studio_id, id),
  FOREIGN KEY (studio_id) REFERENCES ph.party (id),
  CONSTRAINT saved_note_length CHECK (char_length(text) BETWEEN 1 AND 1000),
  CONSTRAINT saved_note_once UNIQUE (studio_id, text)
);

-- +goose StatementBegin
DO $$
DECLARE name text; mine text := 'studio_id = ph.app_studio()';
BEGIN
  FOREACH name IN ARRAY ARRAY['pending_sign_off', 'saved_note'] LOOP
    EXECUTE format('ALTER TABLE ph.%I ENABLE ROW LEVEL SECURITY', name);
    EXECUTE format('ALTER TABLE ph.%I FORCE ROW LEVEL SECURITY', name);
    EXECUTE format('CREATE POLICY %I ON ph.%I TO ph_owner USING (true) WITH CHECK (true)', name || '_owner', name);
    EXECUTE format('CREATE POLICY %I ON ph.%I FOR SELECT TO ph_api USING (%s)', name || '_read', name, mine);
    EXECUTE format('CREATE POLICY %I ON ph.%I FOR INSERT TO ph_api WITH CHECK (%s AND by_member = ph.app_member())', name || '_insert', name, mine);
    EXECUTE format('GRANT SELECT, INSERT, DELETE ON ph.%I TO ph_api', name);
    EXECUTE format('GRANT SELECT ON ph.%I TO ph_backup', name);
  END LOOP;
END $$;
-- +goose StatementEnd
-- Who decided takes it back or sends it; whoever decides first stops those of others.
CREATE POLICY pending_sign_off_delete ON ph.pending_sign_off FOR DELETE TO ph_api USING (studio_id = ph.app_studio() AND by_member = ph.app_member());
CREATE POLICY pending_sign_off_update ON ph.pending_sign_off FOR UPDATE TO ph_api USING (studio_id = ph.app_studio()) WITH CHECK (studio_id = ph.app_studio());
GRANT UPDATE (stopped_at, stopped_why) ON ph.pending_sign_off TO ph_api;
CREATE POLICY saved_note_delete ON ph.saved_note FOR DELETE TO ph_api USING (studio_id = ph.app_studio());
-- The clock finds what is due, and lets no silence accept what somebody has decided.
CREATE POLICY pending_sign_off_clock ON ph.pending_sign_off FOR SELECT TO ph_clock USING (true);
GRANT SELECT (studio_id, id, milestone_id, by_member, send_at, stopped_at) ON ph.pending_sign_off TO ph_clock;

ALTER TABLE ph.note ADD COLUMN sketch jsonb, -- drawn on a picture of an inspection
  ADD CONSTRAINT note_sketch_size CHECK (octet_length(sketch::text) <= 131072) NOT VALID;

-- What a studio goes through, whose review ends first.
CREATE INDEX milestone_in_review ON ph.milestone (studio_id, review_due_at, due_sort, id) WHERE state IN ('review', 'held');
