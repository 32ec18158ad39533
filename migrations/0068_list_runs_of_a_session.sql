-- Whoever sees everybody lists the runs of a session by id, a page at a time, and reads no more of them than the page.
create index runs_session_id on runs (club_id, session_id, id);
