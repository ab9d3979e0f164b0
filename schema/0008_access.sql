-- How far a caller reaches within the clinic: open work, patients referred, emergency access.
--
-- Every transaction says in penstock.reach whose data it may see: 'clinic', 'open', 'referred',
-- 'open referred' or 'nobody'. Where nothing is said nothing is seen.

-- ---- referral ----

create table penstock.referral (
    clinic_id uuid not null,
    patient_id uuid not null,
    referrer_id uuid not null,
    created_at timestamptz not null default now(),
    created_by uuid,
    ended_at timestamptz,
    primary key (clinic_id, patient_id, referrer_id),
    foreign key (clinic_id, patient_id) references penstock.patient (clinic_id, id),
    foreign key (clinic_id, referrer_id) references penstock.account (clinic_id, id)
);
create index referral_by_referrer on penstock.referral (clinic_id, referrer_id, patient_id);
comment on table penstock.referral is 'Who referred a patient, and so may read what was found';
comment on column penstock.referral.clinic_id is 'Clinic of the patient';
comment on column penstock.referral.patient_id is 'Who was referred';
comment on column penstock.referral.referrer_id is 'Account of the physician who referred';
comment on column penstock.referral.created_at is 'When the row was made, or made valid again';
comment on column penstock.referral.created_by is 'Account or token that made it';
comment on column penstock.referral.ended_at is 'When it ended; null: valid';

-- ---- emergency access ----

create table penstock.emergency_access (
    clinic_id uuid not null,
    id uuid not null,
    patient_id uuid not null,
    account_id uuid not null,
    reason text not null check (length(reason) between 10 and 1000),
    created_at timestamptz not null default now(),
    expires_at timestamptz not null check (expires_at <= created_at + interval '1 hour'),
    primary key (clinic_id, id),
    foreign key (clinic_id, patient_id) references penstock.patient (clinic_id, id),
    foreign key (clinic_id, account_id) references penstock.account (clinic_id, id)
);
create index emergency_access_by_account on penstock.emergency_access (clinic_id, account_id, patient_id, expires_at);
comment on table penstock.emergency_access is 'Access that a person has taken to a patient beyond the usual reach; a row is never changed';
comment on column penstock.emergency_access.clinic_id is 'Clinic of the patient';
comment on column penstock.emergency_access.id is 'Identifier, UUID version 7';
comment on column penstock.emergency_access.patient_id is 'Whose data were opened';
comment on column penstock.emergency_access.account_id is 'Who opened them';
comment on column penstock.emergency_access.reason is 'Why, in that person''s words';
comment on column penstock.emergency_access.created_at is 'When it began';
comment on column penstock.emergency_access.expires_at is 'When it ends, an hour later at most';

create trigger no_update before update on penstock.emergency_access
    for each statement execute function penstock.refuse_change();
create trigger no_delete before delete on penstock.emergency_access
    for each statement execute function penstock.refuse_removal();
create trigger no_truncate before truncate on penstock.emergency_access
    for each statement execute function penstock.refuse_removal();

-- ---- one clinic sees its own rows ----

do $$
declare
    relation text;
begin
    foreach relation in array array['referral', 'emergency_access'] loop
        execute format('alter table penstock.%I enable row level security', relation);
        execute format('alter table penstock.%I force row level security', relation);
        execute format('create policy clinic_only on penstock.%I'
                       ' using (clinic_id = nullif(current_setting(''penstock.clinic'', true), '''')::uuid)'
                       ' with check (clinic_id = nullif(current_setting(''penstock.clinic'', true), '''')::uuid)',
                       relation);
    end loop;
end $$;

-- ---- what a transaction reaches ----

-- plpgsql, so that the planner leaves it a call: inlined, the queries in it would be bound by the
-- policies that call it.
create function penstock.is_open_to_actor(wanted_clinic uuid, wanted_patient uuid) returns boolean
    language plpgsql stable cost 1
as $$
begin
    return exists (
        select from penstock.emergency_access e
         where e.clinic_id = wanted_clinic and e.patient_id = wanted_patient
           and e.account_id = nullif(current_setting('penstock.actor', true), '')::uuid
           and e.expires_at > now());
end $$;
comment on function penstock.is_open_to_actor(uuid, uuid) is 'Whether the actor has taken emergency access to a patient';

create function penstock.is_referred_by_actor(wanted_clinic uuid, wanted_patient uuid) returns boolean
    language plpgsql stable cost 1
as $$
begin
    return exists (
        select from penstock.referral f
         where f.clinic_id = wanted_clinic and f.patient_id = wanted_patient
           and f.referrer_id = nullif(current_setting('penstock.actor', true), '')::uuid
           and f.ended_at is null);
end $$;
comment on function penstock.is_referred_by_actor(uuid, uuid) is 'Whether the actor has referred a patient';

create policy within_reach on penstock.study as restrictive
    using (case current_setting('penstock.reach', true)
           when 'clinic' then true
           when 'open' then status not in ('final', 'amended')
                or penstock.is_open_to_actor(clinic_id, patient_id)
           when 'referred' then status in ('final', 'amended')
                and (penstock.is_referred_by_actor(clinic_id, patient_id)
                     or penstock.is_open_to_actor(clinic_id, patient_id))
           when 'open referred' then status not in ('final', 'amended')
                or penstock.is_referred_by_actor(clinic_id, patient_id)
                or penstock.is_open_to_actor(clinic_id, patient_id)
           else false end)
    with check (current_setting('penstock.reach', true) in ('clinic', 'open', 'open referred'));

create policy within_reach on penstock.recording as restrictive
    using (case current_setting('penstock.reach', true)
           when 'clinic' then true
           when 'nobody' then false
           else exists (select from penstock.study s
                         where s.clinic_id = recording.clinic_id and s.id = recording.study_id) end)
    with check (current_setting('penstock.reach', true) in ('clinic', 'open', 'open referred'));

-- Open work begins with a patient who has no study yet: whom the caller has just made, or has named
-- (penstock.named_patient: the id, or record number and birth date together).
create policy within_reach on penstock.patient as restrictive
    using (case current_setting('penstock.reach', true)
           when 'clinic' then true
           when 'referred' then penstock.is_referred_by_actor(clinic_id, id)
                or penstock.is_open_to_actor(clinic_id, id)
           when 'open' then exists (select from penstock.study s
                                     where s.clinic_id = patient.clinic_id and s.patient_id = patient.id)
                or current_setting('penstock.named_patient', true) in (id::text, mrn || ' ' || birth_date::text)
                or (created_by = nullif(current_setting('penstock.actor', true), '')::uuid
                    and created_at > now() - interval '1 day')
                or penstock.is_open_to_actor(clinic_id, id)
           when 'open referred' then exists (select from penstock.study s
                                              where s.clinic_id = patient.clinic_id and s.patient_id = patient.id)
                or current_setting('penstock.named_patient', true) in (id::text, mrn || ' ' || birth_date::text)
                or (created_by = nullif(current_setting('penstock.actor', true), '')::uuid
                    and created_at > now() - interval '1 day')
                or penstock.is_referred_by_actor(clinic_id, id)
                or penstock.is_open_to_actor(clinic_id, id)
           else false end)
    with check (current_setting('penstock.reach', true) in ('clinic', 'open', 'open referred'));

-- What is opened in an emergency, or by a referral, is opened to be read.
create policy changes_open_work on penstock.patient as restrictive for update
    using (current_setting('penstock.reach', true) = 'clinic'
           or exists (select from penstock.study s
                       where s.clinic_id = patient.clinic_id and s.patient_id = patient.id
                         and s.status not in ('final', 'amended'))
           or (created_by = nullif(current_setting('penstock.actor', true), '')::uuid
               and created_at > now() - interval '1 day'))
    with check (true);
create policy changes_open_work on penstock.recording as restrictive for update
    using (current_setting('penstock.reach', true) = 'clinic'
           or exists (select from penstock.study s
                       where s.clinic_id = recording.clinic_id and s.id = recording.study_id
                         and s.status not in ('final', 'amended')))
    with check (true);

-- What belongs to a recording is within reach as the recording is. A call, and a cheap one to the
-- planner: whoever reaches the whole clinic is not to pay for it with other plans.
create function penstock.is_recording_within_reach(wanted_clinic uuid, wanted_recording uuid) returns boolean
    language plpgsql stable cost 1
as $$
begin
    return exists (select from penstock.recording r
                    where r.clinic_id = wanted_clinic and r.id = wanted_recording);
end $$;
comment on function penstock.is_recording_within_reach(uuid, uuid) is
    'Whether the transaction sees a recording';

do $$
declare
    relation text;
begin
    foreach relation in array array['recording_channel', 'recording_revision', 'recording_change',
                                    'recording_chunk', 'sample_block'] loop
        execute format('create policy within_reach on penstock.%I as restrictive'
                       ' using (current_setting(''penstock.reach'', true) = ''clinic'''
                       ' or penstock.is_recording_within_reach(clinic_id, recording_id)) with check (true)',
                       relation);
    end loop;
end $$;

-- ---- guards that must see what they guard ----

-- A foreign key sees every row, a trigger only those within reach: what is out of reach must not
-- pass for what is not there.

create or replace function penstock.guard_part_of_recording() returns trigger
    language plpgsql
as $$
declare
    whole record;
begin
    select r.study_id into whole from penstock.recording r
      where r.clinic_id = new.clinic_id and r.id = new.recording_id;
    if not found then
        raise exception 'a part of no recording within reach' using errcode = 'insufficient_privilege';
    end if;
    perform penstock.require_unsigned(new.clinic_id, whole.study_id);
    return new;
end $$;

create or replace function penstock.guard_dated_part() returns trigger
    language plpgsql
as $$
declare
    whole record;
begin
    select r.study_id, r.state, r.received_on into whole from penstock.recording r
      where r.clinic_id = new.clinic_id and r.id = new.recording_id;
    if not found then
        raise exception 'a part of no recording within reach' using errcode = 'insufficient_privilege';
    end if;
    perform penstock.require_unsigned(new.clinic_id, whole.study_id);
    if whole.received_on <> new.received_on or whole.state <> tg_argv[0] then
        raise exception 'a part that does not fit its recording' using errcode = 'PS002';
    end if;
    return new;
end $$;

create or replace function penstock.guard_chunk() returns trigger
    language plpgsql
as $$
begin
    if new.data is not null
       or (old.clinic_id, old.recording_id, old.number, old.received_on, old.arrival, old.digest, old.starts,
           old.ends, old.event_total, old.received_at, old.created_by)
          is distinct from
          (new.clinic_id, new.recording_id, new.number, new.received_on, new.arrival, new.digest, new.starts,
           new.ends, new.event_total, new.received_at, new.created_by)
       or not exists (select from penstock.recording r
                       where r.clinic_id = new.clinic_id and r.id = new.recording_id and r.revision <> 0) then
        raise exception 'a piece of a recording is kept until the recording is complete' using errcode = 'PS002';
    end if;
    return new;
end $$;

-- ---- rights of the server ----

grant select, insert, update (created_at, created_by, ended_at) on penstock.referral to penstock_app;
grant select, insert on penstock.emergency_access to penstock_app;
