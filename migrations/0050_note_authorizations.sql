-- What a sign-in page of an app leads to: a consent that is asked for, then a code that the app exchanges.
create table authorizations (
  account_id uuid not null,
  token_hash bytea not null,
  step text not null check (step in ('consent', 'code')),
  club_id uuid not null,
  app_id uuid not null,
  redirect_uri text not null check (length(redirect_uri) <= 500),
  challenge text not null check (length(challenge) = 43),
  scopes text[] not null,
  state text check (length(state) <= 2000),
  expires_at timestamptz not null,
  used_at timestamptz,
  device_id uuid,
  primary key (account_id, token_hash),
  foreign key (account_id) references accounts (account_id) on delete cascade
);
comment on table authorizations is 'scope:account; SHA-256 of a secret that is good once, and what it is bound to; a used code names the sign-in it gave, which its replay ends';
create index authorizations_expires on authorizations (expires_at);

select ops.distribute();
