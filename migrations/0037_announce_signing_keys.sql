-- scope:local. A new key is published before it signs, so that whoever keeps the key set has it when it does.
alter table signing_keys add column signs_from timestamptz;
update signing_keys set signs_from = created_at;
