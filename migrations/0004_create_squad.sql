-- Groups, athletes with dated measurements, venues and the equipment of a club.
create table groups (
  club_id uuid not null,
  id uuid not null,
  rev bigint not null default 0,
  name text not null,
  season text,
  created_at timestamptz not null,
  updated_at timestamptz not null,
  deleted_at timestamptz,
  primary key (club_id, id),
  foreign key (club_id) references clubs (id) on delete cascade
);
comment on table groups is 'scope:tenant';
create unique index groups_name on groups (club_id, lower(name)) where deleted_at is null;

create table athletes (
  club_id uuid not null,
  id uuid not null,
  rev bigint not null default 0,
  display_name text not null,
  sex text check (sex in ('F', 'M')),
  birth_date date,
  birth_year smallint,
  preferred_lead_leg text check (preferred_lead_leg in ('left', 'right')),
  experience text not null check (experience in ('novice', 'trained')),
  status text not null check (status in ('active', 'resting', 'left')),
  restricted_until date,
  consent_on date,
  created_at timestamptz not null,
  updated_at timestamptz not null,
  deleted_at timestamptz,
  primary key (club_id, id),
  foreign key (club_id) references clubs (id) on delete cascade
);
comment on table athletes is 'scope:tenant; a deleted athlete stays as an empty stub so that phones learn of it';

create table measurements (
  club_id uuid not null,
  id uuid not null,
  rev bigint not null default 0,
  athlete_id uuid not null,
  kind text not null check (kind in ('stature_m', 'leg_length_m', 'sprint_30m_s', 'sprint_50m_s')),
  value_milli integer not null check (value_milli > 0),
  measured_on date not null,
  created_at timestamptz not null,
  deleted_at timestamptz,
  primary key (club_id, id),
  foreign key (club_id, athlete_id) references athletes (club_id, id)
);
comment on table measurements is 'scope:tenant; append-only; value in mm or ms';
create index measurements_athlete on measurements (club_id, athlete_id, kind, measured_on);

create table venues (
  club_id uuid not null,
  id uuid not null,
  rev bigint not null default 0,
  name text not null,
  environment text not null check (environment in ('indoor', 'outdoor')),
  straight_mm integer not null,
  lanes smallint not null,
  surface text,
  created_at timestamptz not null,
  updated_at timestamptz not null,
  deleted_at timestamptz,
  primary key (club_id, id),
  foreign key (club_id) references clubs (id) on delete cascade
);
comment on table venues is 'scope:tenant';
create unique index venues_name on venues (club_id, lower(name)) where deleted_at is null;

create table equipment (
  club_id uuid not null,
  id uuid not null,
  rev bigint not null default 0,
  barrier_kind text not null check (barrier_kind in ('wicket', 'foam', 'low_barrier', 'hurdle')),
  heights_mm integer[] not null,
  count smallint not null,
  note text,
  created_at timestamptz not null,
  updated_at timestamptz not null,
  deleted_at timestamptz,
  primary key (club_id, id),
  foreign key (club_id) references clubs (id) on delete cascade
);
comment on table equipment is 'scope:tenant; a stock of barriers of one kind, each settable to every listed height';

create table barrier_configurations (
  club_id uuid not null,
  id uuid not null,
  rev bigint not null default 0,
  name text not null,
  barrier_kind text not null check (barrier_kind in ('wicket', 'foam', 'low_barrier', 'hurdle')),
  height_mm integer not null,
  spacing_mm integer not null,
  approach_mm integer not null,
  barriers smallint not null,
  created_at timestamptz not null,
  updated_at timestamptz not null,
  deleted_at timestamptz,
  primary key (club_id, id),
  foreign key (club_id) references clubs (id) on delete cascade
);
comment on table barrier_configurations is 'scope:tenant; a reusable lane recipe';
create unique index barrier_configurations_name on barrier_configurations (club_id, lower(name)) where deleted_at is null;

select ops.protect('groups', 'athletes', 'measurements', 'venues', 'equipment', 'barrier_configurations');
select ops.distribute();
