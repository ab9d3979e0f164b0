-- Who did what: entries that only grow, in chains of hashes.
--
-- The entries of a clinic form 16 chains (lanes), so that requests do not wait for one another: an
-- entry goes into a lane that nobody is writing to. Within a lane the numbers have no gaps, every
-- entry holds the hash of the one before, and the lane's head names the last one, so that an entry
-- that is changed, removed, added or moved is found: penstock-server audit verify.
--
-- The server's role may read its clinic's entries and call audit_append(), nothing else. What belongs
-- to no clinic (a forged token, an unknown username) is kept under the nil clinic, which has no row in
-- penstock.clinic, so that nobody can sign in to it.

-- ---- tables ----

create table penstock.audit_lane (
    clinic_id uuid not null,
    lane smallint not null check (lane between 0 and 15),
    number bigint not null default 0 check (number >= 0),
    hash bytea not null default decode(repeat('00', 32), 'hex') check (length(hash) = 32),
    primary key (clinic_id, lane)
) with (fillfactor = 50);
comment on table penstock.audit_lane is 'The chains of the audit''s entries and the last entry of each';
comment on column penstock.audit_lane.clinic_id is 'Clinic of the entries; nil: of no clinic';
comment on column penstock.audit_lane.lane is 'Which of the clinic''s chains';
comment on column penstock.audit_lane.number is 'Number of the last entry; 0: none yet';
comment on column penstock.audit_lane.hash is 'Hash of the last entry; zeros: none yet';

create table penstock.audit_entry (
    clinic_id uuid not null,
    lane smallint not null check (lane between 0 and 15),
    number bigint not null check (number >= 1),
    recorded_on date not null,
    at timestamptz not null,
    actor_id uuid,
    actor_name text not null,
    actor_kind text not null check (actor_kind in ('person', 'token', 'program', 'nobody')),
    actor_roles integer not null,
    address text not null,
    request_id text not null,
    action text not null,
    resource text not null,
    what text not null,
    object_type text,
    object_id uuid,
    patient_ids uuid[] not null,
    emergency boolean not null,
    status integer not null,
    outcome text not null check (outcome in ('done', 'refused', 'failed')),
    reason text not null,
    detail text not null,
    previous_hash bytea not null check (length(previous_hash) = 32),
    hash bytea not null check (length(hash) = 32),
    primary key (clinic_id, lane, number, recorded_on)
) partition by range (recorded_on);
create index audit_entry_by_time on penstock.audit_entry (clinic_id, recorded_on, at, lane, number);
create index audit_entry_by_actor on penstock.audit_entry (clinic_id, actor_id, recorded_on, at);
create index audit_entry_of_emergencies on penstock.audit_entry (clinic_id, recorded_on, at) where emergency;
comment on table penstock.audit_entry is 'What was done or refused, by whom, from where, with whose data; a row is never changed';
comment on column penstock.audit_entry.clinic_id is 'Clinic of the actor; nil: unknown';
comment on column penstock.audit_entry.lane is 'Which of the clinic''s chains';
comment on column penstock.audit_entry.number is 'Place in the chain, from 1 without gaps';
comment on column penstock.audit_entry.recorded_on is 'UTC date of at: in which partition it is';
comment on column penstock.audit_entry.at is 'When it was recorded, by the database''s clock';
comment on column penstock.audit_entry.actor_id is 'Account or token; nil: the program itself; null: nobody known';
comment on column penstock.audit_entry.actor_name is 'Username or token''s name at that time';
comment on column penstock.audit_entry.actor_kind is 'person, token, program or nobody';
comment on column penstock.audit_entry.actor_roles is 'Sum of the role numbers at that time, as in account.roles';
comment on column penstock.audit_entry.address is 'Network address that the request came from; empty: a command';
comment on column penstock.audit_entry.request_id is 'X-Request-Id, by which the log names the request';
comment on column penstock.audit_entry.action is 'read, create, change, remove or restore: server/auth/access.h';
comment on column penstock.audit_entry.resource is 'What it is done to: server/auth/access.h';
comment on column penstock.audit_entry.what is 'Method and pattern of the route, or the command';
comment on column penstock.audit_entry.object_type is 'What object_id is: patients, studies, recordings, users, tokens, ... as in the path';
comment on column penstock.audit_entry.object_id is 'What the request named or made';
comment on column penstock.audit_entry.patient_ids is 'Every patient whose data were asked for, shown or changed';
comment on column penstock.audit_entry.emergency is 'Whether emergency access was taken, or was open to one of the patients';
comment on column penstock.audit_entry.status is 'HTTP status of the answer; 0: a command';
comment on column penstock.audit_entry.outcome is 'done, refused (the caller''s fault or no right) or failed (the server''s)';
comment on column penstock.audit_entry.reason is 'Why, in the actor''s words; empty: none was asked for';
comment on column penstock.audit_entry.detail is 'What else is to be known of it';
comment on column penstock.audit_entry.previous_hash is 'hash of the entry before; zeros: this is the first';
comment on column penstock.audit_entry.hash is 'audit_hash() of the row';

-- An index over patient_ids could not be used: row-level security is asked first, and no operator of
-- arrays is leakproof. This stays small however often the same person looks.
create table penstock.audit_patient_day (
    clinic_id uuid not null,
    patient_id uuid not null,
    recorded_on date not null,
    actor_id uuid not null,
    primary key (clinic_id, patient_id, recorded_on, actor_id)
);
comment on table penstock.audit_patient_day is 'On which days and by whom there are entries about a patient: how they are found';
comment on column penstock.audit_patient_day.clinic_id is 'Clinic of the entries';
comment on column penstock.audit_patient_day.patient_id is 'One of their patient_ids';
comment on column penstock.audit_patient_day.recorded_on is 'Their recorded_on';
comment on column penstock.audit_patient_day.actor_id is 'Their actor_id';

-- ---- what is never changed ----

create function penstock.guard_lane() returns trigger
    language plpgsql
as $$
begin
    if new.clinic_id <> old.clinic_id or new.lane <> old.lane or new.number <> old.number + 1 then
        raise exception 'a lane of the audit only goes on by one' using errcode = 'PS002';
    end if;
    return new;
end $$;
comment on function penstock.guard_lane() is 'Trigger: the head of a lane moves to the next entry only';
create trigger goes_on before update on penstock.audit_lane
    for each row execute function penstock.guard_lane();

create trigger no_delete before delete on penstock.audit_lane
    for each statement execute function penstock.refuse_removal();
create trigger no_truncate before truncate on penstock.audit_lane
    for each statement execute function penstock.refuse_removal();
create trigger no_update before update on penstock.audit_entry
    for each statement execute function penstock.refuse_change();
create trigger no_delete before delete on penstock.audit_entry
    for each statement execute function penstock.refuse_removal();
create trigger no_truncate before truncate on penstock.audit_entry
    for each statement execute function penstock.refuse_removal();
create trigger no_update before update on penstock.audit_patient_day
    for each statement execute function penstock.refuse_change();
create trigger no_delete before delete on penstock.audit_patient_day
    for each statement execute function penstock.refuse_removal();
create trigger no_truncate before truncate on penstock.audit_patient_day
    for each statement execute function penstock.refuse_removal();

-- ---- one clinic sees its own rows ----

do $$
declare
    relation text;
begin
    foreach relation in array array['audit_lane', 'audit_entry', 'audit_patient_day'] loop
        execute format('alter table penstock.%I enable row level security', relation);
        execute format('alter table penstock.%I force row level security', relation);
        execute format('create policy clinic_only on penstock.%I'
                       ' using (clinic_id = nullif(current_setting(''penstock.clinic'', true), '''')::uuid)'
                       ' with check (clinic_id = nullif(current_setting(''penstock.clinic'', true), '''')::uuid)',
                       relation);
    end loop;
end $$;
-- Entries of no clinic are for the owner, whose alone the lanes are.
create policy of_a_clinic on penstock.audit_entry as restrictive
    using (clinic_id <> '00000000-0000-0000-0000-000000000000'
           or has_table_privilege('penstock.audit_lane', 'update'));

-- ---- partitions, as those of 0007 ----

create or replace function penstock.make_partitions(last_year integer) returns void
    language plpgsql
as $$
declare
    parent text;
    year integer;
begin
    foreach parent in array array['sample_block', 'recording_revision', 'recording_chunk', 'audit_entry'] loop
        if to_regclass(format('penstock.%I', parent || '_rest')) is null then
            execute format('create table penstock.%I partition of penstock.%I default',
                           parent || '_rest', parent);
            perform penstock.guard_partition(parent, parent || '_rest', 'years without one of their own');
        end if;
        for year in 2025..last_year loop
            continue when to_regclass(format('penstock.%I', parent || '_' || year)) is not null;
            begin
                execute format('create table penstock.%I partition of penstock.%I for values from (%L) to (%L)',
                               parent || '_' || year, parent, make_date(year, 1, 1), make_date(year + 1, 1, 1));
                perform penstock.guard_partition(parent, parent || '_' || year,
                                                 case parent when 'audit_entry' then 'entries of '
                                                      else 'recordings received in ' end || year);
            exception when check_violation then
                null; -- rows of that year are with the rest already, and stay there
            end;
        end loop;
    end loop;
end $$;

do $$
begin
    perform penstock.make_partitions(extract(year from now())::integer + 2);
end $$;

-- ---- lanes ----

create function penstock.add_lanes() returns trigger
    language plpgsql security definer set search_path = pg_catalog, pg_temp
as $$
declare
    outer_clinic constant text := coalesce(current_setting('penstock.clinic', true), '');
begin
    perform set_config('penstock.clinic', new.clinic_id::text, true);
    insert into penstock.audit_lane (clinic_id, lane) select new.clinic_id, l from generate_series(0, 15) l;
    perform set_config('penstock.clinic', outer_clinic, true);
    return null;
end $$;
comment on function penstock.add_lanes() is 'Trigger: a clinic begins with its lanes';
revoke all on function penstock.add_lanes() from public;
create trigger has_lanes after insert on penstock.clinic
    for each row execute function penstock.add_lanes();

alter table penstock.clinic no force row level security;
alter table penstock.audit_lane no force row level security;
insert into penstock.audit_lane (clinic_id, lane)
    select c.clinic_id, l
      from (select clinic_id from penstock.clinic union all
            select '00000000-0000-0000-0000-000000000000'::uuid) c, generate_series(0, 15) l;
alter table penstock.audit_lane force row level security;
alter table penstock.clinic force row level security;

-- ---- hashes ----

create function penstock.audit_field(value text) returns bytea
    language sql stable parallel safe
    return case when value is null then '\xffffffff'::bytea
           else int4send(octet_length(convert_to(value, 'UTF8'))) || convert_to(value, 'UTF8') end;
comment on function penstock.audit_field(text) is
    'A value as it is hashed: its length, 4 bytes with the most significant first, and its UTF-8; null: ff ff ff ff';
revoke all on function penstock.audit_field(text) from public;

create function penstock.audit_hash(entry penstock.audit_entry) returns bytea
    language sql stable
    return sha256(entry.previous_hash
        || penstock.audit_field(entry.clinic_id::text) || penstock.audit_field(entry.lane::text)
        || penstock.audit_field(entry.number::text)
        || penstock.audit_field(to_char(entry.recorded_on, 'YYYY-MM-DD'))
        || penstock.audit_field(penstock.unix_us(entry.at)::text)
        || penstock.audit_field(entry.actor_id::text) || penstock.audit_field(entry.actor_name)
        || penstock.audit_field(entry.actor_kind) || penstock.audit_field(entry.actor_roles::text)
        || penstock.audit_field(entry.address) || penstock.audit_field(entry.request_id)
        || penstock.audit_field(entry.action) || penstock.audit_field(entry.resource)
        || penstock.audit_field(entry.what) || penstock.audit_field(entry.object_type)
        || penstock.audit_field(entry.object_id::text) || penstock.audit_field(entry.patient_ids::text)
        || penstock.audit_field(entry.emergency::text) || penstock.audit_field(entry.status::text)
        || penstock.audit_field(entry.outcome) || penstock.audit_field(entry.reason)
        || penstock.audit_field(entry.detail));
comment on function penstock.audit_hash(penstock.audit_entry) is
    'SHA-256 of previous_hash and every other column in the order of the table; server/store/store_audit_verify.c has the same';
revoke all on function penstock.audit_hash(penstock.audit_entry) from public;

-- ---- whose credential was refused ----

create function penstock.audit_holder(kind text, credential text)
    returns table (clinic_id uuid, actor_id uuid, actor_name text, actor_kind text, actor_roles integer)
    language plpgsql volatile set search_path = pg_catalog, pg_temp
as $$
#variable_conflict use_column
declare
    clinic uuid;
    account uuid;
begin
    perform set_config('penstock.lookup', lower(credential), true);
    if kind = 'username' then
        select a.clinic_id, a.id into clinic, account from penstock.account a where a.username = lower(credential);
    elsif kind = 'session' then
        select s.clinic_id, s.account_id into clinic, account from penstock.session s
         where s.session_hash = decode(credential, 'hex');
    elsif kind = 'token' then
        select t.clinic_id into clinic from penstock.api_token t where t.token_hash = decode(credential, 'hex');
    end if;
    perform set_config('penstock.lookup', '', true);
    perform set_config('penstock.clinic', coalesce(clinic::text, ''), true);
    if kind = 'token' then
        return query select t.clinic_id, t.id, t.name, 'token', t.roles from penstock.api_token t
                      where t.clinic_id = clinic and t.token_hash = decode(credential, 'hex');
    else
        return query select a.clinic_id, a.id, a.username, 'person', a.roles from penstock.account a
                      where a.clinic_id = clinic and a.id = account;
    end if;
end $$;
comment on function penstock.audit_holder(text, text) is
    'Whose a username, a session (hash) or a token (hash) is, also when it is over, revoked or inactive; leaves penstock.clinic there';
revoke all on function penstock.audit_holder(text, text) from public;

-- ---- the one way in ----

-- new_clinic null: whose credential it is decides, and of a credential that is nobody's an entry is
-- made only if keep_unknown. Gives whether there is an entry now. (Migrations 12 and 13 make some of the
-- tables that it reads; nothing calls it before.)
create function penstock.audit_append(
    new_clinic uuid, new_actor uuid, new_actor_name text, new_actor_kind text, new_actor_roles integer,
    new_address text, new_request_id text, new_action text, new_resource text, new_what text,
    new_object_type text, new_object uuid, new_patients uuid[], new_status integer, new_reason text,
    new_detail text, credential_kind text, credential text, keep_unknown boolean)
    returns boolean
    language plpgsql volatile security definer set search_path = pg_catalog, pg_temp
as $$
declare
    nil constant uuid := '00000000-0000-0000-0000-000000000000';
    outer_clinic constant text := coalesce(current_setting('penstock.clinic', true), '');
    outer_reach constant text := coalesce(current_setting('penstock.reach', true), '');
    wanted_lane smallint;
    e penstock.audit_entry;
begin
    if outer_clinic <> '' and outer_clinic is distinct from new_clinic::text then
        raise exception 'an entry of another clinic' using errcode = 'insufficient_privilege';
    end if;
    if new_clinic is null then
        select h.clinic_id, h.actor_id, h.actor_name, h.actor_kind, h.actor_roles
          into e.clinic_id, e.actor_id, e.actor_name, e.actor_kind, e.actor_roles
          from penstock.audit_holder(credential_kind, credential) h;
        if e.clinic_id is null then
            if not keep_unknown then
                perform set_config('penstock.clinic', outer_clinic, true);
                return false;
            end if;
            e.clinic_id := nil;
            e.actor_name := '';
            e.actor_kind := 'nobody';
            e.actor_roles := 0;
        end if;
    else
        e.clinic_id := new_clinic;
        e.actor_id := new_actor;
        e.actor_name := new_actor_name;
        e.actor_kind := new_actor_kind;
        e.actor_roles := new_actor_roles;
    end if;
    perform set_config('penstock.clinic', e.clinic_id::text, true), set_config('penstock.reach', 'clinic', true);

    select coalesce(array_agg(distinct p.id order by p.id), '{}') into e.patient_ids from (
        select unnest(new_patients) as id
        union all
        select t.id from penstock.patient t
         where new_object_type = 'patients' and t.clinic_id = e.clinic_id and t.id = new_object
        union all
        select s.patient_id from penstock.study s
         where new_object_type = 'studies' and s.clinic_id = e.clinic_id and s.id = new_object
        union all
        select s.patient_id from penstock.recording r
          join penstock.study s on s.clinic_id = r.clinic_id and s.id = r.study_id
         where new_object_type = 'recordings' and r.clinic_id = e.clinic_id and r.id = new_object
        union all
        select s.patient_id from penstock.study_link k
          join penstock.study s on s.clinic_id = k.clinic_id and s.id = k.study_id
         where new_object_type = 'links' and k.clinic_id = e.clinic_id and k.id = new_object
        union all
        select q.patient_id from penstock.erasure_request q
         where new_object_type = 'erasures' and q.clinic_id = e.clinic_id and q.id = new_object) p;
    e.emergency := new_resource = 'emergency_access' or (e.actor_kind = 'person' and exists (
        select from penstock.emergency_access a
         where a.clinic_id = e.clinic_id and a.account_id = e.actor_id
           and a.patient_id = any (e.patient_ids) and a.expires_at > now()));
    e.address := new_address;
    e.request_id := new_request_id;
    e.action := new_action;
    e.resource := new_resource;
    e.what := new_what;
    e.object_type := new_object_type;
    e.object_id := new_object;
    e.status := new_status;
    e.outcome := case when new_status >= 500 then 'failed' when new_status >= 400 then 'refused' else 'done' end;
    e.reason := new_reason;
    e.detail := new_detail;

    select l.lane, l.number + 1, l.hash into e.lane, e.number, e.previous_hash
      from penstock.audit_lane l where l.clinic_id = e.clinic_id
     order by l.lane limit 1 for update skip locked;
    if not found then
        wanted_lane := floor(random() * 16);
        select l.lane, l.number + 1, l.hash into e.lane, e.number, e.previous_hash
          from penstock.audit_lane l where l.clinic_id = e.clinic_id and l.lane = wanted_lane for update;
        if not found then
            raise exception 'a clinic without lanes of the audit' using errcode = 'PS004';
        end if;
    end if;
    e.at := clock_timestamp(); -- not before the lane is held: in a lane time goes on as the numbers do
    e.recorded_on := (e.at at time zone 'UTC')::date;
    e.hash := penstock.audit_hash(e);
    insert into penstock.audit_entry select e.*;
    update penstock.audit_lane l set number = e.number, hash = e.hash
     where l.clinic_id = e.clinic_id and l.lane = e.lane;
    insert into penstock.audit_patient_day (clinic_id, patient_id, recorded_on, actor_id)
        select e.clinic_id, p, e.recorded_on, coalesce(e.actor_id, nil) from unnest(e.patient_ids) p
         where not exists (select from penstock.audit_patient_day d
                            where d.clinic_id = e.clinic_id and d.patient_id = p
                              and d.recorded_on = e.recorded_on and d.actor_id = coalesce(e.actor_id, nil))
         order by p on conflict do nothing;
    perform set_config('penstock.clinic', outer_clinic, true), set_config('penstock.reach', outer_reach, true);
    return true;
end $$;
comment on function penstock.audit_append(uuid, uuid, text, text, integer, text, text, text, text, text, text, uuid,
    uuid[], integer, text, text, text, text, boolean) is 'Adds an entry to the audit: the only way to';
revoke all on function penstock.audit_append(uuid, uuid, text, text, integer, text, text, text, text, text, text, uuid,
    uuid[], integer, text, text, text, text, boolean) from public;
grant execute on function penstock.audit_append(uuid, uuid, text, text, integer, text, text, text, text, text, text, uuid,
    uuid[], integer, text, text, text, text, boolean) to penstock_app;

-- ---- whom a record number means ----

create function penstock.audit_patient(wanted_clinic uuid, wanted_mrn text, wanted_id uuid) returns uuid
    language plpgsql volatile security definer set search_path = pg_catalog, pg_temp
as $$
declare
    outer_reach constant text := coalesce(current_setting('penstock.reach', true), '');
    found_id uuid;
begin
    perform set_config('penstock.reach', 'clinic', true);
    select p.id into found_id from penstock.patient p
     where p.clinic_id = wanted_clinic and (p.mrn = wanted_mrn or p.id = wanted_id);
    if found_id is null then
        select d.patient_id into found_id from penstock.audit_patient_day d
         where d.clinic_id = wanted_clinic and d.patient_id = wanted_id limit 1;
    end if;
    perform set_config('penstock.reach', outer_reach, true);
    return found_id;
end $$;
comment on function penstock.audit_patient(uuid, text, uuid) is
    'Id of the patient with a record number or an id, for auditors, whose reach shows them no patient; by id also of one who was erased';
revoke all on function penstock.audit_patient(uuid, text, uuid) from public;
grant execute on function penstock.audit_patient(uuid, text, uuid) to penstock_app;

-- ---- rights of the server ----

grant select on penstock.audit_entry, penstock.audit_patient_day to penstock_app;
