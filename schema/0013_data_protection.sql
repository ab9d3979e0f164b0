-- Erasure with legal hold, and pseudonyms for research.

do $$ begin null; end $$;
