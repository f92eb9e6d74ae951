-- One narrow row for each prop, kept by triggers, so that a studio's hundred thousand props are listed, filtered and sorted
-- without looking at three milestones each. Saved views of that list. Indexes for what waits for somebody.
-- Lock: SHARE ROW EXCLUSIVE on prop and milestone for a moment (triggers); the small indexes stop writing to milestone,
-- question, change_order, permission and prop while they are built. Cost: 100,000 props with 300,000 milestones fill the list
-- in about 3 s.

-- +goose Up

-- What a prop's line says is worked out of its rows and is in no log. Its milestone is the first that is not done, else the last.
CREATE TABLE ph.prop_line (
  studio_id     uuid NOT NULL,
  vendor_id     uuid NOT NULL,
  work_order_id uuid NOT NULL,
  project_id    uuid NOT NULL,
  prop_id       uuid NOT NULL,
  code          text NOT NULL,
  title         text NOT NULL,
  tier          text NOT NULL,
  order_code    text NOT NULL,
  vendor_name   text NOT NULL,
  price_minor   bigint NOT NULL, -- with agreed changes
  milestone_id  uuid NOT NULL,
  milestone     text NOT NULL,
  state         text NOT NULL,
  due_sort      date NOT NULL,   -- 9999-12-31: none
  since         timestamptz NOT NULL,
  rounds        integer NOT NULL,
  blocked_since timestamptz,
  blocked_secs  bigint NOT NULL, -- of the times that ended
  currency      text NOT NULL,
  PRIMARY KEY (studio_id, prop_id),
  FOREIGN KEY (studio_id, vendor_id, work_order_id, prop_id) REFERENCES ph.prop (studio_id, vendor_id, work_order_id, id)
);
CREATE INDEX prop_line_due_of_studio ON ph.prop_line (studio_id, due_sort, prop_id);
CREATE INDEX prop_line_due_of_vendor ON ph.prop_line (vendor_id, due_sort, prop_id);
CREATE INDEX prop_line_open_of_studio ON ph.prop_line (studio_id, due_sort, prop_id) WHERE state NOT IN ('accepted', 'cancelled'); -- few of many after a year
CREATE INDEX prop_line_open_of_vendor ON ph.prop_line (vendor_id, due_sort, prop_id) WHERE state NOT IN ('accepted', 'cancelled');
CREATE INDEX prop_line_code_of_studio ON ph.prop_line (studio_id, code, prop_id);
CREATE INDEX prop_line_state_of_studio ON ph.prop_line (studio_id, state, due_sort, prop_id);
CREATE INDEX prop_line_state_of_vendor ON ph.prop_line (vendor_id, state, due_sort, prop_id);
CREATE INDEX prop_line_of_order ON ph.prop_line (studio_id, work_order_id, due_sort, prop_id);

-- Writes the lines of these props anew. Their milestones are locked by whoever changed them.
-- +goose StatementBegin
CREATE FUNCTION ph.write_lines(the_studio uuid, the_props uuid[]) RETURNS void LANGUAGE sql SECURITY DEFINER SET search_path = pg_catalog AS $$
  INSERT INTO ph.prop_line AS l (studio_id, vendor_id, work_order_id, project_id, prop_id, code, title, tier, order_code, vendor_name, price_minor,
    milestone_id, milestone, state, due_sort, since, rounds, blocked_since, blocked_secs, currency)
  SELECT p.studio_id, p.vendor_id, p.work_order_id, w.project_id, p.id, p.code, p.title, p.tier, w.code, e.vendor_name,
    p.price_minor + (SELECT coalesce(sum(c.change_minor), 0)::bigint FROM ph.milestone c WHERE c.studio_id = p.studio_id AND c.prop_id = p.id),
    m.id, m.kind, m.state, m.due_sort, m.since, m.rounds, p.blocked_since, p.blocked_secs, w.currency
  FROM ph.prop p
  JOIN ph.work_order w ON w.studio_id = p.studio_id AND w.id = p.work_order_id
  JOIN ph.engagement e ON e.studio_id = p.studio_id AND e.vendor_id = p.vendor_id
  CROSS JOIN LATERAL (SELECT n.id, n.kind, n.state, n.due_sort, n.since, n.rounds FROM ph.milestone n WHERE n.studio_id = p.studio_id AND n.prop_id = p.id
    ORDER BY n.state IN ('accepted', 'cancelled'), CASE WHEN n.state IN ('accepted', 'cancelled') THEN -n.position ELSE n.position END LIMIT 1) m
  WHERE p.studio_id = the_studio AND p.id = ANY (the_props)
  ON CONFLICT (studio_id, prop_id) DO UPDATE SET price_minor = excluded.price_minor, milestone_id = excluded.milestone_id, milestone = excluded.milestone,
    state = excluded.state, due_sort = excluded.due_sort, since = excluded.since, rounds = excluded.rounds,
    blocked_since = excluded.blocked_since, blocked_secs = excluded.blocked_secs
$$;
-- +goose StatementEnd
REVOKE ALL ON FUNCTION ph.write_lines(uuid, uuid[]) FROM PUBLIC;

-- +goose StatementBegin
CREATE FUNCTION ph.milestones_made() RETURNS trigger LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog AS $$
BEGIN
  PERFORM ph.write_lines(n.studio_id, array_agg(DISTINCT n.prop_id)) FROM new_rows n GROUP BY n.studio_id;
  RETURN NULL;
END $$;
-- +goose StatementEnd
CREATE TRIGGER milestones_made AFTER INSERT ON ph.milestone REFERENCING NEW TABLE AS new_rows FOR EACH STATEMENT EXECUTE FUNCTION ph.milestones_made();

-- +goose StatementBegin
CREATE FUNCTION ph.milestone_moved() RETURNS trigger LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog AS $$
BEGIN
  PERFORM ph.write_lines(NEW.studio_id, ARRAY[NEW.prop_id]);
  RETURN NULL;
END $$;
-- +goose StatementEnd
CREATE TRIGGER milestone_moved AFTER UPDATE ON ph.milestone FOR EACH ROW
  WHEN ((OLD.state, OLD.change_minor, OLD.due_sort, OLD.rounds) IS DISTINCT FROM (NEW.state, NEW.change_minor, NEW.due_sort, NEW.rounds))
  EXECUTE FUNCTION ph.milestone_moved();

-- +goose StatementBegin
CREATE FUNCTION ph.prop_blocked() RETURNS trigger LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog AS $$
BEGIN
  PERFORM ph.write_lines(NEW.studio_id, ARRAY[NEW.id]);
  RETURN NULL;
END $$;
-- +goose StatementEnd
CREATE TRIGGER prop_blocked AFTER UPDATE ON ph.prop FOR EACH ROW
  WHEN ((OLD.blocked_since, OLD.blocked_secs) IS DISTINCT FROM (NEW.blocked_since, NEW.blocked_secs)) EXECUTE FUNCTION ph.prop_blocked();

-- A view of the list under a name, each member's own.
CREATE TABLE ph.saved_view (
  party_id  uuid NOT NULL,
  member_id uuid NOT NULL,
  id        uuid NOT NULL,
  name      text NOT NULL,
  query     text NOT NULL, -- of the list's address
  put_away  boolean NOT NULL DEFAULT false,
  at        timestamptz NOT NULL DEFAULT now(),
  PRIMARY KEY (party_id, member_id, id),
  FOREIGN KEY (party_id, member_id) REFERENCES ph.member (party_id, id),
  CONSTRAINT saved_view_name_key UNIQUE (party_id, member_id, name),
  CONSTRAINT saved_view_name_length CHECK (char_length(name) BETWEEN 1 AND 60),
  CONSTRAINT saved_view_query_length CHECK (char_length(query) <= 2000)
);

-- What waits for somebody is few of many.
CREATE INDEX milestone_review_of_studio ON ph.milestone (studio_id, review_due_at, id) WHERE state = 'review';
CREATE INDEX question_asked_of_studio ON ph.question (studio_id, since, id) WHERE state = 'asked';
CREATE INDEX question_answered_of_vendor ON ph.question (vendor_id, since, id) WHERE state = 'answered';
CREATE INDEX change_order_open_of_studio ON ph.change_order (studio_id, since, id) WHERE state IN ('for_vendor', 'for_studio');
CREATE INDEX change_order_open_of_vendor ON ph.change_order (vendor_id, since, id) WHERE state IN ('for_vendor', 'for_studio');
CREATE INDEX permission_requested_of_studio ON ph.permission (studio_id, since, id) WHERE state = 'requested';
CREATE INDEX prop_without_spec ON ph.prop (studio_id, id) WHERE spec_in_force IS NULL;

-- +goose StatementBegin
DO $$
DECLARE r record;
BEGIN
  FOR r IN SELECT unnest(ARRAY['prop_line', 'saved_view']) AS name LOOP
    EXECUTE format('ALTER TABLE ph.%I ENABLE ROW LEVEL SECURITY', r.name);
    EXECUTE format('ALTER TABLE ph.%I FORCE ROW LEVEL SECURITY', r.name);
    EXECUTE format('CREATE POLICY %I ON ph.%I TO ph_owner USING (true) WITH CHECK (true)', r.name || '_owner', r.name);
    EXECUTE format('GRANT SELECT ON ph.%I TO ph_api, ph_backup', r.name);
  END LOOP;
END $$;
-- +goose StatementEnd
CREATE POLICY prop_line_read ON ph.prop_line FOR SELECT TO ph_api USING (studio_id = ph.app_studio() OR vendor_id = ph.app_vendor());
CREATE POLICY saved_view_own ON ph.saved_view TO ph_api
  USING (party_id = ph.app_party() AND member_id = ph.app_member()) WITH CHECK (party_id = ph.app_party() AND member_id = ph.app_member());
GRANT INSERT, UPDATE (query, at, put_away) ON ph.saved_view TO ph_api;

-- +goose StatementBegin
DO $$
DECLARE r record;
BEGIN
  FOR r IN SELECT p.studio_id, array_agg(p.id) AS props FROM ph.prop p GROUP BY p.studio_id, p.work_order_id LOOP
    PERFORM ph.write_lines(r.studio_id, r.props);
  END LOOP;
END $$;
-- +goose StatementEnd
