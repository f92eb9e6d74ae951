-- In which language and in which time zone each member reads the pages.
-- Lock: ACCESS EXCLUSIVE on member for a moment (columns without a rewrite). Cost: milliseconds.

-- +goose Up

-- NULL: what the browser asks for; the zone of the party's calendar, or UTC.
ALTER TABLE ph.member
  ADD COLUMN language text,
  ADD COLUMN time_zone text,
  ADD CONSTRAINT member_language_is_a_tag CHECK (language ~ '^[a-z]{2,3}(-[A-Za-z0-9]{2,8})*$'), -- BCP 47
  ADD CONSTRAINT member_time_zone_length CHECK (char_length(time_zone) BETWEEN 1 AND 100);       -- of the IANA time zone database

GRANT SELECT (language, time_zone), UPDATE (language, time_zone) ON ph.member TO ph_api;

-- How a member reads: their own settings, and the zone of their party's newest calendar where they chose none. For the
-- pages, before they do anything as the member.
-- +goose StatementBegin
CREATE FUNCTION ph.login_reader(the_party uuid, the_member uuid) RETURNS TABLE (language text, time_zone text)
LANGUAGE sql STABLE SECURITY DEFINER SET search_path = pg_catalog AS $$
  SELECT coalesce(m.language, ''),
    coalesce(m.time_zone, (SELECT c.time_zone FROM ph.calendar c WHERE c.party_id = m.party_id ORDER BY c.number DESC LIMIT 1), '')
  FROM ph.member m WHERE m.party_id = the_party AND m.id = the_member
$$;
-- +goose StatementEnd
ALTER FUNCTION ph.login_reader(uuid, uuid) OWNER TO ph_owner;
REVOKE ALL ON FUNCTION ph.login_reader(uuid, uuid) FROM PUBLIC;
GRANT EXECUTE ON FUNCTION ph.login_reader(uuid, uuid) TO ph_login;
