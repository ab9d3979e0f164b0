-- Accounts that sign in with the hospital's own provider (OpenID Connect).

-- ---- who an account is there ----

alter table penstock.account
    add column sign_in_issuer text
        check (length(sign_in_issuer) between 1 and 2000),
    add column sign_in_subject text
        check (length(sign_in_subject) between 1 and 255),
    add constraint account_single_sign_on
        check ((sign_in_issuer is null) = (sign_in_subject is null));
create unique index account_subject on penstock.account (sign_in_issuer, sign_in_subject);
comment on index penstock.account_subject is 'Over the whole installation: a person signs in before the clinic is known';
comment on column penstock.account.sign_in_issuer is 'Provider whose word is taken for who the person is; null: none';
comment on column penstock.account.sign_in_subject is 'What that provider calls the person; null: no provider';
comment on column penstock.account.password_hash is 'Argon2id string, or empty: no password; penstock_app may write but not read it';

grant select (sign_in_issuer, sign_in_subject), update (sign_in_issuer, sign_in_subject)
    on penstock.account to penstock_app;

-- For the owner alone, as those of schema/0001: the row that the function below has just named. No
-- username and no hash holds a line feed.
create policy lookup_by_subject on penstock.account for select to current_user
    using (sign_in_issuer || E'\n' || sign_in_subject
           = nullif(current_setting('penstock.lookup', true), ''));

create function penstock.account_for_subject(wanted_issuer text, wanted_subject text)
    returns table (account_id uuid, clinic_id uuid, clinic_name text, name text,
                   display_name text, roles integer, session_epoch integer)
    language plpgsql volatile security definer set search_path = pg_catalog, pg_temp
as $$
#variable_conflict use_column
declare
    outer_clinic constant text := coalesce(current_setting('penstock.clinic', true), '');
    found_clinic uuid;
begin
    perform set_config('penstock.lookup', wanted_issuer || E'\n' || wanted_subject, true);
    select a.clinic_id into found_clinic from penstock.account a
     where a.sign_in_issuer = wanted_issuer and a.sign_in_subject = wanted_subject and a.active;
    perform set_config('penstock.lookup', '', true);
    perform set_config('penstock.clinic', coalesce(found_clinic::text, ''), true);
    return query
        select a.id, a.clinic_id, c.name, a.username, a.display_name, a.roles, a.session_epoch
          from penstock.account a join penstock.clinic c on c.clinic_id = a.clinic_id
         where a.clinic_id = found_clinic and a.sign_in_issuer = wanted_issuer
           and a.sign_in_subject = wanted_subject and a.active;
    perform set_config('penstock.clinic', outer_clinic, true);
end $$;
comment on function penstock.account_for_subject(text, text) is 'The active account that a provider''s word is taken for';

-- ---- a sign-in that is on its way ----

-- No clinic is known yet, so that the rows belong to none. Nobody but the two functions below may
-- touch them.
create table penstock.sign_in_attempt (
    state_hash bytea primary key check (length(state_hash) = 32),
    browser_hash bytea not null check (length(browser_hash) = 32),
    nonce text not null check (length(nonce) between 1 and 100),
    code_verifier text not null check (length(code_verifier) between 43 and 128),
    next text not null check (length(next) <= 2000),
    expires_at timestamptz not null
);
create index sign_in_attempt_over on penstock.sign_in_attempt (expires_at);
comment on table penstock.sign_in_attempt is 'A browser that was sent to the provider and has not come back; deleted when it does, or later';
comment on column penstock.sign_in_attempt.state_hash is 'SHA-256 of the state that goes to the provider and back';
comment on column penstock.sign_in_attempt.browser_hash is 'SHA-256 of the cookie of the browser that began';
comment on column penstock.sign_in_attempt.nonce is 'What the ID token has to name';
comment on column penstock.sign_in_attempt.code_verifier is 'Proves at the exchange of the code that it was we who began (RFC 7636)';
comment on column penstock.sign_in_attempt.next is 'Path of the page to go on to';
comment on column penstock.sign_in_attempt.expires_at is 'When it is too late to come back';

alter table penstock.sign_in_attempt enable row level security;
alter table penstock.sign_in_attempt force row level security;
create policy functions_only on penstock.sign_in_attempt to current_user
    using (true) with check (true);

-- Repeating it changes nothing. How many one network may begin is limited before (attempts_claim());
-- there is no limit for all together, since whoever reaches it would shut out everybody. What is over
-- goes faster than new ones come.
create function penstock.sign_in_attempt_begin(new_state_hash bytea, new_browser_hash bytea,
                                               new_nonce text, new_code_verifier text,
                                               new_next text, life_s integer)
    returns void
    language plpgsql volatile security definer set search_path = pg_catalog, pg_temp
as $$
begin
    delete from penstock.sign_in_attempt where state_hash in (
        select a.state_hash from penstock.sign_in_attempt a where a.expires_at <= now()
         order by a.expires_at limit 20 for update skip locked);
    insert into penstock.sign_in_attempt
        (state_hash, browser_hash, nonce, code_verifier, next, expires_at)
    values (new_state_hash, new_browser_hash, new_nonce, new_code_verifier, new_next,
            now() + life_s * interval '1 second')
    on conflict do nothing;
end $$;
comment on function penstock.sign_in_attempt_begin(bytea, bytea, text, text, text, integer) is 'Keeps a sign-in that is on its way, and forgets those that are over';

create function penstock.sign_in_attempt_take(wanted_state_hash bytea, wanted_browser_hash bytea)
    returns table (nonce text, code_verifier text, next text)
    language sql volatile security definer set search_path = pg_catalog, pg_temp
as $$
    delete from penstock.sign_in_attempt a
     where a.state_hash = wanted_state_hash and a.browser_hash = wanted_browser_hash
       and a.expires_at > now()
    returning a.nonce, a.code_verifier, a.next;
$$;
comment on function penstock.sign_in_attempt_take(bytea, bytea) is 'What was kept of a sign-in that came back to the browser that began; once only';

revoke all on function penstock.account_for_subject(text, text),
    penstock.sign_in_attempt_begin(bytea, bytea, text, text, text, integer),
    penstock.sign_in_attempt_take(bytea, bytea) from public;
grant execute on function penstock.account_for_subject(text, text),
    penstock.sign_in_attempt_begin(bytea, bytea, text, text, text, integer),
    penstock.sign_in_attempt_take(bytea, bytea) to penstock_app;
