-- The service's roles on a distributed PostgreSQL (the extension Citus). Once, by a superuser, on the coordinator in the database of the
-- service, after its servers were added: the extension carries it out on each of them. Neither role may pass row security.
--
-- The extension connects to the other servers in the role of the transaction, so club_app may log in; let it, and lanewright,
-- come from the addresses of your servers alone (pg_hba.conf; passwords between servers stand in pg_dist_authinfo). The service
-- itself signs in as lanewright: give that role a password.
create role lanewright login nosuperuser nobypassrls createrole;
create role club_app login nosuperuser nobypassrls;
grant club_app to lanewright;
grant create on schema public to lanewright;
do $$
begin
  execute format('grant create on database %I to lanewright', current_database());
end
$$;

-- What the service asks of its connection to the coordinator holds on the other servers when it stands at the roles.
alter role lanewright set enable_seqscan = off;
alter role lanewright set enable_bitmapscan = off;
alter role lanewright set jit = off;
alter role lanewright set lock_timeout = '4s';
alter role club_app set enable_seqscan = off;
alter role club_app set enable_bitmapscan = off;
alter role club_app set jit = off;
alter role club_app set lock_timeout = '4s';
