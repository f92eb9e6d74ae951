-- Sign-offs, concessions, payables, notes, idempotency keys.
-- Lock: none on existing tables (everything is new). Cost: milliseconds.

-- +goose Up

CREATE TABLE ph.sign_off (
  studio_id     uuid NOT NULL,
  vendor_id     uuid NOT NULL,
  work_order_id uuid NOT NULL,
  prop_id       uuid NOT NULL,
  milestone_id  uuid NOT NULL,
  delivery_id   uuid NOT NULL,
  inspection_id uuid NOT NULL,
  id            uuid NOT NULL,
  decision      text NOT NULL,
  reason        text NOT NULL,
  by_member     uuid NOT NULL,
  by_name       text,
  by_role       text NOT NULL,
  opened_by     uuid NOT NULL, -- of the delivery, copied for the rule below
  sealed_by     uuid NOT NULL,
  at            timestamptz NOT NULL DEFAULT now(),
  PRIMARY KEY (studio_id, id),
  CONSTRAINT sign_off_parties UNIQUE (studio_id, vendor_id, work_order_id, id),
  CONSTRAINT sign_off_once UNIQUE (studio_id, delivery_id),
  FOREIGN KEY (studio_id, vendor_id, work_order_id, prop_id, milestone_id, delivery_id)
    REFERENCES ph.delivery (studio_id, vendor_id, work_order_id, prop_id, milestone_id, id),
  FOREIGN KEY (studio_id, vendor_id, inspection_id) REFERENCES ph.inspection (studio_id, vendor_id, id),
  CONSTRAINT sign_off_decision_known CHECK (decision IN ('accept', 'accept_note', 'accept_as_is', 'return')),
  CONSTRAINT sign_off_reason_given CHECK (decision = 'accept' OR char_length(reason) > 0),
  CONSTRAINT sign_off_reason_length CHECK (char_length(reason) <= 4000),
  CONSTRAINT sign_off_role_known CHECK (by_role IN ('art_director', 'technical_artist')),
  CONSTRAINT sign_off_not_by_own_hand CHECK (by_member <> opened_by AND by_member <> sealed_by)
);

CREATE TABLE ph.concession (
  studio_id     uuid NOT NULL,
  vendor_id     uuid NOT NULL,
  work_order_id uuid NOT NULL,
  delivery_id   uuid NOT NULL,
  inspection_id uuid NOT NULL,
  ord           integer NOT NULL,
  chk           text NOT NULL,
  id            uuid NOT NULL,
  reason        text NOT NULL,
  by_member     uuid NOT NULL,
  by_name       text,
  at            timestamptz NOT NULL DEFAULT now(),
  PRIMARY KEY (studio_id, id),
  CONSTRAINT concession_once UNIQUE (studio_id, inspection_id, ord),
  FOREIGN KEY (studio_id, vendor_id, work_order_id, delivery_id) REFERENCES ph.delivery (studio_id, vendor_id, work_order_id, id),
  FOREIGN KEY (studio_id, vendor_id, inspection_id) REFERENCES ph.inspection (studio_id, vendor_id, id),
  FOREIGN KEY (inspection_id, ord) REFERENCES ph.finding (inspection_id, ord),
  CONSTRAINT concession_reason_length CHECK (char_length(reason) BETWEEN 1 AND 4000)
);
CREATE INDEX concession_of_delivery ON ph.concession (studio_id, delivery_id, id);

-- Money released, once for a milestone. Amount and currency are copied in and never computed again.
CREATE TABLE ph.payable (
  studio_id     uuid NOT NULL,
  vendor_id     uuid NOT NULL,
  work_order_id uuid NOT NULL,
  prop_id       uuid NOT NULL,
  milestone_id  uuid NOT NULL,
  sign_off_id   uuid NOT NULL,
  id            uuid NOT NULL,
  amount_minor  bigint NOT NULL,
  currency      text NOT NULL,
  at            timestamptz NOT NULL DEFAULT now(),
  PRIMARY KEY (studio_id, id),
  CONSTRAINT payable_once UNIQUE (studio_id, milestone_id),
  FOREIGN KEY (studio_id, vendor_id, work_order_id, prop_id, milestone_id) REFERENCES ph.milestone (studio_id, vendor_id, work_order_id, prop_id, id),
  FOREIGN KEY (studio_id, vendor_id, work_order_id, sign_off_id) REFERENCES ph.sign_off (studio_id, vendor_id, work_order_id, id),
  CONSTRAINT payable_amount_range CHECK (amount_minor >= 0),
  CONSTRAINT payable_currency_form CHECK (currency ~ '^[A-Z]{3}$')
);
CREATE INDEX payable_by_vendor ON ph.payable (vendor_id, id);
CREATE INDEX payable_by_order ON ph.payable (studio_id, work_order_id, id);

-- A private note has no vendor: it is the studio's alone.
CREATE TABLE ph.note (
  studio_id     uuid NOT NULL,
  vendor_id     uuid,
  work_order_id uuid NOT NULL,
  delivery_id   uuid NOT NULL,
  id            uuid NOT NULL,
  side          text NOT NULL,
  text          text NOT NULL,
  salt          bytea NOT NULL, -- the log holds SHA-256(salt || text), so that the words can be erased
  by_member     uuid NOT NULL,
  by_name       text,
  at            timestamptz NOT NULL DEFAULT now(),
  PRIMARY KEY (studio_id, id),
  FOREIGN KEY (studio_id, delivery_id) REFERENCES ph.delivery (studio_id, id),
  FOREIGN KEY (studio_id, vendor_id, work_order_id, delivery_id) REFERENCES ph.delivery (studio_id, vendor_id, work_order_id, id),
  CONSTRAINT note_side_known CHECK (side IN ('studio', 'vendor')),
  CONSTRAINT note_private_is_the_studios CHECK (vendor_id IS NOT NULL OR side = 'studio'),
  CONSTRAINT note_text_length CHECK (char_length(text) BETWEEN 1 AND 10000)
);
CREATE INDEX note_of_delivery ON ph.note (studio_id, delivery_id, id);

-- What a POST made, for its repeats. The response is rendered anew, so no secret rests here. Swept after 48 hours.
CREATE TABLE ph.idempotency (
  party_id    uuid NOT NULL,
  member_id   uuid NOT NULL,
  method      text NOT NULL,
  route       text NOT NULL,
  key         text NOT NULL,
  body_sha256 bytea NOT NULL,
  made_kind   text NOT NULL,
  made_id     uuid NOT NULL,
  created_at  timestamptz NOT NULL DEFAULT now(),
  PRIMARY KEY (party_id, member_id, method, route, key),
  CONSTRAINT idempotency_key_length CHECK (char_length(key) BETWEEN 1 AND 255),
  CONSTRAINT idempotency_body_length CHECK (length(body_sha256) = 32)
);
CREATE INDEX idempotency_age ON ph.idempotency (created_at);

-- Forgets keys older than 48 hours, a batch at a time; the number forgotten.
-- +goose StatementBegin
CREATE FUNCTION ph.sweep_idempotency() RETURNS bigint LANGUAGE sql SECURITY DEFINER SET search_path = pg_catalog AS $$
  WITH gone AS (
    DELETE FROM ph.idempotency i WHERE i.ctid = ANY (ARRAY(
      SELECT o.ctid FROM ph.idempotency o WHERE o.created_at < now() - interval '48 hours' ORDER BY o.created_at LIMIT 10000))
    RETURNING 1)
  SELECT count(*) FROM gone
$$;
-- +goose StatementEnd
