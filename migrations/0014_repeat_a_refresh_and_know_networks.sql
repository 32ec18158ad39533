-- A refresh whose answer was lost is answered once more, a device is known again by its network, and old rows are found.
do $m$
begin
  -- The token that was given up for this one; the copies of one answer share it.
  alter table refresh_tokens add column parent_hash bytea;
  alter table refresh_tokens add column repeated_at timestamptz;
  create index refresh_tokens_expires on refresh_tokens (expires_at);
  -- Hash of account and network of the last sign-in or refresh.
  alter table devices add column network_hash bytea;
end
$m$;
