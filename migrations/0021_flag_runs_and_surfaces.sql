-- A run against a report or restriction is kept and flagged, and a session says what is wrong with its surface.
do $m$
begin
  alter table runs add column while_restricted boolean not null default false;
  alter table sessions add column surface text;
  alter table sessions add constraint sessions_surface check (surface in ('wet', 'uneven'));
end
$m$;
