-- Athletes are withheld from apps or helpers where consent was withdrawn; what was noted on athletes becomes a record.
do $m$
declare
  t text;
  walled constant text[] := array['athletes', 'consents'];
begin
  alter table athletes add column withheld text[] not null default '{}';
  -- Whoever reads for an audience says so in its transaction; members say nothing and see everybody.
  create policy shown on athletes as restrictive for select to club_app
    using (not coalesce(current_setting('app.audience', true), '') = any (withheld));
  foreach t in array walled loop
    execute format('alter table %I no force row level security', t);
  end loop;
  insert into consents as x (club_id, id, athlete_id, purpose, given, on_day, created_at)
    select a.club_id, md5('consent of ' || a.club_id || a.id)::uuid, a.id, 'training_records', true, a.consent_on, now()
    from athletes a
    where a.consent_on is not null and a.deleted_at is null;
  foreach t in array walled loop
    execute format('alter table %I force row level security', t);
  end loop;
end
$m$;
