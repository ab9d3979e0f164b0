-- How far a caller reaches: open work, patients referred, emergency access.

do $$ begin null; end $$;
