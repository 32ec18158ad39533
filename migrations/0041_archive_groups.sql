-- A group whose time is over keeps its past and leaves the lists.
do $m$
begin
  alter table groups add column archived boolean not null default false;
end
$m$;
