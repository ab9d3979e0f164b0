-- Tokens with scopes and rotation, and links for a single reader.

do $$ begin null; end $$;
