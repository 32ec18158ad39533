-- A club says in which units its documents for people are printed.
do $m$
begin
  alter table clubs add column print_units text not null default 'metric';
  alter table clubs add constraint clubs_print_units check (print_units in ('metric', 'imperial'));
end
$m$;
