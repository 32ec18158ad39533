-- Whoever sees some athletes lists what was recorded of them in a session from athlete to athlete, and reads nothing about others.
create index assessments_session_athlete on assessments (club_id, session_id, athlete_id, assessed_at, id) where session_id is not null;
