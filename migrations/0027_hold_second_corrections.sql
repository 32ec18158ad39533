-- A second correction of one fact waits for a decision, and whoever recorded a held fact may take it back.
do $m$
begin
  alter table held_item drop constraint held_item_reason_check;
  alter table held_item add constraint held_item_reason_check
    check (reason in ('role', 'scope', 'left', 'reference', 'clock', 'corrected'));
  alter table held_item drop constraint held_item_outcome_check;
  alter table held_item add constraint held_item_outcome_check check (outcome in ('accepted', 'rejected', 'withdrawn'));
  -- Who recorded the correction that stands, of a second one.
  alter table held_item add column rival uuid;
  create index held_item_member on held_item (club_id, member_id, id, kind);
  create index held_item_rival on held_item (club_id, rival, id, kind) where rival is not null;
end
$m$;
