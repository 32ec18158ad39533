-- Copies of all that a club holds, or of what it holds about one athlete: made by whichever instance comes first, kept in pieces for a
-- few days so that every instance can hand them out, and gone with anybody who is erased.
create table exports (
  club_id uuid not null,
  id uuid not null,
  athlete_id uuid,
  asked_by uuid not null,
  asked_at timestamptz not null,
  state text not null check (state in ('waiting', 'running', 'ready', 'failed', 'withdrawn')),
  turn uuid,
  done_at timestamptz,
  expires_at timestamptz not null,
  records bigint not null default 0,
  bytes bigint not null default 0,
  sha256 bytea,
  primary key (club_id, id),
  foreign key (club_id) references clubs (id) on delete cascade,
  foreign key (club_id, athlete_id) references athletes (club_id, id),
  constraint exports_ready check (state <> 'ready' or (done_at is not null and sha256 is not null))
);
comment on table exports is 'scope:tenant; athlete_id is null in an export of the whole club; turn is whoever writes it at this moment';

create table export_pieces (
  club_id uuid not null,
  export_id uuid not null,
  place integer not null,
  bytes bytea not null,
  primary key (club_id, export_id, place),
  foreign key (club_id, export_id) references exports (club_id, id) on delete cascade
);
comment on table export_pieces is 'scope:tenant; an archive (ZIP) in order, about a mebibyte each; what is packed is not packed again';
alter table export_pieces alter column bytes set storage external;

create table export_queue (
  id uuid not null,
  club_id uuid not null,
  due_at timestamptz not null,
  tries integer not null default 0,
  -- Clients choose ids, which are one of a kind within a club.
  primary key (club_id, id)
);
comment on table export_queue is 'scope:local; exports that wait for an instance; due_at is when one may take it, or take it over';
create index export_queue_due on export_queue (due_at);
-- A club's transaction leaves its export here; it reads nothing.
grant insert on export_queue to club_app;

select ops.protect('exports', 'export_pieces');
select ops.distribute();
