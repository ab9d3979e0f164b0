-- Equipment and the checks that it measures right.

create table penstock.device (
    clinic_id uuid not null references penstock.clinic,
    id uuid not null,
    kind text not null check (kind in ('pressure_transducer', 'flowmeter', 'infusion_pump', 'puller',
                                       'emg_amplifier', 'balloon_syringe', 'scale')),
    name text collate "und-x-icu" not null check (length(name) between 1 and 200),
    maker text not null default '' check (length(maker) <= 200),
    serial text not null default '' check (length(serial) <= 200),
    signals text[] not null default '{}',
    limits json not null default '{}' check (json_typeof(limits) = 'object'),
    created_at timestamptz not null default now(),
    created_by uuid,
    version integer not null default 1,
    primary key (clinic_id, id)
);
create index device_by_name on penstock.device (clinic_id, name, id);
comment on table penstock.device is 'A piece of equipment of a clinic''s rooms; where it stands is in device_place';
comment on column penstock.device.clinic_id is 'Clinic whose it is';
comment on column penstock.device.id is 'Identifier, UUID';
comment on column penstock.device.kind is 'What it is; decides how a check is judged, and never changes';
comment on column penstock.device.name is 'What the clinic calls it';
comment on column penstock.device.maker is 'Who made it, as the clinic writes it; empty: not said';
comment on column penstock.device.serial is 'Serial number; empty: not said';
comment on column penstock.device.signals is 'Names of the signals that it measures; empty: not said';
comment on column penstock.device.limits is 'The clinic''s own limits for it, a JSON object by quantity; what is not in it has its standard';
comment on column penstock.device.created_at is 'When the row was made';
comment on column penstock.device.created_by is 'Account or token that made it';
comment on column penstock.device.version is 'Grows by one with every change, also of its place';

-- A study of an earlier time finds the devices of that time. Of the rows that have begun by a moment
-- the one with the greatest number holds: a later row with an earlier beginning is a correction.
create table penstock.device_place (
    clinic_id uuid not null,
    device_id uuid not null,
    number integer not null check (number >= 1),
    from_at timestamptz not null,
    room text not null check (length(room) <= 200),
    in_use boolean not null,
    due_every_days integer check (due_every_days > 0),
    recorded_at timestamptz not null default now(),
    recorded_by uuid,
    primary key (clinic_id, device_id, number),
    foreign key (clinic_id, device_id) references penstock.device (clinic_id, id)
);
comment on table penstock.device_place is 'Where a device stands and whether it is in use, from a moment on; a row is never changed';
comment on column penstock.device_place.clinic_id is 'Clinic of the device';
comment on column penstock.device_place.device_id is 'Which device';
comment on column penstock.device_place.number is 'Number of the change, from 1 without gaps';
comment on column penstock.device_place.from_at is 'Since when it holds';
comment on column penstock.device_place.room is 'Exam room, as studies name it';
comment on column penstock.device_place.in_use is 'Whether studies are made with it';
comment on column penstock.device_place.due_every_days is 'After how many days a check has to be repeated; null: no interval is kept';
comment on column penstock.device_place.recorded_at is 'When the row was made';
comment on column penstock.device_place.recorded_by is 'Account or token that made it';

create table penstock.device_verification (
    clinic_id uuid not null,
    id uuid not null,
    device_id uuid not null,
    verified_at timestamptz not null,
    verified_by text not null check (length(verified_by) between 1 and 200),
    method text not null default '' check (length(method) <= 4000),
    remarks text not null default '' check (length(remarks) <= 4000),
    verdict text not null check (verdict in ('passed', 'failed', 'incomplete', 'not_judged')),
    words text not null,
    judgement json not null check (json_typeof(judgement) = 'object'),
    recorded_at timestamptz not null default now(),
    recorded_by uuid,
    primary key (clinic_id, id),
    foreign key (clinic_id, device_id) references penstock.device (clinic_id, id)
);
create index device_verification_by_device
    on penstock.device_verification (clinic_id, device_id, verified_at desc, id desc);
comment on table penstock.device_verification is 'Checks that a device measures right, with their verdict; a row is never changed, a new check replaces it';
comment on column penstock.device_verification.clinic_id is 'Clinic of the device';
comment on column penstock.device_verification.id is 'Identifier, UUID';
comment on column penstock.device_verification.device_id is 'Which device';
comment on column penstock.device_verification.verified_at is 'When it was done';
comment on column penstock.device_verification.verified_by is 'Name of the person who did it';
comment on column penstock.device_verification.method is 'How it was done, in words; empty: not said';
comment on column penstock.device_verification.remarks is 'What else that person noted';
comment on column penstock.device_verification.verdict is 'passed, failed, incomplete or not_judged, by the limits in judgement';
comment on column penstock.device_verification.words is 'The verdict as sentences';
comment on column penstock.device_verification.judgement is 'A JSON object: applied and read values with their errors, zero, lines through them, limits in use, rules not met';
comment on column penstock.device_verification.recorded_at is 'When the row was made';
comment on column penstock.device_verification.recorded_by is 'Account or token that made it';

-- ---- what lasts ----

do $$
declare
    relation text;
begin
    foreach relation in array array['device', 'device_place', 'device_verification'] loop
        execute format('create trigger no_delete before delete on penstock.%I'
                       ' for each statement execute function penstock.refuse_removal()', relation);
        execute format('create trigger no_truncate before truncate on penstock.%I'
                       ' for each statement execute function penstock.refuse_removal()', relation);
        if relation <> 'device' then
            execute format('create trigger no_update before update on penstock.%I'
                           ' for each statement execute function penstock.refuse_change()', relation);
        end if;
        execute format('alter table penstock.%I enable row level security', relation);
        execute format('alter table penstock.%I force row level security', relation);
        execute format('create policy clinic_only on penstock.%I'
                       ' using (clinic_id = nullif(current_setting(''penstock.clinic'', true), '''')::uuid)'
                       ' with check (clinic_id = nullif(current_setting(''penstock.clinic'', true), '''')::uuid)',
                       relation);
    end loop;
end $$;

-- ---- rights of the server ----

grant select, insert, update (name, maker, serial, signals, limits, version) on penstock.device to penstock_app;
grant select, insert on penstock.device_place, penstock.device_verification to penstock_app;
