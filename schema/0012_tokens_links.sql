-- Tokens with scopes, rotation and certificates; links that show one summary to one reader.

-- ---- tokens ----

alter table penstock.api_token
    add column scopes text check (length(scopes) between 1 and 4000),
    add column certificate_hash bytea check (length(certificate_hash) = 32),
    add column rotated_at timestamptz,
    add column last_used_from text check (length(last_used_from) <= 64);
comment on column penstock.api_token.scopes is 'All that the token may do, "patients:read studies:create"; null: what its roles allow';
comment on column penstock.api_token.certificate_hash is 'SHA-256 of the only client certificate that it works with; null: any, or none';
comment on column penstock.api_token.rotated_at is 'When its secret was last replaced; null: never';
comment on column penstock.api_token.last_used_from is 'Address of that request';

create table penstock.former_secret (
    clinic_id uuid not null,
    token_hash bytea not null check (length(token_hash) = 32),
    token_id uuid not null,
    expires_at timestamptz not null,
    primary key (clinic_id, token_hash),
    foreign key (clinic_id, token_id) references penstock.api_token (clinic_id, id)
);
create unique index former_secret_by_hash on penstock.former_secret (token_hash);
create index former_secret_by_token on penstock.former_secret (clinic_id, token_id);
comment on table penstock.former_secret is 'What a token''s secret was before it was replaced; works for a while, then is deleted';
comment on column penstock.former_secret.clinic_id is 'Clinic of the token';
comment on column penstock.former_secret.token_hash is 'SHA-256 of the secret; penstock_app can neither read nor write it';
comment on column penstock.former_secret.token_id is 'Whose it was';
comment on column penstock.former_secret.expires_at is 'When it stops working';

alter table penstock.former_secret enable row level security;
alter table penstock.former_secret force row level security;
create policy clinic_only on penstock.former_secret
    using (clinic_id = nullif(current_setting('penstock.clinic', true), '')::uuid)
    with check (clinic_id = nullif(current_setting('penstock.clinic', true), '')::uuid);
create policy lookup_by_hash on penstock.former_secret for select to current_user
    using (encode(token_hash, 'hex') = nullif(current_setting('penstock.lookup', true), ''));

drop function penstock.token_principal(bytea);
create function penstock.token_principal(wanted_hash bytea, used_from text default null)
    returns table (token_id uuid, clinic_id uuid, clinic_name text, name text, display_name text,
                   roles integer, scopes text, certificate_sha256 text)
    language plpgsql volatile security definer set search_path = pg_catalog, pg_temp
as $$
#variable_conflict use_column
declare
    outer_clinic constant text := coalesce(current_setting('penstock.clinic', true), '');
    found_clinic uuid;
    found_token uuid;
begin
    perform set_config('penstock.lookup', encode(wanted_hash, 'hex'), true);
    select t.clinic_id, t.id into found_clinic, found_token from penstock.api_token t
     where t.token_hash = wanted_hash;
    if found_clinic is null then
        select f.clinic_id, f.token_id into found_clinic, found_token from penstock.former_secret f
         where f.token_hash = wanted_hash and f.expires_at > now();
    end if;
    perform set_config('penstock.lookup', '', true);
    if found_clinic is null then
        return;
    end if;
    perform set_config('penstock.clinic', found_clinic::text, true);
    update penstock.api_token t set last_used_at = now(), last_used_from = left(used_from, 64)
     where t.clinic_id = found_clinic and t.id = found_token
       and t.expires_at > now() and t.revoked_at is null
       and (t.last_used_at is null or t.last_used_at < now() - interval '1 minute');
    return query
        select t.id, t.clinic_id, c.name, t.name, t.name, t.roles, t.scopes,
               encode(t.certificate_hash, 'hex')
          from penstock.api_token t join penstock.clinic c on c.clinic_id = t.clinic_id
         where t.clinic_id = found_clinic and t.id = found_token
           and t.expires_at > now() and t.revoked_at is null;
    perform set_config('penstock.clinic', outer_clinic, true);
end $$;
comment on function penstock.token_principal(bytea, text) is
    'Whose token has a secret with a hash; nothing when expired or revoked. Notes the use once a minute';

-- The row of the token is locked before anything is read of it: rotations at the same time come one
-- after the other, and each finds what the one before has made.
create function penstock.rotate_token(wanted_clinic uuid, wanted_id uuid, new_hash bytea,
                                      new_prefix text, overlap_s integer)
    returns boolean
    language plpgsql volatile security definer set search_path = pg_catalog, pg_temp
as $$
declare
    ends constant timestamptz := now() + overlap_s * interval '1 second';
    token penstock.api_token;
begin
    select t.* into token from penstock.api_token t
     where t.clinic_id = wanted_clinic and t.id = wanted_id and t.revoked_at is null
       for update;
    if token.id is null then
        return false;
    end if;
    delete from penstock.former_secret f
     where f.clinic_id = wanted_clinic and f.token_id = wanted_id and f.expires_at <= now();
    update penstock.former_secret f set expires_at = ends
     where f.clinic_id = wanted_clinic and f.token_id = wanted_id and f.expires_at > ends;
    insert into penstock.former_secret (clinic_id, token_hash, token_id, expires_at)
    values (wanted_clinic, token.token_hash, wanted_id, least(ends, token.expires_at));
    update penstock.api_token t
       set token_hash = new_hash, prefix = new_prefix, rotated_at = now(),
           expires_at = now() + (token.expires_at - coalesce(token.rotated_at, token.created_at))
     where t.clinic_id = wanted_clinic and t.id = wanted_id;
    return true;
end $$;
comment on function penstock.rotate_token(uuid, uuid, bytea, text, integer) is
    'Gives a token another secret and the same length of life again; the former ones work for overlap_s more, or as long as they would have. False when there is no such token';

-- ---- links ----

create table penstock.study_link (
    clinic_id uuid not null,
    id uuid not null,
    study_id uuid not null,
    purpose text not null check (purpose in ('summary')),
    label text not null default '' check (length(label) <= 200),
    prefix text not null check (length(prefix) <= 20),
    secret_hash bytea not null check (length(secret_hash) = 32),
    reads_at_most integer check (reads_at_most between 1 and 1000),
    read_count integer not null default 0,
    last_read_at timestamptz,
    hour_began_at timestamptz,
    hour_count integer not null default 0,
    created_at timestamptz not null default now(),
    created_by uuid,
    expires_at timestamptz not null,
    revoked_at timestamptz,
    primary key (clinic_id, id),
    foreign key (clinic_id, study_id) references penstock.study (clinic_id, id)
);
create unique index study_link_by_hash on penstock.study_link (secret_hash);
create index study_link_by_study on penstock.study_link (clinic_id, study_id, created_at desc, id desc);
comment on table penstock.study_link is 'An address by which one study''s summary is read without an account; revoked, never deleted';
comment on column penstock.study_link.clinic_id is 'Clinic of the study';
comment on column penstock.study_link.id is 'Identifier, UUID version 7';
comment on column penstock.study_link.study_id is 'The only study that it shows';
comment on column penstock.study_link.purpose is 'What of it';
comment on column penstock.study_link.label is 'Whom it is for, in its maker''s words';
comment on column penstock.study_link.prefix is 'First characters of the secret, to tell links apart';
comment on column penstock.study_link.secret_hash is 'SHA-256 of the secret; penstock_app may write but not read it';
comment on column penstock.study_link.reads_at_most is 'How often it may be read; null: as often as wanted';
comment on column penstock.study_link.read_count is 'How often it was read';
comment on column penstock.study_link.last_read_at is 'When it was last read; null: never';
comment on column penstock.study_link.hour_began_at is 'When the hour began that hour_count is of';
comment on column penstock.study_link.hour_count is 'Requests within that hour';
comment on column penstock.study_link.created_at is 'When the row was made';
comment on column penstock.study_link.created_by is 'Account or token that made it';
comment on column penstock.study_link.expires_at is 'When it stops working';
comment on column penstock.study_link.revoked_at is 'When it was revoked; null: valid';

alter table penstock.study_link enable row level security;
alter table penstock.study_link force row level security;
create policy clinic_only on penstock.study_link
    using (clinic_id = nullif(current_setting('penstock.clinic', true), '')::uuid)
    with check (clinic_id = nullif(current_setting('penstock.clinic', true), '')::uuid);
create policy lookup_by_hash on penstock.study_link for select to current_user
    using (encode(secret_hash, 'hex') = nullif(current_setting('penstock.lookup', true), ''));
-- The second condition is for the function that looks one up before the clinic is known.
create policy within_reach on penstock.study_link as restrictive
    using (exists (select from penstock.study s
                    where s.clinic_id = study_link.clinic_id and s.id = study_link.study_id)
           or encode(secret_hash, 'hex') = nullif(current_setting('penstock.lookup', true), ''))
    with check (exists (select from penstock.study s
                         where s.clinic_id = study_link.clinic_id and s.id = study_link.study_id));
create policy made_by_people on penstock.study_link as restrictive for insert
    with check (current_setting('penstock.reach', true) <> 'link');

-- ---- what a reader of a link reaches ----

-- A call for the planner, as those of 0008_access.sql, and a cheap one: what only the reader of a link
-- asks must not change how patients are found for everybody.
create function penstock.is_patient_of_link(wanted_clinic uuid, wanted_patient uuid) returns boolean
    language plpgsql stable cost 1
as $$
begin
    return exists (select from penstock.study s
                    where s.clinic_id = wanted_clinic and s.patient_id = wanted_patient);
end $$;
comment on function penstock.is_patient_of_link(uuid, uuid) is
    'With the reach of a link: whether its study is a patient''s';

-- Whoever reads through a link has the reach 'link', and the study in penstock.link_study. It becomes
-- one more case of the policies as they are, before the one that says false of any other reach.
do $$
declare
    addition record;
    otherwise constant text := 'ELSE false';
begin
    for addition in
        select p.polrelid::regclass as relation, pg_get_expr(p.polqual, p.polrelid) as condition,
               a.condition as more
          from pg_policy p
          join (values
                ('study', 'id = nullif(current_setting(''penstock.link_study'', true), '''')::uuid'
                          ' and status in (''final'', ''amended'')'),
                ('patient', 'penstock.is_patient_of_link(clinic_id, id)')) a (relation, condition)
            on p.polrelid = format('penstock.%I', a.relation)::regclass
         where p.polname = 'within_reach'
    loop
        if length(addition.condition) - length(replace(addition.condition, otherwise, ''))
            <> length(otherwise) then
            raise exception 'the policy within_reach of % has another form', addition.relation;
        end if;
        execute format('alter policy within_reach on %s using (%s)', addition.relation,
                       replace(addition.condition, otherwise,
                               format('WHEN ''link'' THEN (%s) %s', addition.more, otherwise)));
    end loop;
end $$;

-- ---- who tries secrets that are none ----

create table penstock.link_miss (
    address text primary key,
    missed_at timestamptz[] not null
);
comment on table penstock.link_miss is 'Addresses that asked for links that do not exist; of no clinic, and of the server''s functions only';
comment on column penstock.link_miss.address is 'IPv4 address, or IPv6 network of 64 bits; deleted ten minutes after the last miss';
comment on column penstock.link_miss.missed_at is 'When, within ten minutes';

alter table penstock.link_miss enable row level security;
alter table penstock.link_miss force row level security;
create policy of_the_owner on penstock.link_miss to current_user using (true) with check (true);

-- Requests of one address come one after the other (the lock ends with the transaction), so that
-- many at once are not looked up before the first miss is counted. A miss need not outlive a crash.
create function penstock.link_for_reading(wanted_hash bytea, asked_from text)
    returns table (link_id uuid, study_id uuid, clinic_id uuid, clinic_name text, wait_s integer)
    language plpgsql volatile security definer set search_path = pg_catalog, pg_temp
as $$
#variable_conflict use_column
declare
    outer_clinic constant text := coalesce(current_setting('penstock.clinic', true), '');
    misses_at_most constant integer := 20;
    span constant interval := interval '10 minutes';
    asked constant inet := nullif(asked_from, '')::inet;
    place constant text := case
        when asked is null then ''
        when family(asked) = 6 and not asked <<= inet '::ffff:0:0/96'
            then network(set_masklen(asked, 64))::text
        else host(asked) end;
    recent timestamptz[];
    found record;
begin
    perform set_config('penstock.lookup', encode(wanted_hash, 'hex'), true);
    select l.id, l.study_id, l.clinic_id into found from penstock.study_link l
     where l.secret_hash = wanted_hash;
    perform set_config('penstock.lookup', '', true);
    -- Whoever has a link is not kept waiting by those who have none: nobody guesses 256 bits.
    if found.id is not null then
        perform set_config('penstock.clinic', found.clinic_id::text, true);
        return query
            select found.id, found.study_id, c.clinic_id, c.name, 0
              from penstock.clinic c where c.clinic_id = found.clinic_id;
        perform set_config('penstock.clinic', outer_clinic, true);
        return;
    end if;
    perform pg_advisory_xact_lock(hashtext('penstock.link_miss'), hashtext(place));
    recent := array(select moment from penstock.link_miss m, unnest(m.missed_at) moment
                     where m.address = place and moment > clock_timestamp() - span order by moment);
    if cardinality(recent) >= misses_at_most then
        return query select null::uuid, null::uuid, null::uuid, null::text,
            greatest(1, ceil(extract(epoch from recent[1] + span - clock_timestamp())))::integer;
        return;
    end if;
    perform set_config('synchronous_commit', 'off', true);
    delete from penstock.link_miss m where m.address in (
        select o.address from penstock.link_miss o
         where o.address <> place
           and o.missed_at[cardinality(o.missed_at)] < clock_timestamp() - span
         limit 100 for update skip locked);
    insert into penstock.link_miss (address, missed_at) values (place, recent || clock_timestamp())
        on conflict (address) do update set missed_at = excluded.missed_at;
end $$;
comment on function penstock.link_for_reading(bytea, text) is
    'Which link has a secret with a hash, whether or not it may be read; nothing for a secret that is none, or, for an address that has tried 20 such within ten minutes, how many seconds it has to wait';

-- ---- rights of the server ----

revoke all on function penstock.token_principal(bytea, text),
    penstock.rotate_token(uuid, uuid, bytea, text, integer),
    penstock.link_for_reading(bytea, text) from public;
grant execute on function penstock.token_principal(bytea, text),
    penstock.rotate_token(uuid, uuid, bytea, text, integer),
    penstock.link_for_reading(bytea, text) to penstock_app;
grant select (scopes, certificate_hash, rotated_at, last_used_from) on penstock.api_token to penstock_app;
grant select (clinic_id, token_id, expires_at) on penstock.former_secret to penstock_app;
grant select (clinic_id, id, study_id, purpose, label, prefix, reads_at_most, read_count, last_read_at,
              hour_began_at, hour_count, created_at, created_by, expires_at, revoked_at),
    insert, update (read_count, last_read_at, hour_began_at, hour_count, revoked_at)
    on penstock.study_link to penstock_app;
