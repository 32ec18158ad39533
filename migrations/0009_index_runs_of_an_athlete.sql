-- A full copy reads the runs of an athlete by id; with the id in the index a page reads no more of them than it sends.
drop index runs_athlete;
create index runs_athlete on runs (club_id, athlete_id, id);
