-- Addresses that show something of a club to whoever holds them, computed as their maker; only hashes of the secrets are kept.
create table secret_links (
  club_id uuid not null,
  id uuid not null,
  kind text not null check (kind in ('session_sheets')),
  subject_id uuid not null,
  token_hash bytea not null,
  made_by uuid not null,
  device_id uuid not null,
  made_at timestamptz not null,
  expires_at timestamptz not null,
  ended_at timestamptz,
  opened_at timestamptz,
  primary key (club_id, id),
  foreign key (club_id) references clubs (id) on delete cascade
);
comment on table secret_links is 'scope:tenant; what somebody without an account may read, as its maker';
create index secret_links_token on secret_links (club_id, token_hash);
create index secret_links_subject on secret_links (club_id, subject_id, kind);

select ops.protect('secret_links');
select ops.distribute();
