-- What was planned, who came, what was run and how it looked.
create table sessions (
  club_id uuid not null,
  id uuid not null,
  rev bigint not null default 0,
  held_on date not null,
  state text not null check (state in ('planned', 'held')),
  venue_id uuid,
  blocks jsonb not null default '[]',
  weather_note text,
  created_at timestamptz not null,
  updated_at timestamptz not null,
  deleted_at timestamptz,
  primary key (club_id, id),
  foreign key (club_id) references clubs (id) on delete cascade,
  foreign key (club_id, venue_id) references venues (club_id, id)
);
comment on table sessions is 'scope:tenant';
create index sessions_held_on on sessions (club_id, held_on, id);

create table attendance (
  club_id uuid not null,
  id uuid not null,
  rev bigint not null default 0,
  session_id uuid not null,
  athlete_id uuid not null,
  created_at timestamptz not null,
  updated_at timestamptz not null,
  deleted_at timestamptz,
  primary key (club_id, id),
  foreign key (club_id, session_id) references sessions (club_id, id),
  foreign key (club_id, athlete_id) references athletes (club_id, id)
);
comment on table attendance is 'scope:tenant; id is derived from session and athlete, so adding twice is one row';
create unique index attendance_pair on attendance (club_id, session_id, athlete_id);
create index attendance_athlete on attendance (club_id, athlete_id);

create table runs (
  club_id uuid not null,
  id uuid not null,
  rev bigint not null default 0,
  session_id uuid not null,
  athlete_id uuid not null,
  run_at timestamptz not null,
  barrier_kind text not null check (barrier_kind in ('wicket', 'foam', 'low_barrier', 'hurdle')),
  height_mm integer not null,
  spacing_mm integer not null,
  approach_mm integer,
  barriers smallint not null,
  held smallint not null,
  over_reached smallint not null,
  crowded smallint not null,
  broken smallint not null,
  hits smallint not null,
  fell boolean not null,
  lead_leg text check (lead_leg in ('left', 'right')),
  touchdown_times_ms integer[],
  timing_method text check (timing_method in ('hand', 'tap', 'video', 'gate')),
  video_fps smallint,
  note text,
  supersedes uuid,
  void boolean not null default false,
  recorded_by uuid not null,
  created_at timestamptz not null,
  primary key (club_id, id),
  foreign key (club_id, session_id) references sessions (club_id, id),
  foreign key (club_id, athlete_id) references athletes (club_id, id),
  foreign key (club_id, supersedes) references runs (club_id, id),
  constraint runs_intervals_sum check (held + over_reached + crowded + broken = barriers - 1)
);
comment on table runs is 'scope:tenant; append-only; a correction supersedes, a withdrawal is void';
create index runs_athlete on runs (club_id, athlete_id, session_id);
create index runs_session on runs (club_id, session_id);
create unique index runs_supersedes on runs (club_id, supersedes) where supersedes is not null;

create table assessments (
  club_id uuid not null,
  id uuid not null,
  rev bigint not null default 0,
  athlete_id uuid not null,
  session_id uuid,
  assessed_at timestamptz not null,
  lead_leg smallint check (lead_leg between 0 and 3),
  trail_leg smallint check (trail_leg between 0 and 3),
  walkover smallint check (walkover between 0 and 3),
  take_off smallint check (take_off between 0 and 3),
  landing smallint check (landing between 0 and 3),
  posture smallint check (posture between 0 and 3),
  rhythm smallint check (rhythm between 0 and 3),
  arms smallint check (arms between 0 and 3),
  note text,
  supersedes uuid,
  void boolean not null default false,
  recorded_by uuid not null,
  created_at timestamptz not null,
  primary key (club_id, id),
  foreign key (club_id, athlete_id) references athletes (club_id, id),
  foreign key (club_id, session_id) references sessions (club_id, id),
  foreign key (club_id, supersedes) references assessments (club_id, id)
);
comment on table assessments is 'scope:tenant; append-only; 0 not yet, 1 emerging, 2 secure, 3 secure under race conditions, null not seen';
create index assessments_athlete on assessments (club_id, athlete_id, assessed_at);
create unique index assessments_supersedes on assessments (club_id, supersedes) where supersedes is not null;

select ops.protect('sessions', 'attendance', 'runs', 'assessments');
select ops.distribute();
