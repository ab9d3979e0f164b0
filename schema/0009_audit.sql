-- Who did what: entries that only grow, chained by hashes.

do $$ begin null; end $$;
