-- The log says when the day of a session changed: what was recorded in it comes into or goes out of what a phone keeps by day.
do $m$
begin
  alter table club_change drop constraint club_change_op_check;
  alter table club_change
    add constraint club_change_op_check check (op in ('put', 'remove', 'grant', 'revoke', 'redate'));
end
$m$;
