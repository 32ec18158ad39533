-- What was recorded about athletes is listed by when it was, of a club, an athlete or a session; held facts of whoever recorded
-- them by id, those decided on apart from the others: each list along one index, whatever its filters.
do $m$
begin
  drop index assessments_athlete;
  create index assessments_athlete on assessments (club_id, athlete_id, assessed_at, id);
  drop index assessments_session;
  create index assessments_session on assessments (club_id, session_id, assessed_at, id) where session_id is not null;
  create index assessments_time on assessments (club_id, assessed_at, id);
  drop index wellbeing_records_athlete;
  create index wellbeing_records_athlete on wellbeing_records (club_id, athlete_id, reported_on, id);
  create index wellbeing_records_day on wellbeing_records (club_id, reported_on, id);
  drop index held_item_member;
  create index held_item_member on held_item (club_id, member_id, id, kind) where outcome is null;
  create index held_item_member_decided on held_item (club_id, member_id, id, kind) where outcome is not null;
  drop index held_item_rival;
  create index held_item_rival on held_item (club_id, rival, id, kind) where rival is not null and outcome is null;
  create index held_item_rival_decided on held_item (club_id, rival, id, kind) where rival is not null and outcome is not null;
end
$m$;
