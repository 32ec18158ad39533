-- A refused fact is answered alike as well, until its athlete is erased; and so is who left the club, up to a number.
do $m$
begin
  alter table op_receipt add column athlete_id uuid;
  alter table op_receipt add column former_id uuid;
  create index op_receipt_athlete on op_receipt (club_id, athlete_id) where athlete_id is not null;
  create index op_receipt_former on op_receipt (club_id, former_id) where former_id is not null;
  comment on table op_receipt is
    'scope:tenant; items that were carried out or refused, so that a repeat is answered and not judged again; answer: why it was refused; athlete_id: whom a refused fact is about; former_id: who sent a refused item after they left';
end
$m$;
