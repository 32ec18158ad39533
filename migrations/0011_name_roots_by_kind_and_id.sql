-- Clients choose ids, so an id alone says nothing about what it names: the kind becomes part of every name of a root.
do $m$
declare
  t text;
  -- Tables that this file reads or writes for all clubs at once.
  walled constant text[] := array['root_scope', 'athletes', 'sessions', 'groups', 'venues', 'equipment',
    'barrier_configurations', 'age_groups', 'competition_specs', 'clubs', 'club_change', 'club_clock', 'op_receipt'];
  twin record;
  side record;
  row_of record;
  told uuid[];
  inside uuid[];
  others uuid[];
  others_known boolean;
  kept uuid[];
  -- The end of the log before this file adds to it, and the last number that it gave.
  head bigint;
  last bigint;
begin
  foreach t in array walled loop
    execute format('alter table %I no force row level security', t);
  end loop;

  alter table root_scope add column kind text;
  update root_scope x set kind = 'athlete'
    from athletes a where a.club_id = x.club_id and a.id = x.root_id;
  update root_scope x set kind = 'session'
    from sessions s where s.club_id = x.club_id and s.id = x.root_id and x.kind is null;
  -- Scopes of nothing.
  delete from root_scope x where x.kind is null;
  alter table root_scope drop constraint root_scope_pkey;

  -- One id that is both had one set of scopes for both. The log says which groups each was put into; where it no longer
  -- reaches back, only what the other never added stays. Nobody gains a scope that the log does not give. Phones are told
  -- to drop both and to take them anew, and so are those that were sent what lies below an athlete or a session because
  -- a club-wide record had its id.
  for twin in
    select u.club_id, u.id, bool_or(u.wide) as wide
    from (
      select a.club_id, a.id, false as wide
      from athletes a join sessions s on s.club_id = a.club_id and s.id = a.id
      union all
      select r.club_id, r.id, true
      from (select x.club_id, x.id from athletes x union select y.club_id, y.id from sessions y) r
      join (
        select g.club_id, g.id from groups g union all select v.club_id, v.id from venues v
        union all select e.club_id, e.id from equipment e
        union all select b.club_id, b.id from barrier_configurations b
        union all select y.club_id, y.id from age_groups y
        union all select z.club_id, z.id from competition_specs z
        union all select c.id, c.id from clubs c
      ) w on w.club_id = r.club_id and w.id = r.id
    ) u
    group by u.club_id, u.id
    order by u.club_id, u.id
  loop
    select x.seq into head from club_clock x where x.club_id = twin.club_id;
    inside := array(select distinct s.scope_id from root_scope s where s.club_id = twin.club_id and s.root_id = twin.id);
    told := inside || array(
      select unnest(c.before_scopes || c.after_scopes) from club_change c
      where c.club_id = twin.club_id and c.entity_id = twin.id and c.kind in ('athlete', 'session')
        and c.before_scopes is not null);
    if twin.wide then
      told := told || twin.club_id;
    end if;
    delete from root_scope s where s.club_id = twin.club_id and s.root_id = twin.id;
    for side in
      select 'athlete' as kind, 'session' as other, a.deleted_at is null as alive
      from athletes a where a.club_id = twin.club_id and a.id = twin.id
      union all
      select 'session', 'athlete', s.deleted_at is null
      from sessions s where s.club_id = twin.club_id and s.id = twin.id
      order by 1
    loop
      others := array(
        select a.scope from club_change c cross join lateral unnest(c.after_scopes) as a (scope)
        where c.club_id = twin.club_id and c.seq <= head and c.entity_id = twin.id and c.kind = side.other
          and c.before_scopes is not null and not a.scope = any (c.before_scopes));
      others_known := exists (
        select from club_change c
        where c.club_id = twin.club_id and c.seq <= head and c.entity_id = twin.id and c.kind = side.other
          and c.before_scopes = '{}');
      if side.kind = 'athlete' then
        others_known := others_known
          or not exists (select from sessions s where s.club_id = twin.club_id and s.id = twin.id);
      else
        others_known := others_known
          or not exists (select from athletes a where a.club_id = twin.club_id and a.id = twin.id);
      end if;
      kept := null;
      for row_of in
        select c.before_scopes, c.after_scopes from club_change c
        where c.club_id = twin.club_id and c.seq <= head and c.entity_id = twin.id and c.kind = side.kind
          and c.before_scopes is not null
        order by c.seq
      loop
        if kept is null then
          kept := case when others_known
            then array(select b from unnest(row_of.before_scopes) b where not b = any (others)) else '{}' end;
        end if;
        kept := array(
          select k from unnest(kept) k
          where not (k = any (row_of.before_scopes) and not k = any (row_of.after_scopes))
          union
          select a from unnest(row_of.after_scopes) a where not a = any (row_of.before_scopes));
      end loop;
      if kept is null then
        kept := case when others_known then array(select i from unnest(inside) i where not i = any (others)) else '{}' end;
      end if;
      kept := array(
        select g.id from groups g
        where g.club_id = twin.club_id and g.id = any (kept) and g.deleted_at is null and side.alive
        order by g.id);
      insert into root_scope as x (club_id, kind, root_id, scope_id)
        select twin.club_id, side.kind, twin.id, u.scope from unnest(kept) as u (scope);
      update club_clock x set seq = x.seq + 2 where x.club_id = twin.club_id returning x.seq into last;
      insert into club_change as x (club_id, seq, kind, op, entity_id, root_id, before_scopes, after_scopes, at)
      values
        (twin.club_id, last - 1, side.kind, case when side.alive then 'put' else 'remove' end, twin.id, twin.id, told,
         '{}', now()),
        (twin.club_id, last, side.kind, case when side.alive then 'put' else 'remove' end, twin.id, twin.id, '{}', kept,
         now());
      if side.kind = 'athlete' then
        update athletes x set rev = last, groups_rev = last where x.club_id = twin.club_id and x.id = twin.id;
      else
        update sessions x set rev = last where x.club_id = twin.club_id and x.id = twin.id;
      end if;
    end loop;
  end loop;

  alter table root_scope alter column kind set not null;
  alter table root_scope add constraint root_scope_kind check (kind in ('athlete', 'session'));
  alter table root_scope add constraint root_scope_pkey primary key (club_id, kind, root_id, scope_id);
  drop index root_scope_by_scope;
  create index root_scope_by_scope on root_scope (club_id, scope_id, root_id, kind);
  -- The root itself, one column for each kind, so that a scope can only be that of a record of its kind.
  alter table root_scope add column athlete_id uuid generated always as (case kind when 'athlete' then root_id end) stored;
  alter table root_scope add column session_id uuid generated always as (case kind when 'session' then root_id end) stored;
  alter table root_scope
    add constraint root_scope_athlete foreign key (club_id, athlete_id) references athletes (club_id, id);
  alter table root_scope
    add constraint root_scope_session foreign key (club_id, session_id) references sessions (club_id, id);

  -- A scope is a group, the club, or the nil id for all of it; no group may pass for one of the others.
  alter table groups add constraint groups_id_is_no_other_scope
    check (id <> club_id and id <> '00000000-0000-0000-0000-000000000000') not valid;

  alter table club_change add column root_kind text;
  update club_change x set root_kind = case
    when x.kind in ('measurement', 'attendance', 'run', 'assessment', 'recommendation', 'race_entry', 'race_result')
      then 'athlete'
    when x.kind in ('lane_plan', 'race_test') then 'session'
    when x.kind in ('grant', 'revoke') then 'member'
    else x.kind
  end;
  alter table club_change alter column root_kind set not null;

  -- Null in receipts from before whose change is no longer in the log; they go within 90 days.
  alter table op_receipt add column kind text;
  update op_receipt x set kind = c.kind
    from club_change c where c.club_id = x.club_id and c.seq = x.rev and c.entity_id = x.entity_id;

  alter table held_item drop constraint held_item_pkey;
  alter table held_item add constraint held_item_pkey primary key (club_id, kind, id);
  drop index held_item_open;
  create index held_item_open on held_item (club_id, id, kind) where outcome is null;
  drop index refused_edit_entity;
  create index refused_edit_entity on refused_edit (club_id, kind, entity_id);

  foreach t in array walled loop
    execute format('alter table %I force row level security', t);
  end loop;
end
$m$;

-- The groups of athletes and of sessions by themselves: a query cannot leave out the kind.
create view athlete_scope with (security_invoker = true) as
  select club_id, root_id as athlete_id, scope_id from root_scope where kind = 'athlete';
create view session_scope with (security_invoker = true) as
  select club_id, root_id as session_id, scope_id from root_scope where kind = 'session';
grant select on athlete_scope, session_scope to club_app;
