-- A session that does not take place, or no longer counts, is cancelled and keeps its records; only an empty one is deleted.
do $m$
begin
  alter table sessions drop constraint sessions_state_check;
  alter table sessions add constraint sessions_state_check check (state in ('planned', 'held', 'cancelled'));
  create index assessments_session on assessments (club_id, session_id) where session_id is not null;
end
$m$;
