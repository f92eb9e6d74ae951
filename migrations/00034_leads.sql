-- A studio invites a vendor's first member and no further one. These two functions tell so when the invitation is made and when it is
-- opened, instead of at the end alone.
-- Lock: none beyond the catalogue's. Cost: milliseconds.

-- +goose Up

-- +goose StatementBegin
-- Whether a vendor that the caller's studio works with has people of its own; false for any other.
CREATE FUNCTION ph.vendor_has_members(the_vendor uuid) RETURNS boolean
  LANGUAGE sql STABLE SECURITY DEFINER SET search_path = pg_catalog AS $$
  SELECT EXISTS (SELECT FROM ph.engagement e WHERE e.studio_id = ph.app_studio() AND e.vendor_id = the_vendor)
     AND EXISTS (SELECT FROM ph.member m WHERE m.party_id = the_vendor)
$$;

-- Whether an invitation that still stands came too late: it is a studio's for a vendor's first member, and somebody else became that.
CREATE FUNCTION ph.invitation_late(the_hash bytea) RETURNS boolean
  LANGUAGE sql STABLE SECURITY DEFINER SET search_path = pg_catalog AS $$
  SELECT EXISTS (SELECT FROM ph.invitation i WHERE i.secret_hash = the_hash AND i.engaged_by IS NOT NULL AND i.accepted_at IS NULL AND i.expires_at > now()
    AND EXISTS (SELECT FROM ph.member m WHERE m.party_id = i.party_id))
$$;
-- +goose StatementEnd
REVOKE ALL ON FUNCTION ph.vendor_has_members(uuid), ph.invitation_late(bytea) FROM PUBLIC;
GRANT EXECUTE ON FUNCTION ph.vendor_has_members(uuid) TO ph_api;
GRANT EXECUTE ON FUNCTION ph.invitation_late(bytea) TO ph_login;
