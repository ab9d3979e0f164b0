-- Recordings in pieces, withdrawal, retention, overviews for drawing, and partitions for growth.

-- Rows are moved below, of every clinic and of signed studies too: until then their owner sees them
-- all and the triggers that guard them rest.
alter table penstock.recording no force row level security;
alter table penstock.sample_block no force row level security;
alter table penstock.recording_revision no force row level security;
alter table penstock.recording disable trigger signed;

-- ---- a recording has a state ----

alter table penstock.recording
    add column received_on date generated always as ((received_at at time zone 'UTC')::date) stored,
    add column state text not null default 'complete' check (state in ('open', 'complete', 'withdrawn')),
    add column opening text,
    add column version integer not null default 1 check (version >= 1),
    add column has_overview boolean not null default false,
    drop constraint recording_revision_check,
    add constraint recording_revision_check check (revision >= 0 and (state = 'withdrawn' or (revision = 0) = (state = 'open')));
comment on column penstock.recording.received_on is 'UTC date of received_at: in which partition its parts are';
comment on column penstock.recording.state is 'open: pieces may still come; complete; withdrawn: not to be shown or used';
comment on column penstock.recording.opening is 'What opened a recording that came in pieces, as sent; null: it came in one request';
comment on column penstock.recording.version is 'Grows by one with every change';
comment on column penstock.recording.has_overview is 'Whether its sample blocks include extremes for drawing; false: stored before there were any';
comment on column penstock.recording.revision is 'Newest revision of events and analysis; 0 before the first';
update penstock.recording set version = revision;

-- Who opened, completed, withdrew and restored a recording, when and why.
create table penstock.recording_change (
    clinic_id uuid not null,
    recording_id uuid not null,
    version integer not null check (version >= 1),
    change text not null check (change in ('opened', 'completed', 'withdrawn', 'restored')),
    reason text not null default '' check (length(reason) <= 1000),
    created_at timestamptz not null default now(),
    created_by uuid,
    primary key (clinic_id, recording_id, version),
    foreign key (clinic_id, recording_id) references penstock.recording (clinic_id, id)
);
comment on table penstock.recording_change is 'Changes of the state of a recording; a row is never changed';
comment on column penstock.recording_change.clinic_id is 'Clinic of the recording';
comment on column penstock.recording_change.recording_id is 'Recording that it belongs to';
comment on column penstock.recording_change.version is 'Version of the recording that the change made';
comment on column penstock.recording_change.change is 'opened, completed, withdrawn or restored';
comment on column penstock.recording_change.reason is 'Why; empty where none is asked for';
comment on column penstock.recording_change.created_at is 'When';
comment on column penstock.recording_change.created_by is 'Account or token that did it; null: the program';

-- ---- what grows is partitioned by the year of receipt ----

alter table penstock.sample_block rename to sample_block_before;
alter table penstock.sample_block_before rename constraint sample_block_pkey to sample_block_before_pkey;
alter table penstock.recording_revision rename to recording_revision_before;
alter table penstock.recording_revision_before rename constraint recording_revision_pkey to recording_revision_before_pkey;

-- The key still begins with the clinic and the recording: the date comes last, only because
-- PostgreSQL wants the partition's column in every key.
create table penstock.sample_block (
    clinic_id uuid not null,
    recording_id uuid not null,
    channel_number integer not null check (channel_number >= -1),
    level integer not null check (level between 0 and 6),
    block_number integer not null check (block_number >= 0),
    received_on date not null,
    sample_count integer not null check (sample_count between 1 and 4096),
    checksum bigint not null check (checksum between 0 and 4294967295),
    data bytea not null,
    primary key (clinic_id, recording_id, channel_number, level, block_number, received_on)
) partition by range (received_on);
alter table penstock.sample_block alter column data set storage external;
comment on table penstock.sample_block is
    'Up to 4096 consecutive samples of a channel, or the least and greatest of as many stretches of them. '
    'All blocks come with the recording or its completion; the key and the lack of UPDATE and DELETE make them final';
comment on column penstock.sample_block.clinic_id is 'Clinic of the recording';
comment on column penstock.sample_block.recording_id is 'Recording that it belongs to';
comment on column penstock.sample_block.channel_number is 'Channel that it belongs to; -1: detrusor pressure computed from two others';
comment on column penstock.sample_block.level is '0: samples; 1 and 2: least and greatest of 32 samples each, for drawing; 3 and 4: of 512; 5 and 6: of 8192';
comment on column penstock.sample_block.block_number is 'Block n holds the codes from n * 4096';
comment on column penstock.sample_block.received_on is 'received_on of the recording';
comment on column penstock.sample_block.sample_count is 'Codes in this block; only the last may have fewer than 4096';
comment on column penstock.sample_block.checksum is 'CRC-32 (IEEE 802.3) of data';
comment on column penstock.sample_block.data is 'Compressed codes; layout in server/formats/sample_block.c';

create table penstock.recording_revision (
    clinic_id uuid not null,
    recording_id uuid not null,
    revision integer not null check (revision >= 1),
    received_on date not null,
    events json not null,
    analysis text not null,
    created_at timestamptz not null default now(),
    created_by uuid,
    analysis_version text not null default '' check (analysis_version ~ '^([0-9]{1,6}([.][0-9]{1,6}){0,3})?$'),
    reason text not null default '' check (length(reason) <= 200),
    primary key (clinic_id, recording_id, revision, received_on),
    foreign key (clinic_id, recording_id) references penstock.recording (clinic_id, id)
) partition by range (received_on);
comment on table penstock.recording_revision is 'Events of a recording and the analysis made with them; a change adds a revision';
comment on column penstock.recording_revision.clinic_id is 'Clinic of the recording';
comment on column penstock.recording_revision.recording_id is 'Recording that it belongs to';
comment on column penstock.recording_revision.revision is 'Number, from 1 without gaps';
comment on column penstock.recording_revision.received_on is 'received_on of the recording';
comment on column penstock.recording_revision.events is 'Event list, a JSON array';
comment on column penstock.recording_revision.analysis is 'Analysis document exactly as rendered';
comment on column penstock.recording_revision.created_at is 'When the revision was made';
comment on column penstock.recording_revision.created_by is 'Account or token that made it';
comment on column penstock.recording_revision.analysis_version is 'Version of the analysis that made the document; empty: before versions were kept';
comment on column penstock.recording_revision.reason is 'Why the revision was made, where nobody changed the events; else empty';

-- The pieces of a recording that is still open.
create table penstock.recording_chunk (
    clinic_id uuid not null,
    recording_id uuid not null,
    number integer not null check (number >= 0),
    received_on date not null,
    arrival integer not null check (arrival >= 1),
    digest bytea not null check (length(digest) = 32),
    starts bigint[] not null,
    ends bigint[] not null,
    event_total integer not null check (event_total >= 0),
    data bytea,
    received_at timestamptz not null default clock_timestamp(),
    created_by uuid,
    primary key (clinic_id, recording_id, number, received_on),
    foreign key (clinic_id, recording_id) references penstock.recording (clinic_id, id)
) partition by range (received_on);
create index recording_chunk_by_arrival on penstock.recording_chunk (clinic_id, recording_id, arrival);
alter table penstock.recording_chunk alter column data set storage external;
comment on table penstock.recording_chunk is 'A piece of a recording, kept as sent until the recording is complete';
comment on column penstock.recording_chunk.clinic_id is 'Clinic of the recording';
comment on column penstock.recording_chunk.recording_id is 'Recording that it belongs to';
comment on column penstock.recording_chunk.number is 'Its number as the sender gave it: the order of the samples';
comment on column penstock.recording_chunk.received_on is 'received_on of the recording';
comment on column penstock.recording_chunk.arrival is 'Place in the order of arrival, from 1 without gaps: where a watcher goes on';
comment on column penstock.recording_chunk.digest is 'BLAKE2b-256 of the document as sent: the same piece again is harmless, another one is refused';
comment on column penstock.recording_chunk.starts is 'Index of the first sample of each channel, in the order of the opening';
comment on column penstock.recording_chunk.ends is 'Index after the last sample of each channel';
comment on column penstock.recording_chunk.event_total is 'Events in this piece and in those that arrived before it';
comment on column penstock.recording_chunk.data is 'The document as sent, compressed with zstd; null once the recording is complete';
comment on column penstock.recording_chunk.received_at is 'When it was received';
comment on column penstock.recording_chunk.created_by is 'Account or token that sent it';

-- A partition by itself is bound like the whole: what guards a table statement by statement, and its
-- row-level security, would not hold for who names the partition.
create function penstock.guard_partition(parent text, partition text, description text) returns void
    language plpgsql
as $$
begin
    execute format('comment on table penstock.%I is %L', partition, 'Partition of ' || parent || ': ' || description);
    execute format('alter table penstock.%I enable row level security', partition);
    execute format('alter table penstock.%I force row level security', partition);
    execute format('create policy clinic_only on penstock.%I'
                   ' using (clinic_id = nullif(current_setting(''penstock.clinic'', true), '''')::uuid)'
                   ' with check (clinic_id = nullif(current_setting(''penstock.clinic'', true), '''')::uuid)',
                   partition);
    execute format('create trigger no_partition_delete before delete on penstock.%I'
                   ' for each statement execute function penstock.refuse_removal()', partition);
    execute format('create trigger no_partition_truncate before truncate on penstock.%I'
                   ' for each statement execute function penstock.refuse_removal()', partition);
    if parent <> 'recording_chunk' then
        execute format('create trigger no_partition_update before update on penstock.%I'
                       ' for each statement execute function penstock.refuse_change()', partition);
    end if;
end $$;
comment on function penstock.guard_partition(text, text, text) is 'Binds a new partition as its table is bound';
revoke all on function penstock.guard_partition(text, text, text) from public;

-- Makes the partitions of each year from 2025 up to `last_year` that are not there yet. Rows of
-- other years go to the partition of all the rest, so that nothing is ever refused for its date.
create function penstock.make_partitions(last_year integer) returns void
    language plpgsql
as $$
declare
    parent text;
    year integer;
begin
    foreach parent in array array['sample_block', 'recording_revision', 'recording_chunk'] loop
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
                perform penstock.guard_partition(parent, parent || '_' || year, 'recordings received in ' || year);
            exception when check_violation then
                null; -- rows of that year are with the rest already, and stay there
            end;
        end loop;
    end loop;
end $$;
comment on function penstock.make_partitions(integer) is 'Makes the partitions up to a year; each run of the migrations asks for two years ahead';
revoke all on function penstock.make_partitions(integer) from public;

do $$
begin
    perform penstock.make_partitions(extract(year from now())::integer + 2);
end $$;

insert into penstock.sample_block (clinic_id, recording_id, channel_number, level, block_number, received_on,
        sample_count, checksum, data)
    select b.clinic_id, b.recording_id, b.channel_number, 0, b.block_number, r.received_on,
        b.sample_count, b.checksum, b.data
      from penstock.sample_block_before b
      join penstock.recording r on r.clinic_id = b.clinic_id and r.id = b.recording_id;
insert into penstock.recording_revision (clinic_id, recording_id, revision, received_on, events, analysis,
        created_at, created_by, analysis_version, reason)
    select v.clinic_id, v.recording_id, v.revision, r.received_on, v.events, v.analysis,
        v.created_at, v.created_by, v.analysis_version, v.reason
      from penstock.recording_revision_before v
      join penstock.recording r on r.clinic_id = v.clinic_id and r.id = v.recording_id;
drop table penstock.sample_block_before;
drop table penstock.recording_revision_before;
alter table penstock.recording force row level security;
alter table penstock.recording enable trigger signed;

alter table penstock.recording_channel
    drop constraint recording_channel_encoding_check,
    add constraint recording_channel_encoding_check
        check (encoding in ('decimal', 'int16', 'int32', 'float32', 'float64'));
comment on column penstock.recording_channel.encoding is 'decimal: code / 10^decimals; int16, int32: code * scale + value_offset; float32, float64: as sent';
comment on column penstock.recording_channel.scale is 'Scale of the encodings int16 and int32, else 1';
comment on column penstock.recording_channel.value_offset is 'Offset of the encodings int16 and int32, else 0';

-- ---- how long a clinic keeps recordings ----

create table penstock.retention_rule (
    clinic_id uuid not null references penstock.clinic,
    version integer not null check (version >= 1),
    keep_years integer check (keep_years between 1 and 200),
    keep_until_age_years integer check (keep_until_age_years between 1 and 200),
    created_at timestamptz not null default now(),
    created_by uuid,
    primary key (clinic_id, version)
);
comment on table penstock.retention_rule is 'How long a clinic keeps recordings; the newest version is in use, without one they are kept for ever';
comment on column penstock.retention_rule.clinic_id is 'Clinic that decided';
comment on column penstock.retention_rule.version is 'Number of the change, from 1 without gaps';
comment on column penstock.retention_rule.keep_years is 'Years after the visit; null: for ever';
comment on column penstock.retention_rule.keep_until_age_years is 'At least until the patient is of this age; null: no such rule';
comment on column penstock.retention_rule.created_at is 'When it was decided';
comment on column penstock.retention_rule.created_by is 'Account or token that decided';
create trigger no_update before update on penstock.retention_rule
    for each statement execute function penstock.refuse_change();
create trigger no_delete before delete on penstock.retention_rule
    for each statement execute function penstock.refuse_removal();
create trigger no_truncate before truncate on penstock.retention_rule
    for each statement execute function penstock.refuse_removal();

-- A year after 29 February ends on 1 March where there is no such day: not a day too early.
create function penstock.years_after(start date, years integer) returns date
    language sql immutable
as $$
    select greatest((start + make_interval(years => years))::date,
                    (start - 1 + make_interval(years => years))::date + 1)
$$;
comment on function penstock.years_after(date, integer) is 'The same day some years later; 1 March for a 29 February that the year lacks';

-- Whether a study's recordings have been kept as long as its clinic's newest rule says. The day
-- itself still counts, so that it is over wherever the clinic may be.
create function penstock.retention_is_over(wanted_clinic uuid, wanted_study uuid) returns boolean
    language sql stable
as $$
    select coalesce((
        select penstock.years_after((s.started_at at time zone 'UTC')::date, rule.keep_years) < today.utc
           and (rule.keep_until_age_years is null
                or penstock.years_after(p.birth_date, rule.keep_until_age_years) < today.utc)
          from (select (now() at time zone 'UTC')::date as utc) today, penstock.study s
          join penstock.patient p on p.clinic_id = s.clinic_id and p.id = s.patient_id
          join lateral (select r.keep_years, r.keep_until_age_years from penstock.retention_rule r
                         where r.clinic_id = s.clinic_id order by r.version desc limit 1) rule on true
         where s.clinic_id = wanted_clinic and s.id = wanted_study), false)
$$;
comment on function penstock.retention_is_over(uuid, uuid) is 'Whether a study has been kept as long as the clinic decided; never without a rule';

-- ---- signed means unchanged, whatever the state ----

create or replace function penstock.guard_recording() returns trigger
    language plpgsql
as $$
begin
    -- A signed recording goes only when the clinic has kept it as long as it decided.
    if tg_op = 'INSERT' or new.state <> 'withdrawn' or old.state = 'withdrawn'
       or not penstock.retention_is_over(new.clinic_id, new.study_id) then
        perform penstock.require_unsigned(new.clinic_id, new.study_id);
    end if;
    if tg_op = 'INSERT' then
        return new;
    end if;
    if new.version <> old.version + 1
       or (old.clinic_id, old.id, old.study_id, old.type, old.started_at, old.received_at, old.opening, old.created_by)
          is distinct from
          (new.clinic_id, new.id, new.study_id, new.type, new.started_at, new.received_at, new.opening, new.created_by) then
        raise exception 'what a recording is does not change' using errcode = 'PS002';
    end if;
    -- Completion makes the first revision and may state conditions that were not known before.
    if old.state = 'open' and new.state = 'complete' and old.revision = 0 and new.revision = 1 then
        return new;
    end if;
    if (old.conditions::text, old.duration_s) is distinct from (new.conditions::text, new.duration_s)
       or (new.state = old.state and (new.state <> 'complete' or new.revision <> old.revision + 1))
       or (new.state <> old.state and new.revision <> old.revision)
       or (new.state <> old.state and new.state <> 'withdrawn' and old.state <> 'withdrawn') then
        raise exception 'what a recording is does not change' using errcode = 'PS002';
    end if;
    return new;
end $$;
comment on function penstock.guard_recording() is
    'Trigger: nothing is added to signed studies; of a recording only revision and state change, each in its own way';

-- The keys of these tables hold the date, so that only this keeps a number from being there twice.
create function penstock.guard_dated_part() returns trigger
    language plpgsql
as $$
declare
    whole record;
begin
    select r.study_id, r.state, r.received_on into whole from penstock.recording r
      where r.clinic_id = new.clinic_id and r.id = new.recording_id;
    if not found then
        return new; -- which the foreign key refuses
    end if;
    perform penstock.require_unsigned(new.clinic_id, whole.study_id);
    if whole.received_on <> new.received_on or whole.state <> tg_argv[0] then
        raise exception 'a part that does not fit its recording' using errcode = 'PS002';
    end if;
    return new;
end $$;
comment on function penstock.guard_dated_part() is
    'Trigger: a part has the date of its recording, which is in the state named, of an unsigned study';
create trigger signed before insert on penstock.recording_revision
    for each row execute function penstock.guard_dated_part('complete');
create trigger signed before insert on penstock.recording_chunk
    for each row execute function penstock.guard_dated_part('open');

-- Of a piece only its content goes, when the recording has taken it over.
create function penstock.guard_chunk() returns trigger
    language plpgsql
as $$
begin
    if new.data is not null
       or (old.clinic_id, old.recording_id, old.number, old.received_on, old.arrival, old.digest, old.starts,
           old.ends, old.event_total, old.received_at, old.created_by)
          is distinct from
          (new.clinic_id, new.recording_id, new.number, new.received_on, new.arrival, new.digest, new.starts,
           new.ends, new.event_total, new.received_at, new.created_by)
       or exists (select from penstock.recording r
                   where r.clinic_id = new.clinic_id and r.id = new.recording_id and r.revision = 0) then
        raise exception 'a piece of a recording is kept until the recording is complete' using errcode = 'PS002';
    end if;
    return new;
end $$;
comment on function penstock.guard_chunk() is 'Trigger: the content of a piece stays until its recording is complete';
create trigger kept before update on penstock.recording_chunk
    for each row execute function penstock.guard_chunk();

-- Once a statement, since an upload brings hundreds of blocks.
create function penstock.guard_blocks() returns trigger
    language plpgsql
as $$
begin
    if exists (select from (select distinct clinic_id, recording_id, received_on from added) b
                left join penstock.recording r
                  on r.clinic_id = b.clinic_id and r.id = b.recording_id and r.received_on = b.received_on
               where r.id is null) then
        raise exception 'a sample block of no recording' using errcode = 'foreign_key_violation';
    end if;
    perform penstock.require_unsigned(r.clinic_id, r.study_id)
       from (select distinct clinic_id, recording_id from added) b
       join penstock.recording r on r.clinic_id = b.clinic_id and r.id = b.recording_id;
    return null;
end $$;
comment on function penstock.guard_blocks() is 'Trigger: sample blocks belong to a recording of an unsigned study';
create trigger of_a_recording after insert on penstock.sample_block
    referencing new table as added for each statement execute function penstock.guard_blocks();

create trigger no_update before update on penstock.sample_block
    for each statement execute function penstock.refuse_change();
create trigger no_update before update on penstock.recording_revision
    for each statement execute function penstock.refuse_change();
create trigger no_update before update on penstock.recording_change
    for each statement execute function penstock.refuse_change();
create trigger no_delete before delete on penstock.sample_block
    for each statement execute function penstock.refuse_removal();
create trigger no_truncate before truncate on penstock.sample_block
    for each statement execute function penstock.refuse_removal();
create trigger no_delete before delete on penstock.recording_revision
    for each statement execute function penstock.refuse_removal();
create trigger no_truncate before truncate on penstock.recording_revision
    for each statement execute function penstock.refuse_removal();
create trigger no_delete before delete on penstock.recording_chunk
    for each statement execute function penstock.refuse_removal();
create trigger no_truncate before truncate on penstock.recording_chunk
    for each statement execute function penstock.refuse_removal();
create trigger no_delete before delete on penstock.recording_change
    for each statement execute function penstock.refuse_removal();
create trigger no_truncate before truncate on penstock.recording_change
    for each statement execute function penstock.refuse_removal();

comment on column penstock.idempotency.digest is
    'BLAKE2b-256 of method, path, query, media type and body: the same key with another request is an error';

-- ---- one clinic sees its own rows ----

do $$
declare
    relation text;
begin
    foreach relation in array array['sample_block', 'recording_revision', 'recording_chunk', 'recording_change',
                                    'retention_rule'] loop
        execute format('alter table penstock.%I enable row level security', relation);
        execute format('alter table penstock.%I force row level security', relation);
        execute format('create policy clinic_only on penstock.%I'
                       ' using (clinic_id = nullif(current_setting(''penstock.clinic'', true), '''')::uuid)'
                       ' with check (clinic_id = nullif(current_setting(''penstock.clinic'', true), '''')::uuid)',
                       relation);
    end loop;
end $$;

-- ---- rights of the server ----

grant update (state, version, conditions, duration_s) on penstock.recording to penstock_app;
grant select, insert on penstock.sample_block, penstock.recording_revision, penstock.recording_change,
    penstock.retention_rule to penstock_app;
grant select, insert, update (data) on penstock.recording_chunk to penstock_app;

-- ---- a page that asks by itself keeps nobody signed in ----

drop function penstock.session_principal(bytea);
create function penstock.session_principal(wanted_hash bytea, counts boolean default true)
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
    if counts and found.last_used_at < now() - interval '1 minute' then
        update penstock.session s set last_used_at = now()
         where s.clinic_id = found.clinic_id and s.session_hash = wanted_hash;
    end if;
    return query
        select a.id, a.clinic_id, c.name, a.username, a.display_name, a.roles
          from penstock.account a join penstock.clinic c on c.clinic_id = a.clinic_id
         where a.clinic_id = found.clinic_id and a.id = found.account_id and a.active;
    perform set_config('penstock.clinic', outer_clinic, true);
end $$;
comment on function penstock.session_principal(bytea, boolean) is
    'Who holds the session with a hash; nothing when it is over. Notes the use once a minute, unless it does not count: a page asked by itself';
revoke all on function penstock.session_principal(bytea, boolean) from public;
grant execute on function penstock.session_principal(bytea, boolean) to penstock_app;
