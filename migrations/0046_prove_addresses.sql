-- An account knows its language and whether its address was proven, an invitation the secret that was mailed.
do $m$
begin
  alter table accounts add column language text not null default 'en' check (length(language) between 2 and 10);
  alter table accounts add column email_proven_at timestamptz;
  -- False while members still show an earlier address.
  alter table accounts add column members_know_email boolean not null default true;
  create index accounts_email_unknown on accounts (account_id) where not members_know_email;
  alter table invitations add column mail_hash bytea;
end
$m$;
