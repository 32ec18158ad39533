-- Which app of a third party acted. Rows from before say none, and nothing is added to what their hashes are of.
do $m$
begin
  alter table audit add column app_id uuid;
end
$m$;
