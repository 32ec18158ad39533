-- An invitation stands as long as the admin who made it is one.
do $m$
begin
  -- Of older invitations nobody knows who made them, so they are void.
  alter table invitations add column invited_by uuid;
  alter table invitations add column voided_at timestamptz;
end
$m$;
