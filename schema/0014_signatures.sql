-- Interpretations, signatures, and the reports that were signed.

-- ---- a proof by the provider ----

-- Signing takes it in place of a password. When a session began does not tell: the provider may have
-- known the person from a session of its own.
alter table penstock.session add column authenticated_at timestamptz;
comment on column penstock.session.authenticated_at is 'When the provider of single sign-on asked the person for a proof, by its word; null: not said, or signed in with a password';

-- ---- interpretation ----

create table penstock.interpretation (
    clinic_id uuid not null,
    study_id uuid not null,
    revision integer not null check (revision >= 1),
    document json not null check (json_typeof(document) = 'object'),
    recordings json not null check (json_typeof(recordings) = 'array'),
    created_at timestamptz not null default now(),
    created_by uuid,
    primary key (clinic_id, study_id, revision),
    foreign key (clinic_id, study_id) references penstock.study (clinic_id, id)
);
comment on table penstock.interpretation is 'What a clinician makes of a study; a change adds a revision';
comment on column penstock.interpretation.clinic_id is 'Clinic of the study';
comment on column penstock.interpretation.study_id is 'What is interpreted';
comment on column penstock.interpretation.revision is 'Number, from 1 without gaps';
comment on column penstock.interpretation.document is 'Findings, diagnoses, conclusion and plan, a JSON object';
comment on column penstock.interpretation.recordings is 'Recordings with their revisions as they were then, a JSON array: what was interpreted';
comment on column penstock.interpretation.created_at is 'When the revision was made';
comment on column penstock.interpretation.created_by is 'Account or token that made it';

-- ---- signature ----

-- signed_at is the database's time, and the time of the transaction: by it the triggers below know
-- what belongs together. The server's role cannot set it.
create table penstock.signature (
    clinic_id uuid not null,
    study_id uuid not null,
    number integer not null check (number >= 1),
    meaning text not null check (meaning in ('final', 'amended')),
    signed_at timestamptz not null default now(),
    signed_by uuid not null,
    signer_name text not null check (length(signer_name) <= 400),
    signer_role text not null check (length(signer_role) between 1 and 200),
    reason text not null default '',
    interpretation_revision integer not null,
    recordings json not null check (json_typeof(recordings) = 'array'),
    software text not null check (length(software) between 1 and 100),
    analysis_version text not null check (length(analysis_version) between 1 and 100),
    primary key (clinic_id, study_id, number),
    unique (clinic_id, study_id, interpretation_revision),
    foreign key (clinic_id, study_id) references penstock.study (clinic_id, id),
    foreign key (clinic_id, signed_by) references penstock.account (clinic_id, id),
    -- An amendment's signature comes before its interpretation: see guard_interpretation().
    foreign key (clinic_id, study_id, interpretation_revision)
        references penstock.interpretation (clinic_id, study_id, revision) deferrable initially deferred,
    check ((number = 1) = (meaning = 'final')),
    check (case meaning when 'final' then reason = '' else length(reason) between 10 and 1000 end)
);
comment on table penstock.signature is 'Signatures of studies: the first makes a study final, every further one an amended one; never changed';
comment on column penstock.signature.clinic_id is 'Clinic of the study';
comment on column penstock.signature.study_id is 'What was signed';
comment on column penstock.signature.number is 'Number, from 1 without gaps';
comment on column penstock.signature.meaning is 'What the study became: final or amended';
comment on column penstock.signature.signed_at is 'When, by the database''s clock';
comment on column penstock.signature.signed_by is 'Account of the person who signed';
comment on column penstock.signature.signer_name is 'The person''s name as it was then';
comment on column penstock.signature.signer_role is 'The role by which the person signed';
comment on column penstock.signature.reason is 'Why it was amended, in the signer''s words; empty for the first';
comment on column penstock.signature.interpretation_revision is 'The interpretation that was signed';
comment on column penstock.signature.recordings is 'The recordings that were signed with their revisions, a JSON array';
comment on column penstock.signature.software is 'Program that made the report, with its version';
comment on column penstock.signature.analysis_version is 'Version of that program''s analysis';

-- ---- the report that was signed ----

create table penstock.signed_document (
    clinic_id uuid not null,
    study_id uuid not null,
    number integer not null,
    kind text not null check (kind in ('report')),
    media_type text not null check (length(media_type) between 1 and 100),
    content bytea not null,
    sha256 bytea not null,
    length integer not null check (length > 0),
    detached_signature bytea,
    primary key (clinic_id, study_id, number, kind),
    foreign key (clinic_id, study_id, number) references penstock.signature (clinic_id, study_id, number),
    constraint signed_document_hash check (sha256 = sha256(content)),
    constraint signed_document_length check (length = octet_length(content))
);
-- PDF is compressed already.
alter table penstock.signed_document alter column content set storage external;
comment on table penstock.signed_document is 'The file that a signature was given for, byte by byte; never changed';
comment on column penstock.signed_document.clinic_id is 'Clinic of the study';
comment on column penstock.signed_document.study_id is 'Study that it reports';
comment on column penstock.signed_document.number is 'Signature that it belongs to';
comment on column penstock.signed_document.kind is 'report';
comment on column penstock.signed_document.media_type is 'What the bytes are';
comment on column penstock.signed_document.content is 'The file';
comment on column penstock.signed_document.sha256 is 'SHA-256 of content';
comment on column penstock.signed_document.length is 'Bytes of content';
comment on column penstock.signed_document.detached_signature is 'CMS signature of content by the clinic''s key, DER; null: no key was configured';

-- ---- what belongs together comes together ----

-- FOR SHARE: a signature that is being given at the same time waits for us, or we for it. Of a signed
-- study only an amendment makes a revision: its signature is there already.
create function penstock.guard_interpretation() returns trigger
    language plpgsql
as $$
declare
    found_status text;
begin
    select s.status into found_status from penstock.study s
      where s.clinic_id = new.clinic_id and s.id = new.study_id for share;
    if not found then
        raise exception 'an interpretation of no study within reach' using errcode = 'insufficient_privilege';
    end if;
    if found_status = 'cancelled'
       or (found_status in ('final', 'amended')
           and not exists (select from penstock.signature g
                            where g.clinic_id = new.clinic_id and g.study_id = new.study_id
                              and g.interpretation_revision = new.revision and g.signed_at = now())) then
        raise exception 'the study is signed' using errcode = 'PS001';
    end if;
    if new.revision <> 1 + (select count(*) from penstock.interpretation i
                             where i.clinic_id = new.clinic_id and i.study_id = new.study_id
                               and i.revision < new.revision) then
        raise exception 'revisions have no gaps' using errcode = 'PS002';
    end if;
    return new;
end $$;
comment on function penstock.guard_interpretation() is
    'Trigger: interpretations are of studies that are neither signed nor cancelled, or of the amendment that is being signed';
create trigger signed before insert on penstock.interpretation
    for each row execute function penstock.guard_interpretation();

create function penstock.guard_signature() returns trigger
    language plpgsql
as $$
begin
    if new.number <> 1 + (select count(*) from penstock.signature g
                           where g.clinic_id = new.clinic_id and g.study_id = new.study_id) then
        raise exception 'signatures have no gaps' using errcode = 'PS002';
    end if;
    return new;
end $$;
comment on function penstock.guard_signature() is 'Trigger: signatures are numbered without gaps';
create trigger in_order before insert on penstock.signature
    for each row execute function penstock.guard_signature();

create function penstock.guard_signed_document() returns trigger
    language plpgsql
as $$
begin
    if not exists (select from penstock.signature g
                    where g.clinic_id = new.clinic_id and g.study_id = new.study_id
                      and g.number = new.number and g.signed_at = now()) then
        raise exception 'a report is stored when it is signed' using errcode = 'PS002';
    end if;
    return new;
end $$;
comment on function penstock.guard_signed_document() is 'Trigger: a report comes in the transaction of its signature';
create trigger with_signature before insert on penstock.signed_document
    for each row execute function penstock.guard_signed_document();

-- Asked when the transaction commits.
create function penstock.require_signature() returns trigger
    language plpgsql
as $$
begin
    if tg_op = 'UPDATE' and old.status = new.status then
        return null;
    end if;
    if not exists (select from penstock.signature g
                    where g.clinic_id = new.clinic_id and g.study_id = new.id
                      and g.meaning = new.status and g.signed_at = now()) then
        raise exception 'a study is signed by a signature, not by its status' using errcode = 'PS002';
    end if;
    return null;
end $$;
comment on function penstock.require_signature() is
    'Trigger: a study becomes final or amended only in the transaction that adds the signature';
create constraint trigger signature_given after insert or update of status on penstock.study
    deferrable initially deferred for each row when (new.status in ('final', 'amended'))
    execute function penstock.require_signature();

create function penstock.require_whole_signature() returns trigger
    language plpgsql
as $$
begin
    if not exists (select from penstock.study s
                    where s.clinic_id = new.clinic_id and s.id = new.study_id
                      and (s.status = 'amended' or (s.status = 'final' and new.meaning = 'final')))
       or not exists (select from penstock.signed_document d
                       where d.clinic_id = new.clinic_id and d.study_id = new.study_id
                         and d.number = new.number and d.kind = 'report') then
        raise exception 'a signature comes with its report and the study''s status' using errcode = 'PS002';
    end if;
    return null;
end $$;
comment on function penstock.require_whole_signature() is
    'Trigger: a signature does not commit without report and status';
create constraint trigger whole after insert on penstock.signature
    deferrable initially deferred for each row
    execute function penstock.require_whole_signature();

do $$
declare
    relation text;
begin
    foreach relation in array array['interpretation', 'signature', 'signed_document'] loop
        execute format('create trigger no_update before update on penstock.%I'
                       ' for each statement execute function penstock.refuse_change()', relation);
    end loop;
end $$;

-- ---- who sees them ----

create function penstock.is_study_within_reach(wanted_clinic uuid, wanted_study uuid) returns boolean
    language plpgsql stable cost 1
as $$
begin
    return exists (select from penstock.study s
                    where s.clinic_id = wanted_clinic and s.id = wanted_study);
end $$;
comment on function penstock.is_study_within_reach(uuid, uuid) is 'Whether the transaction sees a study';

do $$
declare
    relation text;
begin
    foreach relation in array array['interpretation', 'signature', 'signed_document'] loop
        execute format('alter table penstock.%I enable row level security', relation);
        execute format('alter table penstock.%I force row level security', relation);
        execute format('create policy clinic_only on penstock.%I'
                       ' using (clinic_id = nullif(current_setting(''penstock.clinic'', true), '''')::uuid)'
                       ' with check (clinic_id = nullif(current_setting(''penstock.clinic'', true), '''')::uuid)',
                       relation);
    end loop;
    foreach relation in array array['signature', 'signed_document'] loop
        execute format('create policy within_reach on penstock.%I as restrictive'
                       ' using (current_setting(''penstock.reach'', true) = ''clinic'''
                       ' or penstock.is_study_within_reach(clinic_id, study_id))'
                       ' with check (current_setting(''penstock.reach'', true) = ''clinic'')', relation);
    end loop;
end $$;
-- What was written before it was signed is the clinic's own.
create policy within_reach on penstock.interpretation as restrictive
    using (current_setting('penstock.reach', true) = 'clinic'
           or exists (select from penstock.signature g
                       where g.clinic_id = interpretation.clinic_id and g.study_id = interpretation.study_id
                         and g.interpretation_revision = interpretation.revision))
    with check (current_setting('penstock.reach', true) = 'clinic');

-- ---- where a patient's rows are ----

create or replace function penstock.patient_tables() returns table (place integer, relation text, key text)
    language sql immutable
as $$
    values (1, 'sample_block', 'recording_id'), (2, 'recording_revision', 'recording_id'),
           (3, 'recording_chunk', 'recording_id'), (4, 'recording_change', 'recording_id'),
           (5, 'recording_channel', 'recording_id'), (6, 'recording', 'study_id'),
           (7, 'study_link', 'study_id'), (8, 'signed_document', 'study_id'),
           (9, 'signature', 'study_id'), (10, 'interpretation', 'study_id'), (40, 'study', 'patient_id'),
           (41, 'referral', 'patient_id'), (42, 'emergency_access', 'patient_id'),
           (43, 'legal_hold', 'patient_id'), (44, 'research_subject', 'patient_id'), (45, 'patient', 'id')
$$;

do $$
declare
    part record;
begin
    for part in select t.relation, t.key from penstock.patient_tables() t
                 where t.relation in ('signed_document', 'signature', 'interpretation') loop
        execute format('create trigger no_delete before delete on penstock.%I'
                       ' for each statement execute function penstock.refuse_removal(''erasure'')', part.relation);
        execute format('create trigger only_erased before delete on penstock.%I'
                       ' for each row execute function penstock.refuse_removal(''erasure'', %L)',
                       part.relation, part.key);
        execute format('create trigger no_truncate before truncate on penstock.%I'
                       ' for each statement execute function penstock.refuse_removal()', part.relation);
    end loop;
end $$;

-- ---- rights of the server ----

grant select, insert (clinic_id, study_id, revision, document, recordings, created_by)
    on penstock.interpretation to penstock_app;
grant select, insert (clinic_id, study_id, number, meaning, signed_by, signer_name, signer_role, reason,
                      interpretation_revision, recordings, software, analysis_version)
    on penstock.signature to penstock_app;
grant select, insert on penstock.signed_document to penstock_app;
