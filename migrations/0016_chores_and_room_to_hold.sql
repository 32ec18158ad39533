-- The service's own chores run on one instance at a time, and what a phone or a member has held is counted fast.
create table chores (
  name text not null,
  holder uuid not null,
  held_until timestamptz not null,
  done_at timestamptz,
  primary key (name)
);
comment on table chores is 'scope:local; which instance is at a chore of the service, and when it was last done';

do $m$
begin
  create index held_item_room on held_item (club_id, member_id, device_id) where outcome is null;
end
$m$;
