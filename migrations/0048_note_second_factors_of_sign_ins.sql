-- A sign-in knows whether a second factor was shown with it, and a club's transaction may ask that of its own.
do $m$
begin
  alter table devices add column second_factor_at timestamptz;
  grant select (second_factor_at) on devices to club_app;
end
$m$;
