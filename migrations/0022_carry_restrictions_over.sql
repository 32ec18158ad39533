-- Restrictions noted on athletes become records; the old column is read no more and goes once no older instance runs.
do $m$
declare
  t text;
  walled constant text[] := array['athletes', 'wellbeing_records', 'club_clock', 'club_change'];
  restricted record;
  last bigint;
begin
  -- The tables' walls are down for this transaction only: a migration sets right the rows of every club.
  foreach t in array walled loop
    execute format('alter table %I no force row level security', t);
  end loop;
  for restricted in
    select a.club_id, array_agg(a.id order by a.id) as athletes
    from athletes a
    where a.restricted_until is not null and a.deleted_at is null
    group by a.club_id
    order by a.club_id
  loop
    update club_clock x set seq = x.seq + cardinality(restricted.athletes)
      where x.club_id = restricted.club_id returning x.seq into last;
    last := last - cardinality(restricted.athletes);
    -- The first day was not kept: today, or the last day of a restriction that is over.
    insert into wellbeing_records as x (club_id, id, rev, athlete_id, kind, reported_on, until, created_at)
      select a.club_id, md5('restriction of ' || a.club_id || a.id)::uuid, last + u.place, a.id, 'restriction',
        least(current_date, a.restricted_until), a.restricted_until, now()
      from athletes a
      cross join unnest(restricted.athletes) with ordinality as u (athlete_id, place)
      where a.club_id = restricted.club_id and a.id = u.athlete_id;
    insert into club_change as x (club_id, seq, kind, op, entity_id, root_kind, root_id, at)
      select w.club_id, w.rev, 'wellbeing_record', 'put', w.id, 'athlete', w.athlete_id, now()
      from wellbeing_records w
      where w.club_id = restricted.club_id;
  end loop;
  foreach t in array walled loop
    execute format('alter table %I force row level security', t);
  end loop;
end
$m$;
