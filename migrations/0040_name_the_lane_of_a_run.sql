-- A run says in which lane of which plan and round it was run; a plan may go, the run stays.
do $m$
begin
  alter table runs add column lane_plan_id uuid;
  alter table runs add column lane smallint;
  alter table runs add column round smallint;
  alter table runs add constraint runs_lane
    check ((lane_plan_id is null) = (lane is null) and (lane is null) = (round is null));
end
$m$;
