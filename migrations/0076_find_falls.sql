-- Whoever reads a plan asks for every fall of its people, however long ago: a few of all that they ran.
create index runs_fell on runs (club_id, athlete_id) where fell and not void;
