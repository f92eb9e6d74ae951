-- What the first issue of an inspection is, as data: codes and arguments of its sentences, so that lists say it in the reader's language.
-- The headline has it in English, and the evidence has it all.
-- Lock: ACCESS EXCLUSIVE on inspection for a moment (a column without a default, a check that is NOT VALID). Cost: milliseconds. Rows
-- of before have none; their headline stays.

-- +goose Up

ALTER TABLE ph.inspection ADD COLUMN first_issue jsonb;
ALTER TABLE ph.inspection ADD CONSTRAINT inspection_first_issue_form CHECK (jsonb_typeof(first_issue) = 'array' AND pg_column_size(first_issue) <= 16384) NOT VALID;
GRANT SELECT (first_issue), UPDATE (first_issue) ON ph.inspection TO ph_worker;
