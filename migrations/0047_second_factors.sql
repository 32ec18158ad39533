-- A second factor of sign-in, sealed with a key that is not in the database, and whether a club asks its admins for one.
create table second_factors (
  account_id uuid not null,
  sealed bytea not null,
  created_at timestamptz not null,
  confirmed_at timestamptz,
  last_step bigint not null default 0,
  primary key (account_id),
  foreign key (account_id) references accounts (account_id) on delete cascade
);
comment on table second_factors is 'scope:account; secret of time-based codes (RFC 6238), sealed; last_step is the last one used, so that no code is taken twice';

create table recovery_codes (
  account_id uuid not null,
  code_hash bytea not null,
  primary key (account_id, code_hash),
  foreign key (account_id) references accounts (account_id) on delete cascade
);
comment on table recovery_codes is 'scope:account; SHA-256 of each code that was not used yet, of 80 random bits';

create table club_security (
  club_id uuid not null,
  admins_second_factor boolean not null,
  updated_at timestamptz not null,
  primary key (club_id),
  foreign key (club_id) references clubs (id) on delete cascade
);
comment on table club_security is 'scope:tenant; what a club asks of sign-ins; absent means nothing';

select ops.protect('club_security');
select ops.distribute();
