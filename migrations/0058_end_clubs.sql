-- Clubs that are to be deleted on a day, and those whose rows the service is deleting: found without asking every club.
create table club_endings (
  club_id uuid not null,
  asked_by uuid not null,
  asked_at timestamptz not null,
  due_at timestamptz not null,
  begun_at timestamptz,
  primary key (club_id)
);
comment on table club_endings is 'scope:local; goes when nothing of the club is left; begun_at: from then on there is no way back';
create index club_endings_due on club_endings (due_at);
-- A club's transaction sees and touches its own alone, and none that is being carried out.
alter table club_endings enable row level security;
create policy own_ending on club_endings to club_app
  using (club_id = nullif(current_setting('app.club_id', true), '')::uuid and begun_at is null)
  with check (club_id = nullif(current_setting('app.club_id', true), '')::uuid and begun_at is null);
grant select, insert, delete on club_endings to club_app;

select ops.distribute();
