-- Coaches note what the next session should know of this one; like the session, everybody sees it who sees one of its groups.
do $m$
begin
  alter table sessions add column note text;
end
$m$;
