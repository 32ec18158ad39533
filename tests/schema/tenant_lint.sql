-- Which tables would stand in the way of spreading clubs over several database servers?
--
-- One `select` over the system catalogue, for PostgreSQL 15 and newer. It needs no extension, writes nothing, and runs
-- in psql and as a prepared statement alike. Each row is a finding; a schema may have `warn` and `info` findings but no
-- `error`.
--
-- A table says in the first words of its comment where its rows live; a space or a semicolon may follow them:
--   scope:tenant [key=COL]     with their club; COL is club_id unless given (the table of clubs itself has key=id)
--   scope:account [key=COL]    with their account; COL is account_id unless given
--   scope:lookup key=COL       spread by COL alone, as for the e-mail address at sign-in
--   scope:reference            copied to every server: small and rarely written
--   scope:local                on one server, never joined by a request: work queues, bookkeeping of migrations
--
-- The letter of a rule: S where a table lives, K keys, F references, X what runs inside the database, N names.
with
tab as (
  select c.oid, format('%I.%I', n.nspname, c.relname) as rel, c.relname, c.relkind, c.relpersistence,
         c.relrowsecurity, c.relispartition,
         substring(obj_description(c.oid, 'pg_class') from '^scope:(tenant|account|lookup|reference|local)\M') as scope,
         coalesce(substring(obj_description(c.oid, 'pg_class') from '^scope:\w+\s+key=(\w+)'),
                  case substring(obj_description(c.oid, 'pg_class') from '^scope:(\w+)')
                    when 'tenant' then 'club_id' when 'account' then 'account_id' end) as keycol
  from pg_class c
  join pg_namespace n on n.oid = c.relnamespace
  where c.relkind in ('r', 'p')
    and n.nspname !~ '^pg_' and n.nspname <> 'information_schema'
    and c.relname <> '_sqlx_migrations'
    and not c.relispartition
    and not exists (select 1 from pg_depend d where d.classid = 'pg_class'::regclass
                    and d.objid = c.oid and d.deptype = 'e')
),
t as (
  select tab.*, scope in ('tenant', 'account', 'lookup') as sharded,
         a.attnum as keynum, a.attnotnull as keynotnull, a.atttypid as keytype, a.attgenerated as keygen
  from tab
  left join pg_attribute a on a.attrelid = tab.oid and a.attname = tab.keycol
                          and a.attnum > 0 and not a.attisdropped
),
fk as (
  select c.oid, c.conname, c.confupdtype, c.confdeltype, c.conkey, c.confkey,
         f.oid as foid, f.rel as frel, f.scope as fscope, f.sharded as fsharded, f.keynum as fkeynum,
         p.rel as prel, p.scope as pscope, p.sharded as psharded, p.keynum as pkeynum,
         exists (select 1 from unnest(c.conkey, c.confkey) k(a, b)
                 where k.a = f.keynum and k.b = p.keynum) as key_to_key,
         f.keynum = any (c.conkey) as key_used
  from pg_constraint c
  join t f on f.oid = c.conrelid
  join t p on p.oid = c.confrelid
  where c.contype = 'f' and c.conparentid = 0
),
idx as (
  select t.rel, t.scope, t.sharded, t.keynum, i.indexrelid, i.indisunique, i.indisprimary, i.indisexclusion,
         ic.relname as iname, i.indkey::int2[] as cols, i.indnkeyatts as nkey,
         (select c.conname from pg_constraint c where c.conindid = i.indexrelid and c.contype = 'x' limit 1) as xname,
         (select c.conexclop from pg_constraint c where c.conindid = i.indexrelid and c.contype = 'x' limit 1) as xops
  from pg_index i
  join t on t.oid = i.indrelid
  join pg_class ic on ic.oid = i.indexrelid
),
pol as (
  select t.rel, t.sharded, p.polname, p.polrelid, p.polpermissive,
         coalesce(p.polqual::text, '') || coalesce(p.polwithcheck::text, '') as tree,
         coalesce(pg_get_expr(p.polqual, p.polrelid), '') || ' ' ||
         coalesce(pg_get_expr(p.polwithcheck, p.polrelid), '') as txt
  from pg_policy p
  join t on t.oid = p.polrelid
),
found (severity, rule, rel, object, problem) as (
  -- S: where the table lives
  select 'error', 'S01', rel, null::text, 'no scope comment (COMMENT ON TABLE ... IS ''scope:tenant'')'
    from t where scope is null
  union all
  select 'error', 'S02', rel, keycol, format('sharded table lacks its key column %s', coalesce(keycol, '(none given)'))
    from t where sharded and keynum is null
  union all
  select 'error', 'S03', rel, keycol, 'key column may be null'
    from t where sharded and keynum is not null and not keynotnull
  union all
  select 'error', 'S04', rel, keycol, format('key column is %s; every table of one scope needs the same type (uuid)', format_type(keytype, null))
    from t where scope in ('tenant', 'account') and keynum is not null and keytype <> 'uuid'::regtype
  union all
  select 'error', 'S05', rel, keycol, 'key column is generated'
    from t where sharded and keygen <> ''
  union all
  select case scope when 'local' then 'warn' else 'error' end, 'S06', t.rel, 'club_id',
         format('%s table with a club_id column: %s', scope,
                case scope when 'local' then 'right only for a work queue without foreign keys to tenant tables'
                else 'should it be scope:tenant?' end)
    from t where scope in ('reference', 'local')
      and exists (select 1 from pg_attribute a where a.attrelid = t.oid and a.attname = 'club_id' and not a.attisdropped)
  union all
  -- K: uniqueness can only be kept within one server, so the key column belongs to it
  select 'error', 'K01', rel, null, 'no primary key'
    from t where scope is not null and scope <> 'local'
      and not exists (select 1 from pg_index i where i.indrelid = t.oid and i.indisprimary)
  union all
  select 'error', case when indisprimary then 'K02' else 'K03' end, rel, iname,
         case when indisprimary then 'primary key' else 'unique index' end || ' does not contain the key column'
    from idx where sharded and indisunique and not indisexclusion and keynum is not null
      and not keynum = any (cols[0:nkey - 1])
  union all
  select 'warn', 'K04', rel, iname, 'key column is not the first column of the unique index'
    from idx where sharded and indisunique and keynum = any (cols[0:nkey - 1]) and cols[0] <> keynum
  union all
  select 'error', 'K05', rel, xname, 'exclusion constraint does not compare the key column with ='
    from idx where sharded and indisexclusion
      and not exists (select 1 from generate_subscripts(cols, 1) s
                      join pg_operator o on o.oid = xops[s + 1]
                      where cols[s] = keynum and o.oprname = '=')
  union all
  select 'info', 'K06', rel, iname, 'index does not start with the key column: fine only if a request also filters by it'
    from idx where sharded and not indisunique and cols[0] is distinct from keynum and keynum is not null
      and not exists (select 1 from pg_class ic join pg_am am on am.oid = ic.relam
                      where ic.oid = indexrelid and am.amname in ('gin', 'gist', 'brin', 'spgist'))
  union all
  -- F: both ends of a reference must live on the same server
  select 'error', 'F01', frel, conname, format('must pair key column with key column of %s', prel)
    from fk where fsharded and psharded and fscope = pscope and fscope <> 'lookup' and not key_to_key
  union all
  select 'error', 'F02', frel, conname, format('joins scope %s to scope %s: different shards, the engine refuses it', fscope, pscope)
    from fk where fsharded and psharded and (fscope <> pscope or fscope = 'lookup')
  union all
  select 'error', 'F03', frel, conname, format('a %s table may not reference the sharded table %s', fscope, prel)
    from fk where fscope in ('reference', 'local') and psharded
  union all
  select 'error', 'F04', frel, conname, format('a %s table may not reference the local table %s', fscope, prel)
    from fk where (fsharded or fscope = 'reference') and pscope = 'local'
  union all
  select 'error', 'F05', frel, conname, 'ON UPDATE CASCADE, SET NULL and SET DEFAULT are not supported'
    from fk where fsharded and key_used and confupdtype in ('c', 'n', 'd')
  union all
  select 'error', 'F06', frel, conname, 'ON DELETE SET NULL or SET DEFAULT on a foreign key that holds the key column (a column list does not help): clear the column in code'
    from fk where fsharded and key_used and confdeltype in ('n', 'd')
  union all
  -- X: what runs inside the database must not look beyond one club
  select 'error', 'X01', t.rel, g.tgname, 'trigger: refused on sharded and reference tables'
    from pg_trigger g join t on t.oid = g.tgrelid
    where not g.tgisinternal and (t.sharded or t.scope = 'reference')
  union all
  select 'error', 'X02', t.rel, r.rulename, 'rewrite rule'
    from pg_rewrite r join t on t.oid = r.ev_class where (t.sharded or t.scope = 'reference')
  union all
  select 'error', 'X03', rel, polname, 'row security policy holds a sub-select'
    from pol where (sharded) and tree ~ '\{SUBLINK'
  union all
  select 'error', 'X08', rel, polname, 'restrictive policy: parts on other servers would have it as an alternative; put it into the other one'
    from pol where sharded and not polpermissive
  union all
  select 'warn', 'X04', rel, polname, 'policy calls current_setting() without missing_ok: use nullif(current_setting(name, true), '''')::uuid'
    from pol where txt ~ 'current_setting\(''[^'']*''(::text)?\)'
  union all
  select 'warn', 'X05', rel, null, 'tenant table without row level security'
    from t where scope = 'tenant' and not relrowsecurity
  union all
  select 'error', 'X06', t.rel, a.attname, 'identity or sequence default: cannot be added to a sharded table later; use a uuid or the club change counter'
    from t join pg_attribute a on a.attrelid = t.oid and a.attnum > 0 and not a.attisdropped
    left join pg_attrdef d on d.adrelid = a.attrelid and d.adnum = a.attnum and a.attgenerated = ''
    where t.sharded and (a.attidentity <> '' or pg_get_expr(d.adbin, d.adrelid) ~ 'nextval\(')
  union all
  select 'error', 'X07', t.rel, c.relname, 'table inheritance'
    from pg_inherits i join t on t.oid = i.inhparent and t.relkind = 'r' join pg_class c on c.oid = i.inhrelid
    where t.sharded or t.scope = 'reference'
  union all
  -- N: each part of a spread table is named with up to 8 further characters, and names end at 63 bytes
  select 'warn', 'N01', t.rel, c.conname, 'constraint name is longer than 54 characters: the shard copy of the name is cut'
    from pg_constraint c join t on t.oid = c.conrelid where t.sharded and length(c.conname) > 54
  union all
  select 'warn', 'N01', rel, iname, 'index name is longer than 54 characters: the shard copy of the name is cut'
    from idx where sharded and length(iname) > 54
      and not exists (select 1 from pg_constraint c where c.conindid = indexrelid and c.conname = iname)
)
select severity, rule, rel as "table", object, problem
from found
order by array_position(array['error', 'warn', 'info'], severity), rule, rel, object
