-- Who may sign in, from which devices, and the keys that sign their tokens.
create table accounts (
  account_id uuid not null,
  email text not null check (length(email) between 3 and 254),
  display_name text not null check (length(display_name) between 1 and 100),
  password_hash text not null,
  created_at timestamptz not null,
  updated_at timestamptz not null,
  primary key (account_id)
);
comment on table accounts is 'scope:account; one person who signs in';

create table login_emails (
  email text not null,
  account_id uuid not null,
  primary key (email)
);
comment on table login_emails is 'scope:lookup key=email; normalised e-mail to account';

create table devices (
  account_id uuid not null,
  id uuid not null,
  name text not null check (length(name) between 1 and 100),
  created_at timestamptz not null,
  last_used_at timestamptz not null,
  revoked_at timestamptz,
  primary key (account_id, id),
  foreign key (account_id) references accounts (account_id) on delete cascade
);
comment on table devices is 'scope:account; one sign-in = one family of refresh tokens';

create table refresh_tokens (
  account_id uuid not null,
  token_hash bytea not null,
  device_id uuid not null,
  issued_at timestamptz not null,
  expires_at timestamptz not null,
  used_at timestamptz,
  primary key (account_id, token_hash),
  foreign key (account_id, device_id) references devices (account_id, id) on delete cascade
);
comment on table refresh_tokens is 'scope:account; SHA-256 of each refresh token; a used one seen again revokes its device';
create index refresh_tokens_device on refresh_tokens (account_id, device_id);

create table account_club (
  account_id uuid not null,
  club_id uuid not null,
  joined_at timestamptz not null,
  primary key (account_id, club_id)
);
comment on table account_club is 'scope:account; the clubs of an account, written together with its membership';
alter table account_club enable row level security;
create policy account_club_of_club on account_club to club_app
  using (club_id = nullif(current_setting('app.club_id', true), '')::uuid)
  with check (club_id = nullif(current_setting('app.club_id', true), '')::uuid);
grant select, insert, delete on account_club to club_app;

create table signing_keys (
  kid text not null,
  private_pkcs8 bytea not null,
  created_at timestamptz not null,
  retired_at timestamptz,
  primary key (kid)
);
comment on table signing_keys is 'scope:local; Ed25519 keys; a retired one still verifies until its last token has expired';

create unlogged table throttles (
  bucket text not null,
  tokens double precision not null,
  refilled_at timestamptz not null,
  primary key (bucket)
);
comment on table throttles is 'scope:lookup key=bucket; token buckets that hold over several instances';

create table idempotency_keys (
  account_id uuid not null,
  route text not null,
  key text not null check (length(key) between 1 and 255),
  body_hash bytea not null,
  status smallint,
  content_type text,
  location text,
  body bytea,
  created_at timestamptz not null,
  primary key (account_id, route, key)
);
comment on table idempotency_keys is 'scope:account; the stored answer of an unsafe call, kept 24 hours; status null = still running';
select ops.distribute();
