-- A refused edit is answered alike when it comes again, however late.
do $m$
begin
  alter table op_receipt add column answer jsonb;
  comment on table op_receipt is
    'scope:tenant; edits that were carried out or refused, so that a repeat is answered and not judged again; answer: why it was refused';
end
$m$;
