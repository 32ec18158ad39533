-- Entries of race tests become records of their own in the change feed: they are seen with their athlete, not with the race.
alter table race_entries
  add column id uuid not null default gen_random_uuid(),
  add column rev bigint not null default 0;
create unique index race_entries_id on race_entries (club_id, id);
