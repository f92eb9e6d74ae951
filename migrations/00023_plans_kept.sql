-- Functions that are called with every act keep their plans. PostgreSQL before 18 plans the statements of a function in SQL anew
-- with every call that is not inlined; in PL/pgSQL each connection plans them once. Of a seal that was a third of the database's time.
-- Lock: none beyond the catalogue's rows of three functions, for a moment. Cost: none.

-- +goose Up
-- +goose StatementBegin
CREATE OR REPLACE FUNCTION ph.app_actor() RETURNS text LANGUAGE plpgsql STABLE PARALLEL SAFE SET search_path = pg_catalog AS $$
BEGIN
  RETURN CASE WHEN nullif(current_setting('app.studio', true), '') IS NOT NULL THEN 'studio'
              WHEN nullif(current_setting('app.vendor', true), '') IS NOT NULL THEN 'vendor' ELSE 'machine' END;
END $$;

CREATE OR REPLACE FUNCTION ph.write_lines(the_studio uuid, the_props uuid[]) RETURNS void LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog AS $$
BEGIN
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
    blocked_since = excluded.blocked_since, blocked_secs = excluded.blocked_secs;
END $$;

CREATE OR REPLACE FUNCTION ph.count_checks(the_studio uuid, the_inspection uuid) RETURNS void LANGUAGE plpgsql SECURITY DEFINER SET search_path = pg_catalog AS $$
BEGIN
  INSERT INTO ph.check_count AS d (studio_id, vendor_id, project_id, tier, month, chk, shard, judged, failed)
  SELECT i.studio_id, i.vendor_id, w.project_id, p.tier, date_trunc('month', now() AT TIME ZONE 'UTC')::date, f.chk,
         CASE WHEN grouping(i.vendor_id, w.project_id) = 3 THEN abs(hashtext(the_inspection::text) % 4) ELSE 0 END,
         count(*), count(*) FILTER (WHERE f.blocks AND f.outcome = 'fail')
  FROM ph.inspection i
  JOIN ph.work_order w ON w.studio_id = i.studio_id AND w.id = i.work_order_id
  JOIN ph.prop p ON p.studio_id = i.studio_id AND p.id = i.prop_id
  JOIN ph.finding f ON f.studio_id = i.studio_id AND f.inspection_id = the_inspection
  WHERE i.studio_id = the_studio AND i.id = the_inspection AND f.outcome IN ('pass', 'warn', 'fail')
  GROUP BY i.studio_id, p.tier, f.chk, GROUPING SETS ((), (i.vendor_id), (w.project_id), (i.vendor_id, w.project_id))
  ORDER BY i.vendor_id, w.project_id, f.chk
  ON CONFLICT (studio_id, vendor_id, project_id, month, tier, chk, shard)
  DO UPDATE SET judged = d.judged + excluded.judged, failed = d.failed + excluded.failed;
END $$;
-- +goose StatementEnd
