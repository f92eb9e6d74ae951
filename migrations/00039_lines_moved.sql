-- A step of a milestone that is under way before and after changes its own line in the list of props and nothing else of it: which
-- milestone the line shows, the price and the prop's own columns stay. Adding the line up anew costs the database a plan of five tables
-- and their look-ups with every seal, every inspection and every decision; and of two steps of one prop's milestones at the same moment
-- the later one wrote what it had read before it waited for the earlier.
-- What is still added up anew (a prop is ordered, a milestone ends, a price changes) keeps one plan: with an array for an argument it was
-- planned with every call.
-- Lock: none beyond the catalogue's. Cost: milliseconds.

-- +goose Up

-- +goose StatementBegin
CREATE OR REPLACE FUNCTION ph.milestone_moved() RETURNS trigger LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog AS $$
BEGIN
  IF OLD.state NOT IN ('accepted', 'cancelled') AND NEW.state NOT IN ('accepted', 'cancelled') AND OLD.change_minor = NEW.change_minor THEN
    UPDATE ph.prop_line l SET state = NEW.state, due_sort = NEW.due_sort, since = NEW.since, rounds = NEW.rounds
    WHERE l.studio_id = NEW.studio_id AND l.prop_id = NEW.prop_id AND l.milestone_id = NEW.id;
  ELSE
    PERFORM ph.write_lines(NEW.studio_id, ARRAY[NEW.prop_id]);
  END IF;
  RETURN NULL;
END $$;
-- +goose StatementEnd

ALTER FUNCTION ph.write_lines(uuid, uuid[]) SET plan_cache_mode = force_generic_plan;
