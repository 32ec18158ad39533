-- A measurement says whether somebody looked at it again, and whether advice leaves it out.
-- What was filed before anybody was asked is judged by advice as before.
do $m$
begin
  alter table measurements add column confirmed boolean not null default false;
  alter table measurements add column implausible boolean not null default false;
end
$m$;
