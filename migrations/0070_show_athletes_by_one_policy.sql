-- Who is withheld from an audience is hidden by the policy that keeps clubs apart, not by a second one that restricts it: of two, the
-- extension that spreads tables over servers makes alternatives.
do $m$
begin
  drop policy shown on athletes;
  alter policy one_club on athletes
    using (
      club_id = nullif(current_setting('app.club_id', true), '')::uuid
      and not coalesce(current_setting('app.audience', true), '') = any (withheld)
    );
end
$m$;
