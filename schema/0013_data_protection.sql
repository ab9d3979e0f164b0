-- Erasure with legal hold, and pseudonyms for research.

-- ---- what keeps a patient from being erased ----

create table penstock.legal_hold (
    clinic_id uuid not null,
    id uuid not null,
    patient_id uuid not null,
    reason text not null check (length(reason) between 1 and 1000),
    placed_at timestamptz not null default now(),
    placed_by uuid,
    lifted_at timestamptz,
    lifted_by uuid,
    lift_reason text check (length(lift_reason) between 1 and 1000),
    primary key (clinic_id, id),
    foreign key (clinic_id, patient_id) references penstock.patient (clinic_id, id),
    check ((lifted_at is null) = (lift_reason is null))
);
create unique index legal_hold_in_force on penstock.legal_hold (clinic_id, patient_id) where lifted_at is null;
create index legal_hold_by_patient on penstock.legal_hold (clinic_id, patient_id, placed_at);
comment on table penstock.legal_hold is 'What keeps a patient from being erased; a row ends and is never removed while the patient is there';
comment on column penstock.legal_hold.clinic_id is 'Clinic of the patient';
comment on column penstock.legal_hold.id is 'Identifier, UUID version 7';
comment on column penstock.legal_hold.patient_id is 'Whose data are held';
comment on column penstock.legal_hold.reason is 'Why, in the words of who placed it';
comment on column penstock.legal_hold.placed_at is 'Since when';
comment on column penstock.legal_hold.placed_by is 'Account or token that placed it';
comment on column penstock.legal_hold.lifted_at is 'Until when; null: in force';
comment on column penstock.legal_hold.lifted_by is 'Account or token that lifted it';
comment on column penstock.legal_hold.lift_reason is 'Why it was lifted; null: in force';

create function penstock.guard_hold() returns trigger
    language plpgsql
as $$
begin
    if old.lifted_at is not null or new.lifted_at is null
       or (old.clinic_id, old.id, old.patient_id, old.reason, old.placed_at, old.placed_by)
          is distinct from
          (new.clinic_id, new.id, new.patient_id, new.reason, new.placed_at, new.placed_by) then
        raise exception 'a legal hold is only lifted, and once' using errcode = 'PS002';
    end if;
    return new;
end $$;
comment on function penstock.guard_hold() is 'Trigger: a legal hold is lifted once and stays as it was';
create trigger only_lifted before update on penstock.legal_hold
    for each row execute function penstock.guard_hold();

-- ---- requests to erase a patient ----

-- No foreign key to the patient: the row outlives who it is about, without its words.
create table penstock.erasure_request (
    clinic_id uuid not null references penstock.clinic,
    id uuid not null,
    patient_id uuid not null,
    state text not null default 'requested'
        check (state in ('requested', 'approved', 'refused', 'withdrawn', 'carried_out')),
    reason text check (length(reason) between 1 and 1000),
    requested_at timestamptz not null default now(),
    requested_by uuid not null,
    decided_at timestamptz,
    decided_by uuid,
    decision_reason text check (length(decision_reason) between 1 and 1000),
    despite_retention boolean not null default false,
    cooling_off interval not null default interval '24 hours' check (cooling_off >= interval '24 hours'),
    ended_at timestamptz,
    ended_by uuid,
    version integer not null default 1,
    primary key (clinic_id, id),
    constraint four_eyes check (decided_by is distinct from requested_by),
    check ((decided_at is null) = (decided_by is null)),
    check (state not in ('approved', 'refused') or decided_by is not null),
    -- Words are there until the patient is erased, then none of them.
    check (case when state in ('requested', 'approved') then reason is not null
                when state = 'carried_out' then reason is null else true end),
    check ((reason is not null and decided_by is not null) = (decision_reason is not null)),
    check ((state in ('withdrawn', 'carried_out')) = (ended_at is not null))
);
create unique index erasure_request_pending on penstock.erasure_request (clinic_id, patient_id)
    where state in ('requested', 'approved');
create index erasure_request_by_time on penstock.erasure_request (clinic_id, requested_at desc, id desc);
comment on table penstock.erasure_request is 'Requests to erase a patient: one person asks, another decides, a command carries out';
comment on column penstock.erasure_request.clinic_id is 'Clinic of the patient';
comment on column penstock.erasure_request.id is 'Identifier, UUID version 7';
comment on column penstock.erasure_request.patient_id is 'Who is to be erased; once carried out, nobody any more';
comment on column penstock.erasure_request.state is 'requested, approved, refused, withdrawn or carried_out';
comment on column penstock.erasure_request.reason is 'Why, in the requester''s words; null once the patient is erased';
comment on column penstock.erasure_request.requested_at is 'When it was requested';
comment on column penstock.erasure_request.requested_by is 'Account of the person who requested it';
comment on column penstock.erasure_request.decided_at is 'When it was approved or refused';
comment on column penstock.erasure_request.decided_by is 'Account of the person who decided, never the requester';
comment on column penstock.erasure_request.decision_reason is 'Why, in the decider''s words; null once the patient is erased';
comment on column penstock.erasure_request.despite_retention is 'Approved although the clinic''s rule keeps a study of the patient for longer';
comment on column penstock.erasure_request.cooling_off is 'How long after approval nothing is erased yet';
comment on column penstock.erasure_request.ended_at is 'When it was withdrawn or carried out';
comment on column penstock.erasure_request.ended_by is 'Account or token that withdrew it; null: the program ended it, as the patient is erased';
comment on column penstock.erasure_request.version is 'Grows by one with every change';

create table penstock.erased_patient (
    clinic_id uuid not null references penstock.clinic,
    patient_id uuid not null,
    request_id uuid not null,
    erased_at timestamptz not null default now(),
    counts json not null default '{}' check (json_typeof(counts) = 'object'),
    primary key (clinic_id, patient_id)
);
comment on table penstock.erased_patient is 'What is left of an erased patient: that there was one';
comment on column penstock.erased_patient.clinic_id is 'Clinic that erased';
comment on column penstock.erased_patient.patient_id is 'Identifier that is not given to anybody again';
comment on column penstock.erased_patient.request_id is 'The erasure_request that was carried out';
comment on column penstock.erased_patient.erased_at is 'When';
comment on column penstock.erased_patient.counts is 'How many rows of each table went, a JSON object; empty: erased again in a restored copy';
create trigger no_update before update on penstock.erased_patient
    for each statement execute function penstock.refuse_change();
create trigger no_delete before delete on penstock.erased_patient
    for each statement execute function penstock.refuse_removal();
create trigger no_truncate before truncate on penstock.erased_patient
    for each statement execute function penstock.refuse_removal();
create trigger no_delete before delete on penstock.erasure_request
    for each statement execute function penstock.refuse_removal();
create trigger no_truncate before truncate on penstock.erasure_request
    for each statement execute function penstock.refuse_removal();

-- ---- pseudonyms ----

-- Both are random: nothing about the patient can be computed from them. Made with the patient, so
-- that an export only reads.
create table penstock.research_subject (
    clinic_id uuid not null,
    patient_id uuid not null,
    pseudonym uuid not null default gen_random_uuid(),
    shift_days integer not null check (shift_days between -183 and 182 and shift_days <> 0),
    primary key (clinic_id, patient_id),
    unique (clinic_id, pseudonym),
    foreign key (clinic_id, patient_id) references penstock.patient (clinic_id, id)
);
comment on table penstock.research_subject is 'What a patient is called in research exports; no route tells which patient it is';
comment on column penstock.research_subject.clinic_id is 'Clinic of the patient';
comment on column penstock.research_subject.patient_id is 'Who it is';
comment on column penstock.research_subject.pseudonym is 'Random name of the subject';
comment on column penstock.research_subject.shift_days is 'Random days by which all dates of the subject are moved where an export has dates; never 0';
create trigger no_update before update on penstock.research_subject
    for each statement execute function penstock.refuse_change();

-- 32 of a UUID's random bits; 365 does not divide 2^32, which favours some days by 1 in 10 million.
create function penstock.random_shift_days() returns integer
    language sql volatile
as $$
    select case when drawn.day < 183 then drawn.day - 183 else drawn.day - 182 end
      from (select (('x' || left(gen_random_uuid()::text, 8))::bit(32)::bigint & 4294967295) % 365 as day) wide,
           lateral (select wide.day::integer as day) drawn
$$;
comment on function penstock.random_shift_days() is 'A number of days from -183 to 182 that is not 0';

create function penstock.guard_new_patient() returns trigger
    language plpgsql
as $$
begin
    if exists (select from penstock.erased_patient e
                where e.clinic_id = new.clinic_id and e.patient_id = new.id) then
        raise exception 'the patient with this id was erased' using errcode = 'PS003';
    end if;
    return new;
end $$;
comment on function penstock.guard_new_patient() is 'Trigger: the id of an erased patient is not given again';
create trigger not_erased before insert on penstock.patient
    for each row execute function penstock.guard_new_patient();

create function penstock.add_research_subject() returns trigger
    language plpgsql
as $$
begin
    insert into penstock.research_subject (clinic_id, patient_id, shift_days)
        values (new.clinic_id, new.id, penstock.random_shift_days());
    return null;
end $$;
comment on function penstock.add_research_subject() is 'Trigger: every patient has a pseudonym from the start';
create trigger has_pseudonym after insert on penstock.patient
    for each row execute function penstock.add_research_subject();

alter table penstock.patient no force row level security;
insert into penstock.research_subject (clinic_id, patient_id, shift_days)
    select p.clinic_id, p.id, penstock.random_shift_days() from penstock.patient p;
alter table penstock.patient force row level security;

-- ---- one clinic sees its own rows ----

do $$
declare
    relation text;
begin
    foreach relation in array array['legal_hold', 'erasure_request', 'erased_patient', 'research_subject'] loop
        execute format('alter table penstock.%I enable row level security', relation);
        execute format('alter table penstock.%I force row level security', relation);
        execute format('create policy clinic_only on penstock.%I'
                       ' using (clinic_id = nullif(current_setting(''penstock.clinic'', true), '''')::uuid)'
                       ' with check (clinic_id = nullif(current_setting(''penstock.clinic'', true), '''')::uuid)',
                       relation);
    end loop;
end $$;

-- ---- who may be erased ----

-- These three ask about all of the clinic, whoever asks: who decides about an erasure need not be
-- allowed to see the patient. They put the caller's reach back.
create function penstock.count_kept_studies(wanted_clinic uuid, wanted_patient uuid) returns integer
    language plpgsql stable
as $$
declare
    outer_reach constant text := coalesce(current_setting('penstock.reach', true), '');
    kept integer;
begin
    perform set_config('penstock.reach', 'clinic', true);
    select count(*) into kept from penstock.study s
      where s.clinic_id = wanted_clinic and s.patient_id = wanted_patient
        and not penstock.retention_is_over(s.clinic_id, s.id);
    perform set_config('penstock.reach', outer_reach, true);
    return kept;
end $$;
comment on function penstock.count_kept_studies(uuid, uuid) is
    'Studies of a patient that have not been kept as long as the clinic decided; without a rule all of them';

create function penstock.patient_is_there(wanted_clinic uuid, wanted_patient uuid) returns boolean
    language plpgsql stable
as $$
declare
    outer_reach constant text := coalesce(current_setting('penstock.reach', true), '');
    is_there boolean;
begin
    perform set_config('penstock.reach', 'clinic', true);
    is_there := exists (select from penstock.patient p
                         where p.clinic_id = wanted_clinic and p.id = wanted_patient);
    perform set_config('penstock.reach', outer_reach, true);
    return is_there;
end $$;
comment on function penstock.patient_is_there(uuid, uuid) is 'Whether there is such a patient';

create function penstock.erasure_obstacle(wanted_clinic uuid, wanted_request uuid) returns text
    language plpgsql stable
as $$
declare
    outer_reach constant text := coalesce(current_setting('penstock.reach', true), '');
    obstacle text;
begin
    perform set_config('penstock.reach', 'clinic', true);
    select case
           when e.state <> 'approved' then 'not approved'
           when exists (select from penstock.legal_hold h
                         where h.clinic_id = e.clinic_id and h.patient_id = e.patient_id
                           and h.lifted_at is null) then 'held'
           when e.decided_at + e.cooling_off > now() then 'cooling off'
           when exists (select from penstock.study s
                         left join penstock.recording r on r.clinic_id = s.clinic_id and r.study_id = s.id
                         where s.clinic_id = e.clinic_id and s.patient_id = e.patient_id
                           and (s.created_at >= e.decided_at or r.received_at >= e.decided_at)) then 'new data'
           end
      into obstacle
      from penstock.erasure_request e
     where e.clinic_id = wanted_clinic and e.id = wanted_request;
    perform set_config('penstock.reach', outer_reach, true);
    return obstacle;
end $$;
comment on function penstock.erasure_obstacle(uuid, uuid) is
    'What keeps a request from being carried out: not approved, held, cooling off, new data (since approval); null: nothing, or no such request';

-- Whoever is on a list of erased patients may be erased again without a request, but not if what is
-- there speaks against the list: no copy from before the erasure holds anything that came after it.
create function penstock.again_obstacle(wanted_clinic uuid, wanted_patient uuid, first_erased_at timestamptz)
    returns text
    language plpgsql stable
as $$
declare
    outer_reach constant text := coalesce(current_setting('penstock.reach', true), '');
    obstacle text;
begin
    perform set_config('penstock.reach', 'clinic', true);
    obstacle := case
        when exists (select from penstock.legal_hold h
                      where h.clinic_id = wanted_clinic and h.patient_id = wanted_patient
                        and h.lifted_at is null) then 'held'
        when first_erased_at > now() then 'erased in the future'
        when exists (select from penstock.patient p
                      where p.clinic_id = wanted_clinic and p.id = wanted_patient
                        and p.created_at >= first_erased_at)
          or exists (select from penstock.study s
                      left join penstock.recording r on r.clinic_id = s.clinic_id and r.study_id = s.id
                      where s.clinic_id = wanted_clinic and s.patient_id = wanted_patient
                        and (s.created_at >= first_erased_at or r.received_at >= first_erased_at))
          then 'newer than the erasure' end;
    perform set_config('penstock.reach', outer_reach, true);
    return obstacle;
end $$;
comment on function penstock.again_obstacle(uuid, uuid, timestamptz) is
    'What keeps a patient from being erased again: held, erased in the future, newer than the erasure; null: nothing, or no such patient';

create function penstock.guard_erased() returns trigger
    language plpgsql
as $$
declare
    obstacle text;
begin
    if not exists (select from penstock.erasure_request e
                    where e.clinic_id = new.clinic_id and e.id = new.request_id and e.patient_id = new.patient_id
                      and e.state = 'approved' and penstock.erasure_obstacle(e.clinic_id, e.id) is null) then
        obstacle := penstock.again_obstacle(new.clinic_id, new.patient_id, new.erased_at);
    end if;
    if obstacle is not null then
        raise exception 'the patient is not noted as erased: %', obstacle using errcode = 'PS003';
    end if;
    return new;
end $$;
comment on function penstock.guard_erased() is
    'Trigger: whose erasure is not due is noted as erased only if nothing speaks against it having been before';
create trigger may_be_noted before insert on penstock.erased_patient
    for each row execute function penstock.guard_erased();

-- A patient whom this database, or the one it is a copy of, has erased before may be erased again.
create function penstock.patient_being_erased(is_due boolean default true) returns uuid
    language plpgsql stable
as $$
declare
    clinic constant uuid := nullif(current_setting('penstock.clinic', true), '')::uuid;
    request constant uuid := nullif(current_setting('penstock.erasing', true), '')::uuid;
    found_patient uuid;
begin
    if clinic is null or request is null then
        return null;
    end if;
    select d.patient_id into found_patient from penstock.erased_patient d
      where d.clinic_id = clinic and d.request_id = request;
    if not found then
        select e.patient_id into found_patient from penstock.erasure_request e
          where e.clinic_id = clinic and e.id = request and e.state = 'approved'
            and (not is_due or penstock.erasure_obstacle(e.clinic_id, e.id) is null);
    end if;
    return found_patient;
end $$;
comment on function penstock.patient_being_erased(boolean) is
    'The patient whose approved request stands in the setting penstock.erasing; null: nobody. is_due: null as well where something keeps it from being carried out';

-- Requests of a patient who is erased lose their words, and those that are pending end with it.
create function penstock.drops_words(old_row penstock.erasure_request, new_row penstock.erasure_request)
    returns boolean
    language sql stable
as $$
    select new_row.reason is null and new_row.decision_reason is null and new_row.version = old_row.version + 1
       and (old_row.clinic_id, old_row.id, old_row.patient_id, old_row.requested_at, old_row.requested_by,
            old_row.decided_at, old_row.decided_by, old_row.despite_retention, old_row.cooling_off)
           is not distinct from
           (new_row.clinic_id, new_row.id, new_row.patient_id, new_row.requested_at, new_row.requested_by,
            new_row.decided_at, new_row.decided_by, new_row.despite_retention, new_row.cooling_off)
       and ((old_row.state in ('refused', 'withdrawn')
             and (old_row.state, old_row.ended_at, old_row.ended_by)
                 is not distinct from (new_row.state, new_row.ended_at, new_row.ended_by))
            or (old_row.state in ('requested', 'approved') and new_row.state = 'withdrawn'
                and new_row.ended_by is null))
       and exists (select from penstock.erased_patient d
                    where d.clinic_id = new_row.clinic_id and d.patient_id = new_row.patient_id)
$$;
comment on function penstock.drops_words(penstock.erasure_request, penstock.erasure_request) is
    'Whether a change of a request does nothing but end it, without its words, because its patient is erased';

create function penstock.is_person(wanted_clinic uuid, wanted_account uuid, wanted_role integer) returns boolean
    language sql stable
as $$
    select exists (select from penstock.account a
                    where a.clinic_id = wanted_clinic and a.id = wanted_account and a.active
                      and a.roles & wanted_role <> 0)
$$;
comment on function penstock.is_person(uuid, uuid, integer) is 'Whether an account is active and has a role (account.roles)';

-- The people are looked up, not referred to: the row stays as long as the clinic does. Asking is a
-- physician's (4), deciding an administrator's (64); who has left since is not one of the two.
create function penstock.guard_erasure() returns trigger
    language plpgsql
as $$
begin
    if tg_op = 'INSERT' then
        if new.state <> 'requested' or new.decided_by is not null or new.version <> 1
           or not penstock.patient_is_there(new.clinic_id, new.patient_id)
           or not penstock.is_person(new.clinic_id, new.requested_by, 4) then
            raise exception 'an erasure begins with a physician''s request about a patient' using errcode = 'PS003';
        end if;
        return new;
    end if;
    if penstock.drops_words(old, new) then
        return new;
    end if;
    if new.version <> old.version + 1
       or (old.clinic_id, old.id, old.patient_id, old.requested_at, old.requested_by, old.cooling_off)
          is distinct from
          (new.clinic_id, new.id, new.patient_id, new.requested_at, new.requested_by, new.cooling_off)
       or (new.state <> 'carried_out' and new.reason is distinct from old.reason) then
        raise exception 'what was requested does not change' using errcode = 'PS002';
    end if;
    if old.state = 'requested' and new.state in ('approved', 'refused') then
        new.decided_at := now();
        if not penstock.is_person(new.clinic_id, new.decided_by, 64) then
            raise exception 'an administrator decides about an erasure' using errcode = 'PS003';
        end if;
        if new.state = 'approved' and not penstock.is_person(new.clinic_id, new.requested_by, 4) then
            raise exception 'who asked is no physician any more' using errcode = 'PS003';
        end if;
        if new.state = 'approved' and exists (select from penstock.legal_hold h
                where h.clinic_id = new.clinic_id and h.patient_id = new.patient_id and h.lifted_at is null) then
            raise exception 'the patient is on legal hold' using errcode = 'PS003';
        end if;
        if new.state = 'approved' and not new.despite_retention
           and penstock.count_kept_studies(new.clinic_id, new.patient_id) > 0 then
            raise exception 'the clinic keeps a study for longer' using errcode = 'PS003';
        end if;
        return new;
    end if;
    if (old.decided_at, old.decided_by, old.despite_retention)
       is distinct from (new.decided_at, new.decided_by, new.despite_retention) then
        raise exception 'what was decided does not change' using errcode = 'PS002';
    end if;
    if old.state in ('requested', 'approved') and new.state = 'withdrawn'
       and new.decision_reason is not distinct from old.decision_reason then
        new.ended_at := now();
        return new;
    end if;
    if old.state <> 'carried_out' and new.state = 'carried_out'
       and exists (select from penstock.erased_patient d
                    where d.clinic_id = new.clinic_id and d.patient_id = new.patient_id and d.request_id = new.id) then
        return new;
    end if;
    raise exception 'an erasure goes from % to nothing of the kind', old.state using errcode = 'PS002';
end $$;
comment on function penstock.guard_erasure() is
    'Trigger: a physician requests, another person, an administrator, decides, nothing held or kept is approved, and only what was erased is carried out';
create trigger in_order before insert or update on penstock.erasure_request
    for each row execute function penstock.guard_erasure();

-- ---- where a patient's rows are ----

-- Every table that holds something of a patient, children first. `key` says whose id finds the rows:
-- recording_id, study_id, patient_id, or id for the patient. A table that is not there is passed over.
create function penstock.patient_tables() returns table (place integer, relation text, key text)
    language sql immutable
as $$
    values (1, 'sample_block', 'recording_id'), (2, 'recording_revision', 'recording_id'),
           (3, 'recording_chunk', 'recording_id'), (4, 'recording_change', 'recording_id'),
           (5, 'recording_channel', 'recording_id'), (6, 'recording', 'study_id'),
           (7, 'study_link', 'study_id'), (8, 'study', 'patient_id'), (9, 'referral', 'patient_id'),
           (10, 'emergency_access', 'patient_id'), (11, 'legal_hold', 'patient_id'),
           (12, 'research_subject', 'patient_id'), (13, 'patient', 'id')
$$;
comment on function penstock.patient_tables() is 'The tables that an erasure empties of a patient, in this order';

-- ---- clinical rows go only by an erasure ----

-- Without arguments: never. With 'erasure' for a statement: only during one; with 'erasure' and a
-- key for a row: only if the row is that patient's.
create or replace function penstock.refuse_removal() returns trigger
    language plpgsql
as $$
declare
    patient uuid;
    allowed boolean := false;
begin
    if tg_op = 'DELETE' and tg_nargs > 0 and tg_argv[0] = 'erasure' then
        -- Whether it is due is asked once a statement: there may be thousands of rows.
        patient := penstock.patient_being_erased(tg_level = 'STATEMENT');
        if patient is not null then
            if tg_level = 'STATEMENT' then
                allowed := true;
            elsif tg_argv[1] = 'id' then
                allowed := old.id = patient;
            elsif tg_argv[1] = 'patient_id' then
                allowed := old.patient_id = patient;
            elsif tg_argv[1] = 'study_id' then
                allowed := exists (select from penstock.study s
                                    where s.clinic_id = old.clinic_id and s.id = old.study_id
                                      and s.patient_id = patient);
            elsif tg_argv[1] = 'recording_id' then
                allowed := exists (select from penstock.recording r
                                    join penstock.study s on s.clinic_id = r.clinic_id and s.id = r.study_id
                                    where r.clinic_id = old.clinic_id and r.id = old.recording_id
                                      and s.patient_id = patient);
            end if;
        end if;
    end if;
    if not allowed then
        raise exception 'rows of % are never deleted', tg_table_name using errcode = 'PS002';
    end if;
    return old;
end $$;
comment on function penstock.refuse_removal() is
    'Trigger: clinical rows are never deleted, but for a patient''s own in an erasure that was approved and is due';

do $$
declare
    part record;
begin
    for part in select t.relation, t.key from penstock.patient_tables() t
                 where to_regclass(format('penstock.%I', t.relation)) is not null loop
        execute format('drop trigger if exists no_delete on penstock.%I', part.relation);
        execute format('drop trigger if exists no_truncate on penstock.%I', part.relation);
        execute format('create trigger no_delete before delete on penstock.%I'
                       ' for each statement execute function penstock.refuse_removal(''erasure'')', part.relation);
        execute format('create trigger only_erased before delete on penstock.%I'
                       ' for each row execute function penstock.refuse_removal(''erasure'', %L)',
                       part.relation, part.key);
        execute format('create trigger no_truncate before truncate on penstock.%I'
                       ' for each statement execute function penstock.refuse_removal()', part.relation);
    end loop;
end $$;

-- ---- erasing ----

-- Takes the locks that an upload, a change or a new visit would need, so that nothing comes in
-- between: what does wait finds nobody any more.
create function penstock.lock_patient(wanted_clinic uuid, wanted_patient uuid) returns void
    language plpgsql
as $$
begin
    perform from penstock.patient p
      where p.clinic_id = wanted_clinic and p.id = wanted_patient for update;
    perform from penstock.study s
      where s.clinic_id = wanted_clinic and s.patient_id = wanted_patient order by s.id for update;
    perform from penstock.recording r
      where r.clinic_id = wanted_clinic
        and r.study_id in (select s.id from penstock.study s
                            where s.clinic_id = wanted_clinic and s.patient_id = wanted_patient)
      order by r.id for update;
end $$;
comment on function penstock.lock_patient(uuid, uuid) is 'Locks a patient with all studies and recordings';
revoke all on function penstock.lock_patient(uuid, uuid) from public;

-- Answers that requests with an Idempotency-Key got hold what they made; they go with it.
create function penstock.forget_answers(wanted_clinic uuid, ids text[]) returns bigint
    language plpgsql
as $$
declare
    forgotten bigint;
begin
    delete from penstock.idempotency i
     where i.clinic_id = wanted_clinic
       and exists (select from unnest(ids) as wanted (id)
                    where position(wanted.id in coalesce(i.location, '')) > 0
                       or position(convert_to(wanted.id, 'UTF8') in coalesce(i.body, '')) > 0);
    get diagnostics forgotten = row_count;
    return forgotten;
end $$;
comment on function penstock.forget_answers(uuid, text[]) is 'Removes remembered answers that mention one of the ids';
revoke all on function penstock.forget_answers(uuid, text[]) from public;

-- Removes every row and says how many of each table. The triggers decide whether it may.
create function penstock.remove_patient(wanted_clinic uuid, wanted_patient uuid) returns jsonb
    language plpgsql
as $$
declare
    part record;
    removed bigint;
    counts jsonb := '{}';
    studies constant uuid[] := array(select s.id from penstock.study s
        where s.clinic_id = wanted_clinic and s.patient_id = wanted_patient);
    recordings constant uuid[] := array(select r.id from penstock.recording r
        where r.clinic_id = wanted_clinic and r.study_id = any (studies));
    requests constant uuid[] := array(select e.id from penstock.erasure_request e
        where e.clinic_id = wanted_clinic and e.patient_id = wanted_patient);
begin
    counts := counts || jsonb_build_object('idempotency', penstock.forget_answers(
        wanted_clinic, (wanted_patient || studies || recordings || requests)::text[]));
    for part in select t.relation, t.key from penstock.patient_tables() t order by t.place loop
        continue when to_regclass(format('penstock.%I', part.relation)) is null;
        execute format('delete from penstock.%I t where t.clinic_id = $1 and t.%I = any ($2)',
                       part.relation, part.key)
            using wanted_clinic, case part.key when 'recording_id' then recordings
                                               when 'study_id' then studies
                                               else array[wanted_patient] end;
        get diagnostics removed = row_count;
        counts := counts || jsonb_build_object(part.relation, removed);
    end loop;
    return counts;
end $$;
comment on function penstock.remove_patient(uuid, uuid) is 'Removes all rows of a patient during an erasure';
revoke all on function penstock.remove_patient(uuid, uuid) from public;

-- The audit gets its entry with the work itself, as from every command.
create function penstock.end_erasure(wanted_clinic uuid, wanted_request uuid, wanted_patient uuid, command text)
    returns void
    language plpgsql
as $$
begin
    perform penstock.audit_append(
        wanted_clinic, '00000000-0000-0000-0000-000000000000', '', 'program', 0, '', '', 'remove', 'erasures',
        command, 'erasures', wanted_request, array[wanted_patient], 0, '', '', null, null, false);
    update penstock.erasure_request e
       set state = 'carried_out', reason = null, decision_reason = null, ended_at = now(), version = e.version + 1
     where e.clinic_id = wanted_clinic and e.id = wanted_request and e.state <> 'carried_out';
    update penstock.erasure_request e
       set state = case when e.state in ('requested', 'approved') then 'withdrawn' else e.state end,
           reason = null, decision_reason = null, ended_at = case when e.state = 'refused' then null
           else coalesce(e.ended_at, now()) end, version = e.version + 1
     where e.clinic_id = wanted_clinic and e.patient_id = wanted_patient and e.reason is not null;
    perform set_config('penstock.erasing', '', true);
end $$;
comment on function penstock.end_erasure(uuid, uuid, uuid, text) is 'Notes that a request was carried out, and drops the words of all requests about the patient';
revoke all on function penstock.end_erasure(uuid, uuid, uuid, text) from public;

-- With the rights of who calls it: only the owner of the tables may delete.
create function penstock.erase_patient(wanted_clinic uuid, wanted_request uuid) returns jsonb
    language plpgsql volatile
as $$
declare
    wanted_patient uuid;
    counts jsonb;
begin
    perform set_config('penstock.clinic', wanted_clinic::text, true),
            set_config('penstock.reach', 'clinic', true),
            set_config('penstock.erasing', wanted_request::text, true);
    select e.patient_id into wanted_patient from penstock.erasure_request e
      where e.clinic_id = wanted_clinic and e.id = wanted_request for update;
    perform penstock.lock_patient(wanted_clinic, wanted_patient);
    -- Asked only now: while we waited for the locks somebody may have placed a hold.
    if penstock.patient_being_erased() is distinct from wanted_patient or wanted_patient is null
       or exists (select from penstock.erased_patient d
                   where d.clinic_id = wanted_clinic and d.request_id = wanted_request) then
        raise exception 'no approved erasure that is due' using errcode = 'PS003';
    end if;
    counts := penstock.remove_patient(wanted_clinic, wanted_patient);
    insert into penstock.erased_patient (clinic_id, patient_id, request_id, counts)
        values (wanted_clinic, wanted_patient, wanted_request, counts::json);
    perform penstock.end_erasure(wanted_clinic, wanted_request, wanted_patient, 'penstock-server erase');
    return counts;
end $$;
comment on function penstock.erase_patient(uuid, uuid) is
    'Carries out an approved request that is due and returns how many rows of each table went';
revoke all on function penstock.erase_patient(uuid, uuid) from public;

-- What a backup brought back goes again, without a request of this database: approvals that the copy
-- knows are older than the erasure. What else it knows is asked. Locks first, so that it stays true.
create function penstock.erase_again(wanted_clinic uuid, wanted_patient uuid, wanted_request uuid,
                                     first_erased_at timestamptz) returns jsonb
    language plpgsql volatile
as $$
declare
    obstacle text;
    counts jsonb;
begin
    perform set_config('penstock.clinic', wanted_clinic::text, true),
            set_config('penstock.reach', 'clinic', true),
            set_config('penstock.erasing', wanted_request::text, true);
    perform penstock.lock_patient(wanted_clinic, wanted_patient);
    obstacle := penstock.again_obstacle(wanted_clinic, wanted_patient, first_erased_at);
    if obstacle is not null then
        perform set_config('penstock.erasing', '', true);
        return jsonb_build_object('obstacle', obstacle);
    end if;
    insert into penstock.erased_patient (clinic_id, patient_id, request_id, erased_at)
        values (wanted_clinic, wanted_patient, wanted_request, first_erased_at) on conflict do nothing;
    counts := penstock.remove_patient(wanted_clinic, wanted_patient);
    perform penstock.end_erasure(wanted_clinic, wanted_request, wanted_patient,
                                 'penstock-server erase --again --restored');
    return counts;
end $$;
comment on function penstock.erase_again(uuid, uuid, uuid, timestamptz) is
    'Erases a patient who came back with a backup, and returns how many rows of each table went, or {"obstacle": why not}';
revoke all on function penstock.erase_again(uuid, uuid, uuid, timestamptz) from public;

-- ---- who it was, for people who read a patient's file ----

create function penstock.actor(wanted_clinic uuid, wanted_id uuid) returns json
    language sql stable
as $$
    select case when wanted_id is not null then json_build_object('id', wanted_id, 'name', coalesce(
        (select a.display_name from penstock.account a where a.clinic_id = wanted_clinic and a.id = wanted_id),
        (select t.name from penstock.api_token t where t.clinic_id = wanted_clinic and t.id = wanted_id))) end
$$;
comment on function penstock.actor(uuid, uuid) is 'Account or token with its name, as JSON; null: the program';

-- ---- rights of the server ----

grant select, insert, update (lifted_at, lifted_by, lift_reason) on penstock.legal_hold to penstock_app;
grant select, insert (clinic_id, id, patient_id, reason, requested_by),
    update (state, decided_by, decided_at, decision_reason, despite_retention, ended_at, ended_by, version)
    on penstock.erasure_request to penstock_app;
grant select on penstock.erased_patient to penstock_app;
grant select, insert on penstock.research_subject to penstock_app;
