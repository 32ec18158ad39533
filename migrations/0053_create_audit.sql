-- Who read, exported, changed, granted, signed in or was refused what in a club: one row a request, chained by hash.
create table audit (
  club_id uuid not null,
  number bigint not null check (number > 0),
  at timestamptz not null,
  act text not null check (act in ('read', 'exported', 'changed', 'granted', 'signed_in', 'refused', 'lost')),
  operation text not null check (length(operation) between 1 and 200),
  status smallint,
  account_id uuid,
  device_id uuid,
  network text not null,
  address text,
  reach text not null check (reach in ('named', 'seen', 'none')),
  athletes uuid[] not null,
  records uuid[] not null,
  times integer not null check (times > 0),
  hash bytea not null,
  primary key (club_id, number),
  foreign key (club_id) references clubs (id) on delete cascade
);
comment on table audit is 'scope:tenant; append-only and without a gap; hash is of the row before and this one without its address, which is dropped after some weeks';
create index audit_at on audit (club_id, at);
create index audit_address on audit (club_id, at) where address is not null;

create table audit_start (
  club_id uuid not null,
  number bigint not null,
  hash bytea not null,
  primary key (club_id),
  foreign key (club_id) references clubs (id) on delete cascade
);
comment on table audit_start is 'scope:tenant; the last row of the audit that was kept long enough and dropped: the first one that is kept follows it';

select ops.protect('audit', 'audit_start');
-- Rows are added and never touched again by whoever acts in a club; the owner of the tables drops what is old.
revoke update, delete on audit from club_app;
revoke insert, update, delete on audit_start from club_app;
select ops.distribute();
