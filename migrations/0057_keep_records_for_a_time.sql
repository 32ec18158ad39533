-- How long a club keeps what it knows about people: nothing goes by itself until an admin says so.
create table retention (
  club_id uuid not null,
  rev bigint not null,
  enabled boolean not null,
  periods jsonb not null,
  begins_at timestamptz,
  updated_at timestamptz not null,
  primary key (club_id),
  foreign key (club_id) references clubs (id) on delete cascade,
  constraint retention_begins check (enabled = (begins_at is not null))
);
comment on table retention is 'scope:tenant; absent means that nothing goes by itself; periods: days by kind of record, one that is absent is kept as long as the club';

select ops.protect('retention');
select ops.distribute();
