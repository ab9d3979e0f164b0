-- Second factor, sessions that can be listed and ended, and brakes on guessing.

do $$ begin null; end $$;
