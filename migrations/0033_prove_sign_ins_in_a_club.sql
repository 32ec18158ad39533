-- A request proves its sign-in in the transaction of its club: there it sees the sign-ins of its own account alone, and of them
-- no more than whether they were ended.
do $m$
begin
  alter table devices enable row level security;
  create policy devices_of_account on devices for select to club_app
    using (account_id = nullif(current_setting('app.account_id', true), '')::uuid);
  grant select (account_id, id, revoked_at) on devices to club_app;
end
$m$;
