-- Advice given and decided, lane plans, and a club's own competition rules.
create table recommendations (
  club_id uuid not null,
  id uuid not null,
  rev bigint not null default 0,
  athlete_id uuid not null,
  on_date date not null,
  advice jsonb not null,
  outcome text not null check (outcome in ('accepted', 'overridden')),
  barrier_kind text check (barrier_kind in ('wicket', 'foam', 'low_barrier', 'hurdle')),
  height_mm integer,
  spacing_mm integer,
  reason text,
  clears_return boolean not null default false,
  decided_by uuid not null,
  decided_at timestamptz not null,
  primary key (club_id, id),
  foreign key (club_id, athlete_id) references athletes (club_id, id),
  constraint recommendations_reason check (outcome = 'accepted' or reason is not null)
);
comment on table recommendations is 'scope:tenant; append-only; the advice as it was given and what the coach decided';
create index recommendations_athlete on recommendations (club_id, athlete_id, on_date);

create table lane_plans (
  club_id uuid not null,
  id uuid not null,
  rev bigint not null default 0,
  session_id uuid not null,
  request jsonb not null,
  plan jsonb not null,
  created_by uuid not null,
  created_at timestamptz not null,
  updated_at timestamptz not null,
  deleted_at timestamptz,
  primary key (club_id, id),
  foreign key (club_id, session_id) references sessions (club_id, id)
);
comment on table lane_plans is 'scope:tenant; what was asked and the plan that was found';
create index lane_plans_session on lane_plans (club_id, session_id);

create table age_groups (
  club_id uuid not null,
  id uuid not null,
  rev bigint not null default 0,
  ruleset text not null,
  age_group text not null,
  min_age smallint,
  max_age smallint,
  rule text not null,
  valid_from date not null,
  valid_to date,
  source text not null,
  created_at timestamptz not null,
  updated_at timestamptz not null,
  deleted_at timestamptz,
  primary key (club_id, id),
  foreign key (club_id) references clubs (id) on delete cascade,
  constraint age_groups_ages check (min_age is null or max_age is null or min_age <= max_age),
  constraint age_groups_dates check (valid_to is null or valid_from <= valid_to)
);
comment on table age_groups is 'scope:tenant; a club''s own additions to, and overrides of, the published age groups';

create table competition_specs (
  club_id uuid not null,
  id uuid not null,
  rev bigint not null default 0,
  ruleset text not null,
  event_code text not null,
  environment text not null check (environment in ('indoor', 'outdoor')),
  sex text not null check (sex in ('F', 'M', 'X')),
  age_group text not null,
  race_distance_mm integer not null,
  barriers smallint not null,
  height_mm integer not null,
  to_first_mm integer not null,
  between_mm integer not null,
  run_in_mm integer not null,
  valid_from date not null,
  valid_to date,
  source text not null,
  created_at timestamptz not null,
  updated_at timestamptz not null,
  deleted_at timestamptz,
  primary key (club_id, id),
  foreign key (club_id) references clubs (id) on delete cascade,
  constraint competition_specs_sum check (to_first_mm + (barriers - 1) * between_mm + run_in_mm = race_distance_mm),
  constraint competition_specs_dates check (valid_to is null or valid_from <= valid_to)
);
comment on table competition_specs is 'scope:tenant; a club''s own additions to, and overrides of, the published specifications';

select ops.protect('recommendations', 'lane_plans', 'age_groups', 'competition_specs');
select ops.distribute();
