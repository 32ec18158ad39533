-- The club, its change counter and log, and who may act in it.
create table clubs (
  id uuid not null,
  rev bigint not null default 0,
  name text not null check (length(name) between 1 and 100),
  time_zone text not null,
  ruleset text not null check (length(ruleset) between 1 and 40),
  spacing_step_mm integer not null default 250 check (spacing_step_mm between 10 and 1000),
  policy jsonb not null default '{}',
  created_at timestamptz not null,
  updated_at timestamptz not null,
  primary key (id)
);
comment on table clubs is 'scope:tenant key=id';

create table club_clock (
  club_id uuid not null,
  epoch integer not null default 1,
  seq bigint not null default 0,
  oldest_seq bigint not null default 1,
  primary key (club_id),
  foreign key (club_id) references clubs (id) on delete cascade
) with (fillfactor = 20);
comment on table club_clock is 'scope:tenant; the change counter; its row lock is taken last and orders the commits of a club';

create table club_epoch (
  club_id uuid not null,
  epoch integer not null,
  fork_seq bigint not null,
  primary key (club_id, epoch),
  foreign key (club_id) references clubs (id) on delete cascade
);
comment on table club_epoch is 'scope:tenant; where each epoch began';

create table club_change (
  club_id uuid not null,
  seq bigint not null,
  kind text not null,
  op text not null check (op in ('put', 'remove', 'grant', 'revoke')),
  entity_id uuid not null,
  root_id uuid not null,
  before_scopes uuid[],
  after_scopes uuid[],
  at timestamptz not null,
  primary key (club_id, seq),
  foreign key (club_id) references clubs (id) on delete cascade
);
comment on table club_change is 'scope:tenant; append-only log of what changed; scopes only where those of a root changed';
create index club_change_scopes on club_change (club_id, seq) where before_scopes is not null;

create table members (
  club_id uuid not null,
  id uuid not null,
  rev bigint not null default 0,
  role text not null check (role in ('admin', 'coach', 'viewer')),
  display_name text not null,
  email text not null,
  created_at timestamptz not null,
  updated_at timestamptz not null,
  deleted_at timestamptz,
  primary key (club_id, id),
  foreign key (club_id) references clubs (id) on delete cascade
);
comment on table members is 'scope:tenant; id is the account id';

create table scope_grant (
  club_id uuid not null,
  id uuid not null,
  member_id uuid not null,
  scope_id uuid not null,
  from_seq bigint,
  to_seq bigint,
  revoked boolean not null default false,
  primary key (club_id, id),
  foreign key (club_id, member_id) references members (club_id, id) on delete cascade
);
comment on table scope_grant is 'scope:tenant; what a member may see, as an interval of change numbers; scope = a group, the club id (club-wide records) or the nil id (every athlete and session)';
create unique index scope_grant_active on scope_grant (club_id, member_id, scope_id) where not revoked;

create table root_scope (
  club_id uuid not null,
  root_id uuid not null,
  scope_id uuid not null,
  primary key (club_id, root_id, scope_id),
  foreign key (club_id) references clubs (id) on delete cascade
);
comment on table root_scope is 'scope:tenant; the groups of an athlete or a session';
create index root_scope_by_scope on root_scope (club_id, scope_id, root_id);

create table invitations (
  club_id uuid not null,
  id uuid not null,
  email text not null,
  role text not null check (role in ('admin', 'coach', 'viewer')),
  group_ids uuid[] not null,
  token_hash bytea not null,
  expires_at timestamptz not null,
  created_at timestamptz not null,
  accepted_at timestamptz,
  primary key (club_id, id),
  foreign key (club_id) references clubs (id) on delete cascade
);
comment on table invitations is 'scope:tenant; a place in the club for one e-mail address';

select ops.protect('club_clock', 'club_epoch', 'club_change', 'members', 'scope_grant', 'root_scope', 'invitations');
alter table clubs enable row level security;
alter table clubs force row level security;
create policy one_club on clubs
  using (id = nullif(current_setting('app.club_id', true), '')::uuid)
  with check (id = nullif(current_setting('app.club_id', true), '')::uuid);
grant select, insert, update on clubs to club_app;
select ops.distribute();
