-- Accounts that sign in with the hospital's own provider.

do $$ begin null; end $$;
