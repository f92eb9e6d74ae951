-- The Merkle logs: facts as leaves, stored hashes, heads, and the house log that anchors the heads.
-- Lock: none on existing tables (everything is new). Cost: milliseconds.

-- +goose Up

-- One row per log. Its lock, taken last in a transaction, gives leaves their index: gapless and in commit order.
-- A work order's log has the work order's id; a studio's private log has the studio's id and no vendor.
CREATE TABLE ph.log (
  studio_id     uuid NOT NULL,
  vendor_id     uuid,
  id            uuid NOT NULL,
  size          bigint NOT NULL DEFAULT 0,
  root          bytea NOT NULL,
  anchored_size bigint NOT NULL DEFAULT 0,
  PRIMARY KEY (studio_id, id),
  CONSTRAINT log_root_length CHECK (length(root) = 32),
  CONSTRAINT log_size_range CHECK (size >= 0 AND anchored_size BETWEEN 0 AND size)
);
CREATE INDEX log_by_vendor ON ph.log (vendor_id, id);
CREATE INDEX log_to_anchor ON ph.log (id) WHERE anchored_size < size;

-- +goose StatementBegin
CREATE FUNCTION ph.log_guard() RETURNS trigger LANGUAGE plpgsql SET search_path = pg_catalog AS $$
BEGIN
  IF NEW.size < OLD.size OR NEW.anchored_size < OLD.anchored_size THEN
    RAISE EXCEPTION 'a log only grows' USING ERRCODE = 'check_violation', CONSTRAINT = 'log_only_grows';
  END IF;
  RETURN NEW;
END $$;
-- +goose StatementEnd
CREATE TRIGGER log_guard BEFORE UPDATE ON ph.log FOR EACH ROW EXECUTE FUNCTION ph.log_guard();

-- Stored hashes as golang.org/x/mod/sumdb/tlog numbers them.
CREATE TABLE ph.log_hash (
  studio_id uuid NOT NULL,
  vendor_id uuid,
  log_id    uuid NOT NULL,
  idx       bigint NOT NULL,
  hash      bytea NOT NULL,
  PRIMARY KEY (studio_id, log_id, idx),
  FOREIGN KEY (studio_id, log_id) REFERENCES ph.log (studio_id, id),
  CONSTRAINT log_hash_length CHECK (length(hash) = 32)
);

-- One act: the leaf's exact bytes, and what of it is needed to make them again from the rows.
CREATE TABLE ph.fact (
  studio_id   uuid NOT NULL,
  vendor_id   uuid,
  log_id      uuid NOT NULL,
  idx         bigint NOT NULL,
  kind        text NOT NULL,
  version     integer NOT NULL,
  subject_id  uuid NOT NULL,
  actor       text NOT NULL,
  member_id   uuid,
  recorded_at timestamptz NOT NULL DEFAULT now(),
  body        bytea NOT NULL,
  PRIMARY KEY (studio_id, log_id, idx),
  FOREIGN KEY (studio_id, log_id) REFERENCES ph.log (studio_id, id),
  CONSTRAINT fact_actor_known CHECK (actor IN ('studio', 'vendor', 'machine')),
  CONSTRAINT fact_member_unless_machine CHECK ((actor = 'machine') = (member_id IS NULL))
);
CREATE INDEX fact_of_subject ON ph.fact (studio_id, subject_id, kind);

-- Names stay out of the leaves: a leaf holds SHA-256(salt || name), the two are here and can be erased.
CREATE TABLE ph.fact_person (
  studio_id uuid NOT NULL,
  vendor_id uuid,
  log_id    uuid NOT NULL,
  idx       bigint NOT NULL,
  salt      bytea,
  name      text,
  PRIMARY KEY (studio_id, log_id, idx),
  FOREIGN KEY (studio_id, log_id, idx) REFERENCES ph.fact (studio_id, log_id, idx),
  CONSTRAINT fact_person_whole_or_erased CHECK ((salt IS NULL) = (name IS NULL))
);

-- A log's head as the house log holds it, blinded: strangers see neither whose log it is nor how large.
CREATE TABLE ph.anchor (
  studio_id   uuid NOT NULL,
  vendor_id   uuid,
  log_id      uuid NOT NULL,
  size        bigint NOT NULL,
  root        bytea NOT NULL,
  blind       bytea NOT NULL,
  house_idx   bigint NOT NULL,
  anchored_at timestamptz NOT NULL DEFAULT now(),
  PRIMARY KEY (studio_id, log_id, size),
  FOREIGN KEY (studio_id, log_id) REFERENCES ph.log (studio_id, id),
  CONSTRAINT anchor_lengths CHECK (length(root) = 32 AND length(blind) = 32)
);

CREATE TABLE ph.house_leaf (
  idx  bigint PRIMARY KEY,
  body bytea NOT NULL -- 32 bytes of a blinded head, or a key fact in canonical JSON
);
CREATE TABLE ph.house_hash (
  idx  bigint PRIMARY KEY,
  hash bytea NOT NULL,
  CONSTRAINT house_hash_length CHECK (length(hash) = 32)
);
-- Signed notes over the house log; only the notary can write them.
CREATE TABLE ph.checkpoint (
  size      bigint PRIMARY KEY,
  root      bytea NOT NULL,
  note      text NOT NULL,
  signed_at timestamptz NOT NULL DEFAULT now(),
  CONSTRAINT checkpoint_root_length CHECK (length(root) = 32)
);
