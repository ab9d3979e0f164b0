-- Clinics, accounts, browser sessions and bearer tokens.
--
-- Rules that hold for every table of this schema:
--   * clinic_id leads every key, and every foreign key includes it.
--   * Row-level security is enabled and forced (the owner is held to it too); the policy compares
--     clinic_id with the setting penstock.clinic, which is '' after a transaction, hence nullif.
--   * The server's role, penstock_app, gets the rights it needs and no other. It owns nothing.
--   * Unique checks ignore row-level security, so that a key must never tell one clinic about
--     another: ids are unique within a clinic only. The exceptions are usernames and the hashes of
--     secrets, which have to be found before the clinic is known.

comment on schema penstock is 'Urodynamic studies of one or more clinics, one row-level security domain each';

do $$
begin
    execute format('revoke create, temporary on database %I from public', current_database());
exception when insufficient_privilege then
    null; -- not our database to regulate; the owner decides
end $$;

grant usage on schema penstock to penstock_app;
grant select on penstock.schema_migration to penstock_app;

-- ---- times as the program counts them ----

create function penstock.unix_us(moment timestamptz) returns bigint
    language sql immutable strict parallel safe
    return (extract(epoch from moment) * 1000000)::bigint;
comment on function penstock.unix_us(timestamptz) is 'Microseconds since 1970-01-01T00:00:00Z';

-- ---- clinic ----

create table penstock.clinic (
    clinic_id uuid primary key,
    name text not null check (length(name) between 1 and 200),
    created_at timestamptz not null default now()
);
comment on table penstock.clinic is 'A clinic: the boundary that no row of patient data crosses';
comment on column penstock.clinic.clinic_id is 'Identifier, UUID version 7';
comment on column penstock.clinic.name is 'Name as people read it';
comment on column penstock.clinic.created_at is 'When the row was made';

-- ---- account ----

create table penstock.account (
    clinic_id uuid not null references penstock.clinic,
    id uuid not null,
    username text not null check (username = lower(username) and length(username) between 1 and 200),
    display_name text not null check (length(display_name) <= 200),
    password_hash text not null,
    roles integer not null check (roles between 0 and 127),
    active boolean not null default true,
    created_at timestamptz not null default now(),
    version integer not null default 1,
    primary key (clinic_id, id)
);
create unique index account_username on penstock.account (username);
comment on index penstock.account_username is 'Over the whole installation: a person signs in before the clinic is known';
comment on table penstock.account is 'A person who may sign in; never deleted, since revisions name their author';
comment on column penstock.account.clinic_id is 'Clinic that the account belongs to';
comment on column penstock.account.id is 'Identifier, UUID version 7';
comment on column penstock.account.username is 'Name for signing in, lower case, unique over all clinics';
comment on column penstock.account.display_name is 'Name that pages and reports show';
comment on column penstock.account.password_hash is 'Argon2id string; penstock_app may write but not read it';
comment on column penstock.account.roles is 'Sum of: 1 room, 2 clinician, 4 physician, 8 referrer, 16 integration, 32 auditor, 64 administrator';
comment on column penstock.account.active is 'False: may not sign in';
comment on column penstock.account.created_at is 'When the row was made';
comment on column penstock.account.version is 'Grows by one with every change';

-- ---- session ----

create table penstock.session (
    clinic_id uuid not null,
    session_hash bytea not null check (length(session_hash) = 32),
    account_id uuid not null,
    created_at timestamptz not null default now(),
    last_used_at timestamptz not null default now(),
    expires_at timestamptz not null,
    primary key (clinic_id, session_hash),
    foreign key (clinic_id, account_id) references penstock.account (clinic_id, id)
);
create unique index session_by_hash on penstock.session (session_hash);
create index session_by_account on penstock.session (clinic_id, account_id);
comment on table penstock.session is 'A browser that is signed in; deleted when it ends';
comment on column penstock.session.clinic_id is 'Clinic of the account';
comment on column penstock.session.session_hash is 'SHA-256 of the random value in the cookie; the value itself is not kept';
comment on column penstock.session.account_id is 'Who is signed in';
comment on column penstock.session.created_at is 'When the person signed in';
comment on column penstock.session.last_used_at is 'Last request, to the minute; 30 minutes later the session is over';
comment on column penstock.session.expires_at is 'When the session is over even if it is used';

-- ---- api_token ----

create table penstock.api_token (
    clinic_id uuid not null references penstock.clinic,
    id uuid not null,
    name text not null check (length(name) between 1 and 200),
    prefix text not null,
    token_hash bytea not null check (length(token_hash) = 32),
    roles integer not null check (roles between 0 and 127),
    created_at timestamptz not null default now(),
    created_by uuid,
    expires_at timestamptz not null,
    last_used_at timestamptz,
    revoked_at timestamptz,
    primary key (clinic_id, id)
);
create unique index api_token_by_hash on penstock.api_token (token_hash);
create index api_token_by_time on penstock.api_token (clinic_id, created_at desc, id desc);
comment on table penstock.api_token is 'A bearer token of a program; revoked, never deleted';
comment on column penstock.api_token.clinic_id is 'Clinic whose data the token opens';
comment on column penstock.api_token.id is 'Identifier, UUID version 7';
comment on column penstock.api_token.name is 'What the token is for, in its maker''s words';
comment on column penstock.api_token.prefix is 'First characters of the token, to tell tokens apart';
comment on column penstock.api_token.token_hash is 'SHA-256 of the token; penstock_app may write but not read it';
comment on column penstock.api_token.roles is 'Sum of the role numbers, as in account.roles';
comment on column penstock.api_token.created_at is 'When the row was made';
comment on column penstock.api_token.created_by is 'Account or token that made it';
comment on column penstock.api_token.expires_at is 'When the token stops working';
comment on column penstock.api_token.last_used_at is 'Last request, to the minute; null: never';
comment on column penstock.api_token.revoked_at is 'When the token was revoked; null: valid';

-- ---- one clinic sees its own rows ----

alter table penstock.clinic enable row level security;
alter table penstock.clinic force row level security;
create policy clinic_only on penstock.clinic
    using (clinic_id = nullif(current_setting('penstock.clinic', true), '')::uuid)
    with check (clinic_id = nullif(current_setting('penstock.clinic', true), '')::uuid);

alter table penstock.account enable row level security;
alter table penstock.account force row level security;
create policy clinic_only on penstock.account
    using (clinic_id = nullif(current_setting('penstock.clinic', true), '')::uuid)
    with check (clinic_id = nullif(current_setting('penstock.clinic', true), '')::uuid);

alter table penstock.session enable row level security;
alter table penstock.session force row level security;
create policy clinic_only on penstock.session
    using (clinic_id = nullif(current_setting('penstock.clinic', true), '')::uuid)
    with check (clinic_id = nullif(current_setting('penstock.clinic', true), '')::uuid);

alter table penstock.api_token enable row level security;
alter table penstock.api_token force row level security;
create policy clinic_only on penstock.api_token
    using (clinic_id = nullif(current_setting('penstock.clinic', true), '')::uuid)
    with check (clinic_id = nullif(current_setting('penstock.clinic', true), '')::uuid);

-- The three functions below run as the owner, who is held to row-level security as well. For the
-- owner alone these policies show the one row that a function has just named in penstock.lookup.
-- (On the application's connections the setting shows nothing: the policies are not for its role.)

create policy lookup_by_username on penstock.account for select to current_user
    using (username = nullif(current_setting('penstock.lookup', true), ''));
create policy lookup_by_hash on penstock.session for select to current_user
    using (encode(session_hash, 'hex') = nullif(current_setting('penstock.lookup', true), ''));
create policy lookup_by_hash on penstock.api_token for select to current_user
    using (encode(token_hash, 'hex') = nullif(current_setting('penstock.lookup', true), ''));

-- ---- look-ups that come before the clinic is known ----

create function penstock.account_for_sign_in(wanted_username text)
    returns table (account_id uuid, clinic_id uuid, clinic_name text, name text,
                   display_name text, roles integer, password_hash text)
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
        select a.id, a.clinic_id, c.name, a.username, a.display_name, a.roles, a.password_hash
          from penstock.account a join penstock.clinic c on c.clinic_id = a.clinic_id
         where a.clinic_id = found_clinic and a.username = lower(wanted_username) and a.active;
    perform set_config('penstock.clinic', outer_clinic, true);
end $$;
comment on function penstock.account_for_sign_in(text) is 'The active account with a username, with its password hash';

create function penstock.session_principal(wanted_hash bytea)
    returns table (account_id uuid, clinic_id uuid, clinic_name text, name text,
                   display_name text, roles integer)
    language plpgsql volatile security definer set search_path = pg_catalog, pg_temp
as $$
#variable_conflict use_column
declare
    outer_clinic constant text := coalesce(current_setting('penstock.clinic', true), '');
    found record;
begin
    perform set_config('penstock.lookup', encode(wanted_hash, 'hex'), true);
    select s.clinic_id, s.account_id, s.last_used_at into found from penstock.session s
     where s.session_hash = wanted_hash and s.expires_at > now()
       and s.last_used_at > now() - interval '30 minutes';
    perform set_config('penstock.lookup', '', true);
    if found.clinic_id is null then
        return;
    end if;
    perform set_config('penstock.clinic', found.clinic_id::text, true);
    if found.last_used_at < now() - interval '1 minute' then
        update penstock.session s set last_used_at = now()
         where s.clinic_id = found.clinic_id and s.session_hash = wanted_hash;
    end if;
    return query
        select a.id, a.clinic_id, c.name, a.username, a.display_name, a.roles
          from penstock.account a join penstock.clinic c on c.clinic_id = a.clinic_id
         where a.clinic_id = found.clinic_id and a.id = found.account_id and a.active;
    perform set_config('penstock.clinic', outer_clinic, true);
end $$;
comment on function penstock.session_principal(bytea) is 'Who holds the session with a hash; nothing when it is over. Notes the use once a minute';

create function penstock.token_principal(wanted_hash bytea)
    returns table (token_id uuid, clinic_id uuid, clinic_name text, name text,
                   display_name text, roles integer)
    language plpgsql volatile security definer set search_path = pg_catalog, pg_temp
as $$
#variable_conflict use_column
declare
    outer_clinic constant text := coalesce(current_setting('penstock.clinic', true), '');
    found record;
begin
    perform set_config('penstock.lookup', encode(wanted_hash, 'hex'), true);
    select t.clinic_id, t.id, t.last_used_at into found from penstock.api_token t
     where t.token_hash = wanted_hash and t.expires_at > now() and t.revoked_at is null;
    perform set_config('penstock.lookup', '', true);
    if found.clinic_id is null then
        return;
    end if;
    perform set_config('penstock.clinic', found.clinic_id::text, true);
    if found.last_used_at is null or found.last_used_at < now() - interval '1 minute' then
        update penstock.api_token t set last_used_at = now()
         where t.clinic_id = found.clinic_id and t.id = found.id;
    end if;
    return query
        select t.id, t.clinic_id, c.name, t.name, t.name, t.roles
          from penstock.api_token t join penstock.clinic c on c.clinic_id = t.clinic_id
         where t.clinic_id = found.clinic_id and t.id = found.id;
    perform set_config('penstock.clinic', outer_clinic, true);
end $$;
comment on function penstock.token_principal(bytea) is 'Whose token has a hash; nothing when expired or revoked. Notes the use once a minute';

revoke all on function penstock.account_for_sign_in(text), penstock.session_principal(bytea),
    penstock.token_principal(bytea) from public;
grant execute on function penstock.account_for_sign_in(text), penstock.session_principal(bytea),
    penstock.token_principal(bytea) to penstock_app;

-- ---- rights of the server ----

grant select, insert on penstock.clinic to penstock_app;
grant select (clinic_id, id, username, display_name, roles, active, created_at, version),
    insert, update (display_name, password_hash, roles, active, version)
    on penstock.account to penstock_app;
grant select, insert, delete on penstock.session to penstock_app;
grant select (clinic_id, id, name, prefix, roles, created_at, created_by, expires_at, last_used_at,
              revoked_at),
    insert, update (revoked_at) on penstock.api_token to penstock_app;
