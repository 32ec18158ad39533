-- The role that requests act as inside one club, and the hook a sharded server uses to spread the tables.
do $$
begin
  create role club_app nologin nosuperuser nobypassrls;
exception when duplicate_object or unique_violation then null;
end
$$;

-- Since PostgreSQL 16 the maker of a role administers it, but may act as it only after granting it to itself.
do $$
begin
  execute format('grant club_app to %I', current_user);
exception when insufficient_privilege then
  -- Somebody else made the role and gave it to us; anything else stops here.
  if not pg_has_role(current_user, 'club_app', 'member') then
    raise;
  end if;
end
$$;

create schema ops;

-- Reads the scope in each table's comment and distributes what is not distributed yet.
-- Without the sharding extension there is nothing to do.
create function ops.distribute() returns void
language plpgsql
as $$
declare
  t record;
begin
  if not exists (select 1 from pg_extension where extname = 'citus') then
    return;
  end if;
  for t in
    select c.oid::regclass as rel,
           substring(obj_description(c.oid, 'pg_class') from '^scope:(\w+)') as scope,
           coalesce(substring(obj_description(c.oid, 'pg_class') from '^scope:\w+ key=(\w+)'),
                    case substring(obj_description(c.oid, 'pg_class') from '^scope:(\w+)')
                      when 'tenant' then 'club_id' when 'account' then 'account_id' end) as key_column
    from pg_class c
    join pg_namespace n on n.oid = c.relnamespace
    where c.relkind = 'r' and n.nspname = 'public'
      and not exists (select 1 from pg_dist_partition p where p.logicalrelid = c.oid)
    order by c.oid
  loop
    if t.scope in ('tenant', 'account', 'lookup') then
      perform create_distributed_table(t.rel, t.key_column);
    elsif t.scope = 'reference' then
      perform create_reference_table(t.rel);
    end if;
  end loop;
end
$$;

-- Row security for tables keyed by club_id: a transaction sees the one club it has set.
create function ops.protect(variadic tables text[]) returns void
language plpgsql
as $$
declare
  t text;
begin
  foreach t in array tables loop
    execute format('alter table %I enable row level security', t);
    execute format('alter table %I force row level security', t);
    execute format(
      'create policy one_club on %I'
      ' using (club_id = nullif(current_setting(''app.club_id'', true), '''')::uuid)'
      ' with check (club_id = nullif(current_setting(''app.club_id'', true), '''')::uuid)', t);
    execute format('grant select, insert, update, delete on %I to club_app', t);
  end loop;
end
$$;

grant usage on schema public to club_app;
