-- Patients and studies (one visit each).

-- Whatever is clinical stays: no role deletes it, the owner included. Where a law demands deletion,
-- the owner has to disable the trigger first, which is meant to be a deliberate act.
create function penstock.refuse_removal() returns trigger
    language plpgsql
as $$
begin
    raise exception 'rows of % are never deleted', tg_table_name using errcode = 'PS002';
end $$;
comment on function penstock.refuse_removal() is 'Trigger: clinical rows are never deleted';

create function penstock.refuse_change() returns trigger
    language plpgsql
as $$
begin
    raise exception 'rows of % are never changed', tg_table_name using errcode = 'PS002';
end $$;
comment on function penstock.refuse_change() is 'Trigger: what was recorded is never changed';

-- ---- patient ----

-- The collation is named, so that lists are in the order of people's alphabets whatever the
-- database's own collation is. The keys for searching are columns, not expressions, because the
-- planner uses only leakproof comparisons of plain columns below row-level security.
create table penstock.patient (
    clinic_id uuid not null references penstock.clinic,
    id uuid not null,
    mrn text not null check (length(mrn) between 1 and 200),
    family_name text collate "und-x-icu" not null check (length(family_name) <= 200),
    given_name text collate "und-x-icu" not null check (length(given_name) <= 200),
    family_key text collate "C" generated always as (lower(family_name)) stored,
    given_key text collate "C" generated always as (lower(given_name)) stored,
    birth_date date not null,
    sex text not null check (sex in ('male', 'female', 'other', 'unknown')),
    weight_kg double precision check (weight_kg > 0 and weight_kg < 1000),
    created_at timestamptz not null default now(),
    created_by uuid,
    version integer not null default 1,
    primary key (clinic_id, id),
    constraint patient_mrn unique (clinic_id, mrn)
);
create index patient_by_name on penstock.patient (clinic_id, family_name, given_name, id);
create index patient_by_family_key on penstock.patient (clinic_id, family_key);
create index patient_by_given_key on penstock.patient (clinic_id, given_key);
create index patient_by_birth_date on penstock.patient (clinic_id, birth_date);
comment on table penstock.patient is 'A patient of a clinic';
comment on column penstock.patient.clinic_id is 'Clinic that treats the patient';
comment on column penstock.patient.id is 'Identifier, UUID';
comment on column penstock.patient.mrn is 'Medical record number, unique in the clinic';
comment on column penstock.patient.family_name is 'Family name';
comment on column penstock.patient.given_name is 'Given name or names';
comment on column penstock.patient.family_key is 'Family name in lower case, for searching';
comment on column penstock.patient.given_key is 'Given name in lower case, for searching';
comment on column penstock.patient.birth_date is 'Date of birth';
comment on column penstock.patient.sex is 'FHIR administrative gender';
comment on column penstock.patient.weight_kg is 'Body weight in kilograms; null: not known';
comment on column penstock.patient.created_at is 'When the row was made';
comment on column penstock.patient.created_by is 'Account or token that made it';
comment on column penstock.patient.version is 'Grows by one with every change';

-- ---- study ----

create table penstock.study (
    clinic_id uuid not null,
    id uuid not null,
    patient_id uuid not null,
    room text not null check (length(room) <= 200),
    started_at timestamptz not null,
    operator_name text not null default '' check (length(operator_name) <= 200),
    position text not null default '' check (length(position) <= 200),
    catheters text not null default '',
    history json not null default '{}',
    status text not null default 'registered'
        check (status in ('registered', 'preliminary', 'final', 'amended', 'cancelled')),
    created_at timestamptz not null default now(),
    created_by uuid,
    version integer not null default 1,
    primary key (clinic_id, id),
    foreign key (clinic_id, patient_id) references penstock.patient (clinic_id, id)
);
create index study_by_time on penstock.study (clinic_id, started_at desc, id desc);
create index study_by_patient on penstock.study (clinic_id, patient_id, started_at desc, id desc);
create index study_by_room on penstock.study (clinic_id, room, started_at desc, id desc);
comment on table penstock.study is 'One visit of a patient, with any number of recordings';
comment on column penstock.study.clinic_id is 'Clinic that does the study';
comment on column penstock.study.id is 'Identifier, UUID; the room may choose it';
comment on column penstock.study.patient_id is 'Whose study it is';
comment on column penstock.study.room is 'Exam room';
comment on column penstock.study.started_at is 'Start of the visit';
comment on column penstock.study.operator_name is 'Who did the study; empty: not given';
comment on column penstock.study.position is 'Position of the patient; empty: not given';
comment on column penstock.study.catheters is 'Catheters used, free text; empty: not given';
comment on column penstock.study.history is 'Diary, pad test, medication and the like, a JSON object as given';
comment on column penstock.study.status is 'FHIR diagnostic report status: registered, preliminary, final, amended, cancelled';
comment on column penstock.study.created_at is 'When the row was made';
comment on column penstock.study.created_by is 'Account or token that made it';
comment on column penstock.study.version is 'Grows by one with every change';

-- A signed study stays as it was signed; it may only become an amended one.
create function penstock.guard_signed_study() returns trigger
    language plpgsql
as $$
begin
    if old.status in ('final', 'amended') and
       (new.status not in ('final', 'amended')
        or (old.status = 'amended' and new.status = 'final')
        or (old.clinic_id, old.id, old.patient_id, old.room, old.started_at, old.operator_name,
            old.position, old.catheters, old.history::text, old.created_at, old.created_by)
           is distinct from
           (new.clinic_id, new.id, new.patient_id, new.room, new.started_at, new.operator_name,
            new.position, new.catheters, new.history::text, new.created_at, new.created_by)) then
        raise exception 'the study is signed' using errcode = 'PS001';
    end if;
    return new;
end $$;
comment on function penstock.guard_signed_study() is 'Trigger: a signed study may only become an amended one';

create trigger signed before update on penstock.study
    for each row execute function penstock.guard_signed_study();
create trigger no_delete before delete on penstock.study
    for each statement execute function penstock.refuse_removal();
create trigger no_truncate before truncate on penstock.study
    for each statement execute function penstock.refuse_removal();
create trigger no_delete before delete on penstock.patient
    for each statement execute function penstock.refuse_removal();
create trigger no_truncate before truncate on penstock.patient
    for each statement execute function penstock.refuse_removal();

-- ---- one clinic sees its own rows ----

alter table penstock.patient enable row level security;
alter table penstock.patient force row level security;
create policy clinic_only on penstock.patient
    using (clinic_id = nullif(current_setting('penstock.clinic', true), '')::uuid)
    with check (clinic_id = nullif(current_setting('penstock.clinic', true), '')::uuid);

alter table penstock.study enable row level security;
alter table penstock.study force row level security;
create policy clinic_only on penstock.study
    using (clinic_id = nullif(current_setting('penstock.clinic', true), '')::uuid)
    with check (clinic_id = nullif(current_setting('penstock.clinic', true), '')::uuid);

-- ---- rights of the server ----

grant select, insert, update (mrn, family_name, given_name, birth_date, sex, weight_kg, version)
    on penstock.patient to penstock_app;
grant select, insert,
    update (room, started_at, operator_name, position, catheters, history, status, version)
    on penstock.study to penstock_app;
