-- What phones that work offline need: receipts of their edits, a holding area, refused values, and how far each one is.
create table op_receipt (
  club_id uuid not null,
  op_id uuid not null,
  digest bytea not null,
  entity_id uuid not null,
  status smallint not null,
  rev bigint not null,
  at timestamptz not null,
  primary key (club_id, op_id),
  foreign key (club_id) references clubs (id) on delete cascade
);
comment on table op_receipt is 'scope:tenant; edits that were carried out, so that a repeat is answered and not carried out again';
create index op_receipt_at on op_receipt (club_id, at);

create table held_item (
  club_id uuid not null,
  id uuid not null,
  kind text not null,
  op_id uuid not null,
  member_id uuid not null,
  device_id uuid not null,
  athlete_id uuid,
  data jsonb not null,
  reason text not null check (reason in ('role', 'scope', 'left', 'reference', 'clock')),
  detail jsonb not null,
  skew_ms bigint,
  received_at timestamptz not null,
  outcome text check (outcome in ('accepted', 'rejected')),
  decided_by uuid,
  decided_at timestamptz,
  note text,
  primary key (club_id, id),
  foreign key (club_id) references clubs (id) on delete cascade,
  constraint held_item_decided check ((outcome is null) = (decided_at is null))
);
comment on table held_item is 'scope:tenant; recorded facts that could not be filed by themselves; an admin decides; id is that of the fact';
create index held_item_open on held_item (club_id, id) where outcome is null;
create index held_item_athlete on held_item (club_id, athlete_id);

create table refused_edit (
  club_id uuid not null,
  op_id uuid not null,
  kind text not null,
  entity_id uuid not null,
  member_id uuid not null,
  reason text not null check (reason in ('conflict', 'deleted')),
  base_rev bigint,
  data jsonb not null,
  received_at timestamptz not null,
  primary key (club_id, op_id),
  foreign key (club_id) references clubs (id) on delete cascade
);
comment on table refused_edit is 'scope:tenant; values that lost against another edit, kept so that they outlive the phone';
create index refused_edit_entity on refused_edit (club_id, entity_id);

create table sync_device (
  club_id uuid not null,
  id uuid not null,
  member_id uuid not null,
  name text not null,
  epoch integer not null default 1,
  seq bigint not null default 0,
  generation integer not null default 0,
  skew_ms bigint,
  pulled_at timestamptz,
  pushed_at timestamptz,
  primary key (club_id, id),
  foreign key (club_id) references clubs (id) on delete cascade
);
comment on table sync_device is 'scope:tenant; how far each phone has read; a token of an earlier generation is refused';

create table server_history (
  generation integer not null,
  timeline bigint not null,
  system_id bigint not null,
  noted_at timestamptz not null,
  primary key (generation)
);
comment on table server_history is 'scope:local; one row for each life of the database: a restored or promoted copy begins a new one';

-- Each group of an athlete's fields knows its last change; -1 until the commit that gives the number.
do $m$
begin
  alter table athletes add column name_rev bigint not null default 0;
  alter table athletes add column birth_rev bigint not null default 0;
  alter table athletes add column contact_rev bigint not null default 0;
  alter table athletes add column technique_rev bigint not null default 0;
  alter table athletes add column status_rev bigint not null default 0;
  alter table athletes add column groups_rev bigint not null default 0;
  -- How far the clock of the recording phone was ahead of ours when the fact arrived (ms).
  alter table runs add column skew_ms bigint;
  alter table assessments add column skew_ms bigint;
end
$m$;

select ops.protect('op_receipt', 'held_item', 'refused_edit', 'sync_device');
select ops.distribute();
