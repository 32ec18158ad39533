-- An entry says how ready the athlete is, and whether a coach enters them all the same; expected times may rest on runs alone.
alter table race_entries
  -- Who was entered before anybody was asked stays entered.
  add column coach_accepts boolean not null default true,
  add column readiness jsonb,
  drop constraint race_entries_expected_basis_check,
  add constraint race_entries_expected_basis_check
    check (expected_basis in ('recent_tests', 'rhythm', 'speed', 'limit', 'unknown'));
alter table race_entries alter column coach_accepts set default false;
