-- A lane plan says up to which moment it heeds reports and restrictions; what came later is said of its people when it is read.
-- Plans of before heed what was known when they were made.
do $m$
begin
  alter table lane_plans add column known_at timestamptz;
end
$m$;
