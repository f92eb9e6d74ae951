-- Where the content of a prop comes from, how much a vendor can take on each week, props that go on to another vendor.
-- Lock: ACCESS EXCLUSIVE on work_order for a moment. Cost: a constant default, no rewrite; new tables are empty.

-- +goose Up

ALTER TABLE ph.work_order ADD COLUMN origin_required boolean NOT NULL DEFAULT false; -- owed with a final delivery before it is paid

-- What a vendor declares of a prop; the newest counts. items: [{"kind", "what", "licence", "holder"}], empty where all is their own work.
CREATE TABLE ph.origin_declaration (
  studio_id     uuid NOT NULL,
  vendor_id     uuid NOT NULL,
  work_order_id uuid NOT NULL,
  prop_id       uuid NOT NULL,
  id            uuid NOT NULL,
  items         jsonb NOT NULL,
  statement     text NOT NULL,
  by_member     uuid NOT NULL,
  by_name       text,
  at            timestamptz NOT NULL DEFAULT now(),
  PRIMARY KEY (studio_id, id),
  FOREIGN KEY (studio_id, vendor_id, work_order_id, prop_id) REFERENCES ph.prop (studio_id, vendor_id, work_order_id, id),
  CONSTRAINT origin_declaration_items_list CHECK (jsonb_typeof(items) = 'array' AND jsonb_array_length(items) <= 100),
  CONSTRAINT origin_declaration_statement_length CHECK (char_length(statement) <= 4000)
);
CREATE INDEX origin_declaration_of_prop ON ph.origin_declaration (studio_id, prop_id, id);

-- How many milestones a vendor can deliver in a week. A plan, not a promise: it changes as often as the vendor says, and is no fact.
CREATE TABLE ph.capacity (
  studio_id uuid NOT NULL,
  vendor_id uuid NOT NULL,
  week_on   date NOT NULL, -- its Monday
  slots     integer NOT NULL,
  by_member uuid NOT NULL,
  by_name   text,
  at        timestamptz NOT NULL DEFAULT now(),
  PRIMARY KEY (studio_id, vendor_id, week_on),
  FOREIGN KEY (studio_id, vendor_id) REFERENCES ph.engagement (studio_id, vendor_id),
  CONSTRAINT capacity_week_begins CHECK (extract(isodow FROM week_on) = 1),
  CONSTRAINT capacity_slots_range CHECK (slots BETWEEN 0 AND 1000)
);

-- A half-done prop that goes on with another vendor: the studio's alone, as neither vendor learns of the other.
CREATE TABLE ph.reassignment (
  studio_id     uuid NOT NULL,
  id            uuid NOT NULL,
  from_prop     uuid NOT NULL,
  to_prop       uuid NOT NULL,
  pack_id       uuid, -- the references by which its files are handed on; NULL where there were none
  reason        text NOT NULL,
  by_member     uuid NOT NULL,
  by_name       text,
  at            timestamptz NOT NULL DEFAULT now(),
  PRIMARY KEY (studio_id, id),
  FOREIGN KEY (studio_id, from_prop) REFERENCES ph.prop (studio_id, id),
  FOREIGN KEY (studio_id, to_prop) REFERENCES ph.prop (studio_id, id),
  FOREIGN KEY (studio_id, pack_id) REFERENCES ph.reference_pack (studio_id, id),
  CONSTRAINT reassignment_once UNIQUE (studio_id, from_prop),
  CONSTRAINT reassignment_reason_length CHECK (char_length(reason) BETWEEN 1 AND 4000)
);
CREATE INDEX reassignment_to ON ph.reassignment (studio_id, to_prop);

-- +goose StatementBegin
DO $$
DECLARE r record; studio text := 'studio_id = ph.app_studio()'; vendor text := 'vendor_id = ph.app_vendor()';
BEGIN
  FOR r IN SELECT * FROM (VALUES
    ('origin_declaration', studio || ' OR ' || vendor, vendor),
    ('capacity',           studio || ' OR ' || vendor, vendor),
    ('reassignment',       studio,                     studio)
  ) AS t (name, reads, inserts) LOOP
    EXECUTE format('ALTER TABLE ph.%I ENABLE ROW LEVEL SECURITY', r.name);
    EXECUTE format('ALTER TABLE ph.%I FORCE ROW LEVEL SECURITY', r.name);
    EXECUTE format('CREATE POLICY %I ON ph.%I TO ph_owner USING (true) WITH CHECK (true)', r.name || '_owner', r.name);
    EXECUTE format('CREATE POLICY %I ON ph.%I FOR SELECT TO ph_api USING (%s)', r.name || '_read', r.name, r.reads);
    EXECUTE format('CREATE POLICY %I ON ph.%I FOR INSERT TO ph_api WITH CHECK (%s)', r.name || '_insert', r.name, r.inserts);
    EXECUTE format('GRANT SELECT, INSERT ON ph.%I TO ph_api', r.name);
    EXECUTE format('GRANT SELECT ON ph.%I TO ph_backup', r.name);
  END LOOP;
END $$;
-- +goose StatementEnd
CREATE POLICY capacity_update ON ph.capacity FOR UPDATE TO ph_api USING (vendor_id = ph.app_vendor()) WITH CHECK (vendor_id = ph.app_vendor());
GRANT UPDATE (slots, by_member, by_name, at) ON ph.capacity TO ph_api;
