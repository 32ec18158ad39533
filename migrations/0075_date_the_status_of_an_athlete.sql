-- A status counts from the day on which it was set: what was planned for days before it stays as it was. Nobody knows the day: null.
do $m$
begin
  alter table athletes add column status_on date;
end
$m$;
