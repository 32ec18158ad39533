-- Reports of pain, illness or injury, restrictions and clearances become records of their own; no medical text is kept.
create table wellbeing_records (
  club_id uuid not null,
  id uuid not null,
  rev bigint not null default 0,
  athlete_id uuid not null,
  kind text not null check (kind in ('pain', 'illness', 'injury', 'restriction', 'clearance')),
  reported_on date not null,
  reported_by text check (reported_by in ('athlete', 'guardian', 'coach', 'medical')),
  until date,
  clears uuid,
  supersedes uuid,
  void boolean not null default false,
  recorded_by uuid,
  created_at timestamptz not null,
  skew_ms bigint,
  primary key (club_id, id),
  foreign key (club_id, athlete_id) references athletes (club_id, id),
  foreign key (club_id, clears) references wellbeing_records (club_id, id),
  foreign key (club_id, supersedes) references wellbeing_records (club_id, id),
  constraint wellbeing_records_until check (until is null or (kind = 'restriction' and until >= reported_on)),
  constraint wellbeing_records_clears check (clears is null or kind = 'clearance')
);
comment on table wellbeing_records is 'scope:tenant; append-only; a correction supersedes, a withdrawal is void; recorded_by is null in what was carried over from athletes';
create index wellbeing_records_athlete on wellbeing_records (club_id, athlete_id, reported_on);
create index wellbeing_records_clears on wellbeing_records (club_id, clears) where clears is not null;
create unique index wellbeing_records_supersedes on wellbeing_records (club_id, supersedes) where supersedes is not null;

select ops.protect('wellbeing_records');
select ops.distribute();
