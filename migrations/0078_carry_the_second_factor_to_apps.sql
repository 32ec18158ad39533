-- Whether a code of the second factor was shown on the page on which somebody lets an app act: the sign-in that it gets was made with it.
do $m$
begin
  alter table authorizations add column second_factor boolean not null default false;
end
$m$;
