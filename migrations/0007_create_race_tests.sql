-- Race tests: who runs when and where, from which start, and what came of it.
create table race_tests (
  club_id uuid not null,
  id uuid not null,
  rev bigint not null default 0,
  session_id uuid not null,
  name text not null,
  state text not null check (state in ('planned', 'held')),
  ruleset text,
  event_code text,
  environment text check (environment in ('indoor', 'outdoor')),
  sex text check (sex in ('F', 'M', 'X')),
  age_group text,
  race_distance_mm integer not null,
  barriers smallint not null,
  height_mm integer not null,
  approach_mm integer not null,
  spacing_mm integer not null,
  discounted boolean not null,
  timing_method text not null check (timing_method in ('hand', 'tap', 'video', 'gate')),
  draw jsonb,
  created_by uuid not null,
  created_at timestamptz not null,
  updated_at timestamptz not null,
  deleted_at timestamptz,
  primary key (club_id, id),
  foreign key (club_id, session_id) references sessions (club_id, id),
  constraint race_tests_fit check (approach_mm + (barriers - 1) * spacing_mm < race_distance_mm)
);
comment on table race_tests is 'scope:tenant; a race over one specification in one session; draw is what was asked of the heats';
create index race_tests_session on race_tests (club_id, session_id);

create table race_entries (
  club_id uuid not null,
  race_test_id uuid not null,
  athlete_id uuid not null,
  expected_ms integer,
  expected_sd_ms integer,
  expected_basis text check (expected_basis in ('recent_tests', 'rhythm', 'speed', 'unknown')),
  heat smallint,
  lane smallint,
  offset_ms integer,
  created_at timestamptz not null,
  primary key (club_id, race_test_id, athlete_id),
  foreign key (club_id, race_test_id) references race_tests (club_id, id),
  foreign key (club_id, athlete_id) references athletes (club_id, id),
  constraint race_entries_placed check ((heat is null) = (lane is null)),
  constraint race_entries_expected check ((expected_ms is null) = (expected_sd_ms is null))
);
comment on table race_entries is 'scope:tenant; part of its race test; heat and lane are null before the draw';
create index race_entries_athlete on race_entries (club_id, athlete_id);

create table race_results (
  club_id uuid not null,
  id uuid not null,
  rev bigint not null default 0,
  race_test_id uuid not null,
  athlete_id uuid not null,
  heat smallint,
  lane smallint,
  status text not null check (status in ('finished', 'did_not_start', 'did_not_finish', 'disqualified')),
  final_time_ms integer,
  touchdown_times_ms integer[],
  timing_method text check (timing_method in ('hand', 'tap', 'video', 'gate')),
  video_fps smallint,
  hits smallint not null,
  fell boolean not null,
  note text,
  supersedes uuid,
  void boolean not null default false,
  recorded_by uuid not null,
  created_at timestamptz not null,
  primary key (club_id, id),
  foreign key (club_id, race_test_id) references race_tests (club_id, id),
  foreign key (club_id, athlete_id) references athletes (club_id, id),
  foreign key (club_id, supersedes) references race_results (club_id, id),
  constraint race_results_time check (final_time_ms is null or status in ('finished', 'disqualified')),
  constraint race_results_timed
    check (timing_method is not null or (final_time_ms is null and touchdown_times_ms is null))
);
comment on table race_results is 'scope:tenant; append-only; times from the athlete''s own start; a correction supersedes, a withdrawal is void';
create index race_results_test on race_results (club_id, race_test_id);
create index race_results_athlete on race_results (club_id, athlete_id);
create unique index race_results_supersedes on race_results (club_id, supersedes) where supersedes is not null;

select ops.protect('race_tests', 'race_entries', 'race_results');
select ops.distribute();
