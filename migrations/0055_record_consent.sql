-- Who agreed to what for an athlete, and who took it back: one row each time, never changed.
create table consents (
  club_id uuid not null,
  id uuid not null,
  athlete_id uuid not null,
  purpose text not null check (purpose in ('training_records', 'sharing_with_helpers', 'sharing_with_apps')),
  given boolean not null,
  on_day date not null,
  by_whom text check (by_whom in ('athlete', 'guardian')),
  recorded_by uuid,
  created_at timestamptz not null,
  primary key (club_id, id),
  foreign key (club_id, athlete_id) references athletes (club_id, id)
);
comment on table consents is 'scope:tenant; append-only, goes with the athlete; what was recorded last for a purpose stands; by_whom and recorded_by are null where that was not kept';
create index consents_athlete on consents (club_id, athlete_id, purpose, created_at);

select ops.protect('consents');
revoke update on consents from club_app;
select ops.distribute();
