-- scope:account. A sign-in may be that of an app: whose, and with which scopes at the most.
do $m$
begin
  alter table devices add column app_club_id uuid;
  alter table devices add column app_id uuid;
  alter table devices add column scopes text[];
  alter table devices add constraint devices_app
    check ((app_id is null) = (app_club_id is null) and (app_id is null) = (scopes is null));
end
$m$;
