-- An index that begins with the club and also holds the id looks as good for "these ids of the club" as the primary key to
-- a planner without statistics, and then all rows of the club are read. An athlete is in one club, so the runs of one are
-- found without it; sessions of one day are few, so they need no id in the index.
do $m$ begin
  drop index runs_athlete;
  create index runs_athlete on runs (athlete_id, id);
  drop index sessions_held_on;
  create index sessions_held_on on sessions (club_id, held_on);
end $m$;
