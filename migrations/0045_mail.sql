-- Mail waits here until it is sent. What a link in a mail allows is kept as a hash, of an account that knows whether its address was proven.
create table mail_outbox (
  id uuid not null,
  kind text not null,
  address text not null check (length(address) between 3 and 254),
  language text,
  about jsonb not null,
  created_at timestamptz not null,
  due_at timestamptz not null,
  tries integer not null default 0,
  failed_at timestamptz,
  reason text,
  primary key (id)
);
comment on table mail_outbox is 'scope:local; mail that waits, without any secret, and for some weeks what could not be sent (failed_at) with the reason';
create index mail_outbox_due on mail_outbox (due_at) where failed_at is null;
create index mail_outbox_failed on mail_outbox (failed_at) where failed_at is not null;
create index mail_outbox_address on mail_outbox (address);
-- A club's transaction leaves its invitation here; it reads nothing.
grant insert on mail_outbox to club_app;

create table mail_links (
  account_id uuid not null,
  token_hash bytea not null,
  purpose text not null check (purpose in ('confirm', 'reset', 'move_to', 'move_from')),
  address text not null,
  created_at timestamptz not null,
  expires_at timestamptz not null,
  primary key (account_id, token_hash),
  foreign key (account_id) references accounts (account_id) on delete cascade
);
comment on table mail_links is 'scope:account; SHA-256 of each secret that went to an address by mail; gone once used';
create index mail_links_expires on mail_links (expires_at);

create table email_changes (
  account_id uuid not null,
  address text not null check (length(address) between 3 and 254),
  new_proven boolean not null,
  old_proven boolean not null,
  asked_at timestamptz not null,
  expires_at timestamptz not null,
  primary key (account_id),
  foreign key (account_id) references accounts (account_id) on delete cascade
);
comment on table email_changes is 'scope:account; the address that an account is to have once both mails were answered';

select ops.distribute();
