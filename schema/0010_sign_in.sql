-- Passwords that must be changed, second factors, sessions that can be listed and ended, and brakes
-- on guessing.

-- ---- account: what a person owes before going on ----

alter table penstock.account
    add column must_change_password boolean not null default false;
comment on column penstock.account.must_change_password is 'The password was given by somebody else: its owner may do nothing but change it';
grant select (must_change_password), update (must_change_password) on penstock.account to penstock_app;

alter table penstock.account
    add column session_epoch integer not null default 0;
comment on column penstock.account.session_epoch is 'Raised by whatever ends the sessions of the account: a sign-in that was judged before then begins none';
grant select (session_epoch), update (session_epoch) on penstock.account to penstock_app;

-- ---- second factor ----

create table penstock.second_factor (
    clinic_id uuid not null,
    account_id uuid not null,
    sealed_secret bytea not null,
    created_at timestamptz not null default now(),
    confirmed_at timestamptz,
    last_step bigint not null default 0,
    primary key (clinic_id, account_id),
    foreign key (clinic_id, account_id) references penstock.account (clinic_id, id)
);
comment on table penstock.second_factor is 'Secret by which an account''s authenticator makes codes (RFC 6238)';
comment on column penstock.second_factor.clinic_id is 'Clinic of the account';
comment on column penstock.second_factor.account_id is 'Whose it is';
comment on column penstock.second_factor.sealed_secret is 'The secret, encrypted and bound to the account under the key of the servers, which is not in the database';
comment on column penstock.second_factor.created_at is 'When the secret was made';
comment on column penstock.second_factor.confirmed_at is 'When the first code of it was right; null: signing in does not ask for one yet';
comment on column penstock.second_factor.last_step is 'Time step of the last code that was taken: neither it nor an earlier one is taken again';

create table penstock.recovery_code (
    clinic_id uuid not null,
    account_id uuid not null,
    code_hash bytea not null check (length(code_hash) = 32),
    created_at timestamptz not null default now(),
    primary key (clinic_id, account_id, code_hash),
    foreign key (clinic_id, account_id) references penstock.second_factor on delete cascade
);
comment on table penstock.recovery_code is 'Codes that stand in for a lost authenticator; a row is deleted as its code is used';
comment on column penstock.recovery_code.clinic_id is 'Clinic of the account';
comment on column penstock.recovery_code.account_id is 'Whose it is';
comment on column penstock.recovery_code.code_hash is 'SHA-256 of the code, which is random; the code itself is not kept';
comment on column penstock.recovery_code.created_at is 'When the code was made';

-- ---- sessions ----

alter table penstock.session
    add column id uuid not null default gen_random_uuid(),
    add column address text not null default '' check (length(address) <= 64),
    add column user_agent text not null default '' check (length(user_agent) <= 200),
    add column by_provider boolean not null default false;
create unique index session_by_id on penstock.session (clinic_id, account_id, id);
comment on column penstock.session.id is 'Identifier by which it is listed and ended; opens nothing';
comment on column penstock.session.address is 'Network address that signed in';
comment on column penstock.session.user_agent is 'What the browser calls itself, printable ASCII only';
comment on column penstock.session.by_provider is 'Began with single sign-on: passwords and second factors are the provider''s matter, the account owes none';

-- ---- one clinic sees its own rows ----

do $$
declare
    relation text;
begin
    foreach relation in array array['second_factor', 'recovery_code'] loop
        execute format('alter table penstock.%I enable row level security', relation);
        execute format('alter table penstock.%I force row level security', relation);
        execute format('create policy clinic_only on penstock.%I'
                       ' using (clinic_id = nullif(current_setting(''penstock.clinic'', true), '''')::uuid)'
                       ' with check (clinic_id = nullif(current_setting(''penstock.clinic'', true), '''')::uuid)',
                       relation);
    end loop;
end $$;

grant select, insert, update (sealed_secret, created_at, confirmed_at, last_step), delete
    on penstock.second_factor to penstock_app;
grant select, insert, delete on penstock.recovery_code to penstock_app;

-- ---- settings of the clinic ----

alter table penstock.clinic
    add column second_factor_roles integer not null default 0 check (second_factor_roles between 0 and 127);
comment on column penstock.clinic.second_factor_roles is 'Roles whose holders must have a second factor; numbers as in account.roles';
grant update (second_factor_roles) on penstock.clinic to penstock_app;

-- ---- brakes on guessing ----
--
-- Attempts to sign in are counted before the clinic is known, and alike for names that exist and
-- names that do not: so these two tables belong to no clinic and have no foreign key. The server's
-- role has no right to them; it calls the functions below, which tell it nothing but how long to
-- wait. Keys are hashes: what somebody types as a name may be a password.

create table penstock.attempt (
    key bytea primary key check (length(key) = 32),
    attempts integer not null,
    ends_at timestamptz not null
);
create index attempt_by_end on penstock.attempt (ends_at);
comment on table penstock.attempt is 'Failed attempts that count together: of a name and an address, of a name, of an address';
comment on column penstock.attempt.key is 'SHA-256 of what they have in common';
comment on column penstock.attempt.attempts is 'How many, with those under way';
comment on column penstock.attempt.ends_at is 'When counting begins anew';

create table penstock.known_browser (
    account_key bytea not null check (length(account_key) = 32),
    browser_hash bytea not null check (length(browser_hash) = 32),
    failures integer not null default 0,
    ends_at timestamptz not null,
    primary key (account_key, browser_hash)
);
create index known_browser_by_end on penstock.known_browser (ends_at);
comment on table penstock.known_browser is 'A browser that has signed in to an account before, whose failures count against itself alone';
comment on column penstock.known_browser.account_key is 'SHA-256 of the name for signing in';
comment on column penstock.known_browser.browser_hash is 'SHA-256 of the random value in the browser''s cookie';
comment on column penstock.known_browser.failures is 'Failed attempts since the last success, with those under way';
comment on column penstock.known_browser.ends_at is 'When the browser is a stranger again; after too many failures, until when it waits before it is one';

alter table penstock.attempt enable row level security;
alter table penstock.attempt force row level security;
create policy functions_only on penstock.attempt to current_user using (true) with check (true);
alter table penstock.known_browser enable row level security;
alter table penstock.known_browser force row level security;
create policy functions_only on penstock.known_browser to current_user using (true) with check (true);

-- Counts one attempt under every key, unless one of them has had `limits` already: then under none,
-- so that an attempt that was refused takes nothing from others. Rows are locked in the order of
-- their keys; whoever comes at the same time waits, and sees the count.
create function penstock.attempts_claim(keys bytea[], limits integer[], spans_s integer[])
    returns integer
    language plpgsql volatile security definer set search_path = pg_catalog, pg_temp
as $$
declare
    wanted record;
    counted penstock.attempt;
    wait_s integer := 0;
begin
    for wanted in select w.key, w.most, w.span_s
                    from unnest(keys, limits, spans_s) as w (key, most, span_s) order by w.key loop
        insert into penstock.attempt as a (key, attempts, ends_at)
            values (wanted.key, 0, clock_timestamp() + wanted.span_s * interval '1 second')
            on conflict (key) do update
            set attempts = case when a.ends_at <= clock_timestamp() then 0 else a.attempts end,
                ends_at = case when a.ends_at <= clock_timestamp() then excluded.ends_at else a.ends_at end
            returning * into counted;
        if counted.attempts >= wanted.most then
            wait_s := greatest(wait_s, ceil(extract(epoch from counted.ends_at - clock_timestamp()))::integer, 1);
        end if;
    end loop;
    if wait_s = 0 then
        update penstock.attempt set attempts = attempts + 1 where key = any (keys);
    end if;
    -- Last, and without waiting: whoever holds rows that others want must want none himself.
    delete from penstock.attempt where key in (
        select a.key from penstock.attempt a where a.ends_at <= clock_timestamp()
           and not a.key = any (keys) limit 20 for update skip locked);
    return wait_s;
end $$;
comment on function penstock.attempts_claim(bytea[], integer[], integer[]) is 'Counts an attempt; 0, or how many seconds to wait because it may not be made';

create function penstock.attempts_return(keys bytea[]) returns void
    language plpgsql volatile security definer set search_path = pg_catalog, pg_temp
as $$
begin
    perform from penstock.attempt where key = any (keys) order by key for update;
    update penstock.attempt set attempts = greatest(attempts - 1, 0) where key = any (keys);
end $$;
comment on function penstock.attempts_return(bytea[]) is 'Takes an attempt back that was no failure';

-- Null: the browser is a stranger to the account. Else as attempts_claim().
create function penstock.browser_claim(wanted_account bytea, wanted_browser bytea, most integer, wait_s integer)
    returns integer
    language plpgsql volatile security definer set search_path = pg_catalog, pg_temp
as $$
declare
    browser penstock.known_browser;
begin
    select * into browser from penstock.known_browser b
     where b.account_key = wanted_account and b.browser_hash = wanted_browser
       and b.ends_at > clock_timestamp() for update;
    if not found then
        delete from penstock.known_browser where (account_key, browser_hash) in (
            select b.account_key, b.browser_hash from penstock.known_browser b
             where b.ends_at <= clock_timestamp() limit 20 for update skip locked);
        return null;
    end if;
    if browser.failures >= most then
        return greatest(ceil(extract(epoch from browser.ends_at - clock_timestamp()))::integer, 1);
    end if;
    update penstock.known_browser b
       set failures = b.failures + 1,
           ends_at = case when b.failures + 1 >= most
                          then clock_timestamp() + wait_s * interval '1 second' else b.ends_at end
     where b.account_key = wanted_account and b.browser_hash = wanted_browser;
    return 0;
end $$;
comment on function penstock.browser_claim(bytea, bytea, integer, integer) is 'Counts an attempt of a known browser; the last that it may fail withdraws the trust and makes it wait';

create function penstock.browser_return(wanted_account bytea, wanted_browser bytea, life_s integer)
    returns void
    language plpgsql volatile security definer set search_path = pg_catalog, pg_temp
as $$
begin
    update penstock.known_browser b
       set failures = greatest(b.failures - 1, 0), ends_at = clock_timestamp() + life_s * interval '1 second'
     where b.account_key = wanted_account and b.browser_hash = wanted_browser;
end $$;
comment on function penstock.browser_return(bytea, bytea, integer) is 'Takes an attempt of a known browser back that was no failure';

create function penstock.browser_trust(wanted_account bytea, wanted_browser bytea, life_s integer)
    returns void
    language plpgsql volatile security definer set search_path = pg_catalog, pg_temp
as $$
begin
    insert into penstock.known_browser as b (account_key, browser_hash, failures, ends_at)
        values (wanted_account, wanted_browser, 0, clock_timestamp() + life_s * interval '1 second')
        on conflict (account_key, browser_hash) do update
        set failures = 0, ends_at = excluded.ends_at;
end $$;
comment on function penstock.browser_trust(bytea, bytea, integer) is 'Makes a browser known to an account that has just signed in from it';

create function penstock.browser_is_known(wanted_browser bytea) returns boolean
    language plpgsql stable security definer set search_path = pg_catalog, pg_temp
as $$
begin
    return exists (select from penstock.known_browser b
                    where b.browser_hash = wanted_browser and b.ends_at > clock_timestamp());
end $$;
comment on function penstock.browser_is_known(bytea) is 'Whether the cookie is one that was given out';

create index known_browser_by_hash on penstock.known_browser (browser_hash);

-- ---- look-ups that come before the clinic is known ----

create function penstock.account_owes(must_change_password boolean, roles integer, second_factor_roles integer,
                                      confirmed_at timestamptz) returns integer
    language sql immutable parallel safe
    return case when must_change_password then 1 else 0 end
         + case when (roles & second_factor_roles) <> 0 and confirmed_at is null then 2 else 0 end;
comment on function penstock.account_owes(boolean, integer, integer, timestamptz) is
    'What an account must do before anything else: 1 change the password, 2 set up a second factor';

drop function penstock.account_for_sign_in(text);
create function penstock.account_for_sign_in(wanted_username text)
    returns table (account_id uuid, clinic_id uuid, clinic_name text, name text,
                   display_name text, roles integer, password_hash text, owes integer, version integer,
                   session_epoch integer)
    language plpgsql volatile security definer set search_path = pg_catalog, pg_temp
as $$
#variable_conflict use_column
declare
    outer_clinic constant text := coalesce(current_setting('penstock.clinic', true), '');
    found_clinic uuid;
begin
    perform set_config('penstock.lookup', lower(wanted_username), true);
    select a.clinic_id into found_clinic from penstock.account a
     where a.username = lower(wanted_username) and a.active;
    perform set_config('penstock.lookup', '', true);
    perform set_config('penstock.clinic', coalesce(found_clinic::text, ''), true);
    return query
        select a.id, a.clinic_id, c.name, a.username, a.display_name, a.roles, a.password_hash,
               penstock.account_owes(a.must_change_password, a.roles, c.second_factor_roles, f.confirmed_at),
               a.version, a.session_epoch
          from penstock.account a
          join penstock.clinic c on c.clinic_id = a.clinic_id
          left join penstock.second_factor f on f.clinic_id = a.clinic_id and f.account_id = a.id
         where a.clinic_id = found_clinic and a.username = lower(wanted_username) and a.active;
    perform set_config('penstock.clinic', outer_clinic, true);
end $$;
comment on function penstock.account_for_sign_in(text) is 'The active account with a username, with its password hash';

drop function penstock.session_principal(bytea, boolean);
create function penstock.session_principal(wanted_hash bytea, counts boolean default true)
    returns table (account_id uuid, clinic_id uuid, clinic_name text, name text,
                   display_name text, roles integer, owes integer, session_id uuid, by_provider boolean,
                   session_epoch integer)
    language plpgsql volatile security definer set search_path = pg_catalog, pg_temp
as $$
#variable_conflict use_column
declare
    outer_clinic constant text := coalesce(current_setting('penstock.clinic', true), '');
    found record;
begin
    perform set_config('penstock.lookup', encode(wanted_hash, 'hex'), true);
    select s.clinic_id, s.account_id, s.last_used_at, s.id, s.by_provider into found from penstock.session s
     where s.session_hash = wanted_hash and s.expires_at > now()
       and s.last_used_at > now() - interval '30 minutes';
    perform set_config('penstock.lookup', '', true);
    if found.clinic_id is null then
        return;
    end if;
    perform set_config('penstock.clinic', found.clinic_id::text, true);
    if counts and found.last_used_at < now() - interval '1 minute'
       and exists (select from penstock.account a
                    where a.clinic_id = found.clinic_id and a.id = found.account_id and a.active) then
        update penstock.session s set last_used_at = now()
         where s.clinic_id = found.clinic_id and s.session_hash = wanted_hash;
    end if;
    return query
        select a.id, a.clinic_id, c.name, a.username, a.display_name, a.roles,
               case when found.by_provider then 0
                    else penstock.account_owes(a.must_change_password, a.roles, c.second_factor_roles,
                                               f.confirmed_at) end,
               found.id, found.by_provider, a.session_epoch
          from penstock.account a
          join penstock.clinic c on c.clinic_id = a.clinic_id
          left join penstock.second_factor f on f.clinic_id = a.clinic_id and f.account_id = a.id
         where a.clinic_id = found.clinic_id and a.id = found.account_id and a.active;
    perform set_config('penstock.clinic', outer_clinic, true);
end $$;
comment on function penstock.session_principal(bytea, boolean) is
    'Who holds the session with a hash; nothing when it is over. Notes the use once a minute, unless it does not count: a page asked by itself';

revoke all on function penstock.attempts_claim(bytea[], integer[], integer[]), penstock.attempts_return(bytea[]),
    penstock.browser_claim(bytea, bytea, integer, integer), penstock.browser_return(bytea, bytea, integer),
    penstock.browser_trust(bytea, bytea, integer), penstock.browser_is_known(bytea),
    penstock.account_for_sign_in(text), penstock.session_principal(bytea, boolean) from public;
grant execute on function penstock.attempts_claim(bytea[], integer[], integer[]), penstock.attempts_return(bytea[]),
    penstock.browser_claim(bytea, bytea, integer, integer), penstock.browser_return(bytea, bytea, integer),
    penstock.browser_trust(bytea, bytea, integer), penstock.browser_is_known(bytea),
    penstock.account_for_sign_in(text), penstock.session_principal(bytea, boolean) to penstock_app;
