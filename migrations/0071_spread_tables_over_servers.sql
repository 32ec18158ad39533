-- Where the extension that spreads tables over servers is there, all tables are spread here, with what they hold; later files find
-- them spread. Files before this one alter tables in ways that a spread table does not take, so they run before.
create or replace function ops.distribute() returns void
language plpgsql
as $$
declare
  t record;
  held regclass[] := '{}';
  one regclass;
begin
  if not exists (select 1 from pg_extension where extname = 'citus') then
    return;
  end if;
  -- Parts that refer to each other are made over one connection.
  perform set_config('citus.multi_shard_modify_mode', 'sequential', true);
  perform set_config('client_min_messages', 'warning', true);
  loop
    -- What others refer to goes first.
    select c.oid::regclass as rel, c.relforcerowsecurity as walled, s.scope,
           coalesce(s.key_column, case s.scope when 'tenant' then 'club_id' when 'account' then 'account_id' end) as key_column
    into t
    from pg_class c
    cross join lateral (
      select substring(obj_description(c.oid, 'pg_class') from '^scope:(\w+)') as scope,
             substring(obj_description(c.oid, 'pg_class') from '^scope:\w+ key=(\w+)') as key_column
    ) s
    where c.relkind = 'r' and c.relnamespace = 'public'::regnamespace
      and s.scope in ('tenant', 'account', 'lookup', 'reference')
      and not exists (select from pg_dist_partition p where p.logicalrelid = c.oid)
      and not exists (
        select from pg_constraint f
        where f.contype = 'f' and f.conrelid = c.oid and f.confrelid <> c.oid
          and not exists (select from pg_dist_partition p where p.logicalrelid = f.confrelid))
    order by c.oid
    limit 1;
    exit when not found;
    -- The walls hide from the owner what is to be spread.
    if pg_relation_size(t.rel) > 0 then
      execute format('alter table %s no force row level security', t.rel);
      held := held || t.rel;
    end if;
    if t.scope = 'reference' then
      perform create_reference_table(t.rel);
    else
      -- What is of one club lies together, and what is of one account; neither with the other, because one transaction writes
      -- both in two roles, which the extension takes from one place in one role only.
      perform create_distributed_table(t.rel, t.key_column, colocate_with => coalesce(
        (select min(p.logicalrelid::oid)::regclass::text
         from pg_dist_partition p
         where t.scope in ('tenant', 'account')
           and substring(obj_description(p.logicalrelid, 'pg_class') from '^scope:(\w+)') = t.scope),
        'none'));
    end if;
    if t.walled and t.rel = any (held) then
      execute format('alter table %s force row level security', t.rel);
    end if;
  end loop;
  -- What was spread is still there where it came from, where nobody sees it.
  foreach one in array held loop
    perform truncate_local_data_after_distributing_table(one);
  end loop;
end
$$;

select ops.distribute();
