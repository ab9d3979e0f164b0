-- Recordings: samples in compressed blocks, event lists and analyses by revision.

create table penstock.recording (
    clinic_id uuid not null,
    id uuid not null,
    study_id uuid not null,
    type text not null check (type in ('uroflowmetry', 'cystometry', 'pressure_flow',
        'urethral_pressure_profile', 'anorectal_manometry', 'pelvic_floor_training')),
    started_at timestamptz not null,
    received_at timestamptz not null default now(),
    conditions json not null,
    duration_s double precision not null check (duration_s >= 0),
    revision integer not null check (revision >= 1),
    created_by uuid,
    primary key (clinic_id, id),
    foreign key (clinic_id, study_id) references penstock.study (clinic_id, id)
);
create index recording_by_study on penstock.recording (clinic_id, study_id, started_at, id);
comment on table penstock.recording is 'One recording of a study, as uploaded';
comment on column penstock.recording.clinic_id is 'Clinic of the study';
comment on column penstock.recording.id is 'Identifier, UUID; the room may choose it';
comment on column penstock.recording.study_id is 'Study that it belongs to';
comment on column penstock.recording.type is 'Kind of recording, as the HTTP contract names it';
comment on column penstock.recording.started_at is 'Time of second 0';
comment on column penstock.recording.received_at is 'When it was uploaded';
comment on column penstock.recording.conditions is 'Conditions of the recording: position, residuals, delays, speeds';
comment on column penstock.recording.duration_s is 'Seconds from the start to the end of the last sample';
comment on column penstock.recording.revision is 'Newest revision of events and analysis';
comment on column penstock.recording.created_by is 'Account or token that uploaded it';

create table penstock.recording_channel (
    clinic_id uuid not null,
    recording_id uuid not null,
    number integer not null check (number >= 0),
    signal text not null check (length(signal) between 1 and 40),
    unit text not null check (length(unit) between 1 and 40),
    rate_hz double precision not null check (rate_hz > 0),
    start_s double precision not null,
    encoding text not null check (encoding in ('decimal', 'int16', 'float32', 'float64')),
    decimals integer not null check (decimals between 0 and 6),
    scale double precision not null,
    value_offset double precision not null,
    sample_count bigint not null check (sample_count >= 0),
    missing_count bigint not null check (missing_count between 0 and sample_count),
    primary key (clinic_id, recording_id, number),
    unique (clinic_id, recording_id, signal),
    foreign key (clinic_id, recording_id) references penstock.recording (clinic_id, id)
);
comment on table penstock.recording_channel is 'A signal of a recording; its samples are in sample_block';
comment on column penstock.recording_channel.clinic_id is 'Clinic of the recording';
comment on column penstock.recording_channel.recording_id is 'Recording that it belongs to';
comment on column penstock.recording_channel.number is 'Place in the upload, from 0';
comment on column penstock.recording_channel.signal is 'What was measured: pves, pabd, flow, ...';
comment on column penstock.recording_channel.unit is 'UCUM unit as uploaded; samples are kept in it';
comment on column penstock.recording_channel.rate_hz is 'Samples a second';
comment on column penstock.recording_channel.start_s is 'Time of the first sample, seconds from the start of the recording';
comment on column penstock.recording_channel.encoding is 'decimal: code / 10^decimals; int16: code * scale + value_offset; float32, float64: as sent';
comment on column penstock.recording_channel.decimals is 'Decimals of the encoding decimal, else 0';
comment on column penstock.recording_channel.scale is 'Scale of the encoding int16, else 1';
comment on column penstock.recording_channel.value_offset is 'Offset of the encoding int16, else 0';
comment on column penstock.recording_channel.sample_count is 'Number of samples, missing ones included';
comment on column penstock.recording_channel.missing_count is 'Number of missing samples';

create table penstock.sample_block (
    clinic_id uuid not null,
    recording_id uuid not null,
    channel_number integer not null,
    block_number integer not null check (block_number >= 0),
    sample_count integer not null check (sample_count between 1 and 4096),
    checksum bigint not null check (checksum between 0 and 4294967295),
    data bytea not null,
    primary key (clinic_id, recording_id, channel_number, block_number),
    foreign key (clinic_id, recording_id, channel_number)
        references penstock.recording_channel (clinic_id, recording_id, number)
);
-- Already compressed: a second attempt by the database would only cost time.
alter table penstock.sample_block alter column data set storage external;
comment on table penstock.sample_block is
    'Up to 4096 consecutive samples of a channel. All blocks of a channel come with its recording; '
    'the key and the lack of UPDATE and DELETE make them final';
comment on column penstock.sample_block.clinic_id is 'Clinic of the recording';
comment on column penstock.sample_block.recording_id is 'Recording that it belongs to';
comment on column penstock.sample_block.channel_number is 'Channel that it belongs to';
comment on column penstock.sample_block.block_number is 'Block n holds the samples from n * 4096';
comment on column penstock.sample_block.sample_count is 'Samples in this block; only the last may have fewer than 4096';
comment on column penstock.sample_block.checksum is 'CRC-32 (IEEE 802.3) of data';
comment on column penstock.sample_block.data is 'Compressed codes; layout in server/formats/samples.c';

create table penstock.recording_revision (
    clinic_id uuid not null,
    recording_id uuid not null,
    revision integer not null check (revision >= 1),
    events json not null,
    analysis text not null,
    created_at timestamptz not null default now(),
    created_by uuid,
    primary key (clinic_id, recording_id, revision),
    foreign key (clinic_id, recording_id) references penstock.recording (clinic_id, id)
);
comment on table penstock.recording_revision is 'Events of a recording and the analysis made with them; a change adds a revision';
comment on column penstock.recording_revision.clinic_id is 'Clinic of the recording';
comment on column penstock.recording_revision.recording_id is 'Recording that it belongs to';
comment on column penstock.recording_revision.revision is 'Number, from 1 without gaps';
comment on column penstock.recording_revision.events is 'Event list, a JSON array';
comment on column penstock.recording_revision.analysis is 'Analysis document exactly as rendered';
comment on column penstock.recording_revision.created_at is 'When the revision was made';
comment on column penstock.recording_revision.created_by is 'Account or token that made it';

-- ---- signed means unchanged ----

-- FOR SHARE: a signature that is being given at the same time waits for us, or we for it.
create function penstock.require_unsigned(wanted_clinic uuid, wanted_study uuid) returns void
    language plpgsql
as $$
begin
    perform from penstock.study s
      where s.clinic_id = wanted_clinic and s.id = wanted_study
        and s.status not in ('final', 'amended')
        for share;
    if not found then
        raise exception 'the study is signed' using errcode = 'PS001';
    end if;
end $$;
comment on function penstock.require_unsigned(uuid, uuid) is 'Raises PS001 unless the study is there and unsigned';

create function penstock.guard_recording() returns trigger
    language plpgsql
as $$
begin
    perform penstock.require_unsigned(new.clinic_id, new.study_id);
    if tg_op = 'UPDATE' and
       (new.revision <> old.revision + 1
        or (old.clinic_id, old.id, old.study_id, old.type, old.started_at, old.received_at,
            old.conditions::text, old.duration_s, old.created_by)
           is distinct from
           (new.clinic_id, new.id, new.study_id, new.type, new.started_at, new.received_at,
            new.conditions::text, new.duration_s, new.created_by)) then
        raise exception 'only the revision of a recording may change' using errcode = 'PS002';
    end if;
    return new;
end $$;
comment on function penstock.guard_recording() is 'Trigger: nothing is added to signed studies; of a recording only the revision changes';

create function penstock.guard_part_of_recording() returns trigger
    language plpgsql
as $$
begin
    perform penstock.require_unsigned(new.clinic_id, r.study_id) from penstock.recording r
      where r.clinic_id = new.clinic_id and r.id = new.recording_id;
    return new;
end $$;
comment on function penstock.guard_part_of_recording() is 'Trigger: nothing is added to recordings of signed studies';

create trigger signed before insert or update on penstock.recording
    for each row execute function penstock.guard_recording();
create trigger signed before insert on penstock.recording_channel
    for each row execute function penstock.guard_part_of_recording();
create trigger signed before insert on penstock.recording_revision
    for each row execute function penstock.guard_part_of_recording();

create trigger no_update before update on penstock.recording_channel
    for each statement execute function penstock.refuse_change();
create trigger no_update before update on penstock.sample_block
    for each statement execute function penstock.refuse_change();
create trigger no_update before update on penstock.recording_revision
    for each statement execute function penstock.refuse_change();

create trigger no_delete before delete on penstock.recording
    for each statement execute function penstock.refuse_removal();
create trigger no_truncate before truncate on penstock.recording
    for each statement execute function penstock.refuse_removal();
create trigger no_delete before delete on penstock.recording_channel
    for each statement execute function penstock.refuse_removal();
create trigger no_truncate before truncate on penstock.recording_channel
    for each statement execute function penstock.refuse_removal();
create trigger no_delete before delete on penstock.sample_block
    for each statement execute function penstock.refuse_removal();
create trigger no_truncate before truncate on penstock.sample_block
    for each statement execute function penstock.refuse_removal();
create trigger no_delete before delete on penstock.recording_revision
    for each statement execute function penstock.refuse_removal();
create trigger no_truncate before truncate on penstock.recording_revision
    for each statement execute function penstock.refuse_removal();

-- ---- one clinic sees its own rows ----

alter table penstock.recording enable row level security;
alter table penstock.recording force row level security;
create policy clinic_only on penstock.recording
    using (clinic_id = nullif(current_setting('penstock.clinic', true), '')::uuid)
    with check (clinic_id = nullif(current_setting('penstock.clinic', true), '')::uuid);

alter table penstock.recording_channel enable row level security;
alter table penstock.recording_channel force row level security;
create policy clinic_only on penstock.recording_channel
    using (clinic_id = nullif(current_setting('penstock.clinic', true), '')::uuid)
    with check (clinic_id = nullif(current_setting('penstock.clinic', true), '')::uuid);

alter table penstock.sample_block enable row level security;
alter table penstock.sample_block force row level security;
create policy clinic_only on penstock.sample_block
    using (clinic_id = nullif(current_setting('penstock.clinic', true), '')::uuid)
    with check (clinic_id = nullif(current_setting('penstock.clinic', true), '')::uuid);

alter table penstock.recording_revision enable row level security;
alter table penstock.recording_revision force row level security;
create policy clinic_only on penstock.recording_revision
    using (clinic_id = nullif(current_setting('penstock.clinic', true), '')::uuid)
    with check (clinic_id = nullif(current_setting('penstock.clinic', true), '')::uuid);

-- ---- rights of the server ----

grant select, insert, update (revision) on penstock.recording to penstock_app;
grant select, insert on penstock.recording_channel, penstock.sample_block,
    penstock.recording_revision to penstock_app;
