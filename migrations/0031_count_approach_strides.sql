-- A coach may count the strides that an athlete takes to the first barrier; the lanes of that athlete begin accordingly.
do $m$
begin
  alter table athletes
    add column approach_strides smallint,
    add constraint athletes_approach_strides_check check (approach_strides between 4 and 12);
end
$m$;
