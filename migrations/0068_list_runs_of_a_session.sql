-- Whoever sees everybody lists the runs of a session by id, a page at a time, and reads no more of them than the page. What looks
-- for the runs of one athlete in a session names no bound of the id alone, and so is not led here but to its own index.
create index runs_session_id on runs (club_id, session_id, id) where id is not null;
