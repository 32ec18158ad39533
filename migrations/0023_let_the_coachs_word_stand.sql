-- A coach's word stands to a last day of its own, and says whether it was confirmed a second time against the soft walls.
alter table recommendations
  add column until_date date,
  add column coach_accepts boolean not null default false,
  add constraint recommendations_until check (until_date is null or until_date >= on_date);
