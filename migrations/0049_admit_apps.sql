-- Apps of third parties that a club admits, and what its members let them do.
create table apps (
  club_id uuid not null,
  id uuid not null,
  rev bigint not null default 1,
  name text not null check (length(name) between 1 and 100),
  redirect_uris text[] not null check (cardinality(redirect_uris) between 1 and 10),
  scopes text[] not null check (cardinality(scopes) >= 1),
  created_by uuid not null,
  created_at timestamptz not null,
  updated_at timestamptz not null,
  revoked_at timestamptz,
  primary key (club_id, id),
  foreign key (club_id) references clubs (id) on delete cascade
);
comment on table apps is 'scope:tenant; an app (OAuth public client) of a third party, and the scopes that the club lets it have; a revoked one stays, so that its phones are told';

create table app_grants (
  club_id uuid not null,
  app_id uuid not null,
  member_id uuid not null,
  scopes text[] not null,
  granted_at timestamptz not null,
  last_used_at timestamptz,
  revoked_at timestamptz,
  primary key (club_id, app_id, member_id),
  foreign key (club_id, app_id) references apps (club_id, id) on delete cascade,
  foreign key (club_id, member_id) references members (club_id, id) on delete cascade
);
comment on table app_grants is 'scope:tenant; what a member let an app do for them; no more than the club lets the app have counts';
create index app_grants_member on app_grants (club_id, member_id);

select ops.protect('apps', 'app_grants');
select ops.distribute();
