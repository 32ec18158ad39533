-- A race result against a report or restriction is kept and flagged, as a run is.
do $m$
begin
  alter table race_results add column while_restricted boolean not null default false;
end
$m$;
