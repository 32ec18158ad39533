-- What a member sees of a shared record is decided when it is read: plans keep ids instead of names, and whom they are about.
do $m$
begin
  -- Who recorded a measurement may send it again, also when its athlete has left their groups; null: from before.
  alter table measurements add column recorded_by uuid;
  -- Everybody whom a plan names, so that phones get it anew when one of them comes into or out of somebody's sight.
  alter table lane_plans add column people uuid[];
  -- The tables' walls are down for this transaction only: a migration sets right the rows of every club.
  alter table lane_plans no force row level security;
  update lane_plans x set
    plan = x.plan || jsonb_build_object(
      'lanes', coalesce((
        select jsonb_agg(l.lane || jsonb_build_object('athletes', coalesce((
          select jsonb_agg(a.one - 'display_name' order by a.at)
          from jsonb_array_elements(l.lane -> 'athletes') with ordinality as a (one, at)
        ), '[]')) order by l.at)
        from jsonb_array_elements(x.plan -> 'lanes') with ordinality as l (lane, at)
      ), '[]'),
      'resting', coalesce((
        select jsonb_agg(r.one - 'display_name' order by r.at)
        from jsonb_array_elements(x.plan -> 'resting') with ordinality as r (one, at)
      ), '[]')
    )
  where x.deleted_at is null;
  update lane_plans x set people = array(
    select distinct (p.id #>> '{}')::uuid
    from (
      select jsonb_path_query(x.plan, '$.lanes[*].athletes[*].athlete_id') as id
      union all
      select jsonb_path_query(x.plan, '$.resting[*].athlete_id')
      union all
      select jsonb_path_query(x.request, '$.athlete_ids[*]')
      union all
      select jsonb_path_query(x.request, '$.pins[*].athlete_id')
      union all
      select jsonb_path_query(x.request, '$.apart[*][*]')
    ) p
  );
  alter table lane_plans force row level security;
  alter table lane_plans alter column people set not null;
end
$m$;
