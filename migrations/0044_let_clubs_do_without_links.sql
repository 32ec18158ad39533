-- A club says whether its coaches may show a session's sheets to helpers without an account.
do $m$
begin
  alter table clubs add column helper_links boolean not null default true;
end
$m$;
