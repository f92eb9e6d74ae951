-- An agreed change takes effect on a milestone that is still under way and on no other: what was accepted is paid as it was, and what
-- was cancelled with its fee. The program refused it; now the database does too.
-- Lock: none beyond the catalogue's. Cost: milliseconds.

-- +goose Up

-- +goose StatementBegin
CREATE OR REPLACE FUNCTION ph.change_order_agreed() RETURNS trigger LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog AS $$
BEGIN
  IF NEW.state = 'agreed' AND OLD.state <> 'agreed' THEN
    UPDATE ph.milestone m SET change_minor = m.change_minor + NEW.delta_minor, due_moved = coalesce(NEW.due_on, m.due_moved),
      due_sort = coalesce(NEW.due_on, m.due_sort)
    WHERE m.studio_id = NEW.studio_id AND m.id = NEW.milestone_id AND m.state NOT IN ('accepted', 'cancelled');
    IF NOT FOUND THEN
      RAISE EXCEPTION 'nothing of a finished milestone changes any more' USING ERRCODE = 'check_violation', CONSTRAINT = 'change_of_finished_milestone';
    END IF;
  END IF;
  RETURN NULL;
END $$;
-- +goose StatementEnd
