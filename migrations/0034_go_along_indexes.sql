-- Lists go along an index whatever their filters: runs from session to session and in each to an athlete's, held facts that were
-- decided on by their ids.
do $m$
begin
  drop index runs_session;
  create index runs_session on runs (club_id, session_id, athlete_id, id);
  create index held_item_decided on held_item (club_id, id, kind) where outcome is not null;
end
$m$;
