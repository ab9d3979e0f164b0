-- Letters to whoever referred: templates, letterhead, what a letter says and to whom, what was sent, and
-- batches.

-- ---- the clinic's template ----

create table penstock.letter_template (
    clinic_id uuid not null references penstock.clinic,
    name text not null check (name ~ '^[a-z0-9][a-z0-9-]{0,39}$'),
    language text not null check (language ~ '^[a-z]{2}$'),
    version integer not null check (version >= 1),
    body text not null check (octet_length(body) <= 16384),
    in_use boolean not null default true,
    created_at timestamptz not null default now(),
    created_by uuid,
    primary key (clinic_id, name, language, version)
);
comment on table penstock.letter_template is 'Templates that letters are written from; a change adds a version, and only what has no fault is stored';
comment on column penstock.letter_template.clinic_id is 'Clinic whose letters they are';
comment on column penstock.letter_template.name is 'What the template is called: "standard"';
comment on column penstock.letter_template.language is 'Language of the letter, ISO 639-1';
comment on column penstock.letter_template.version is 'Number, from 1 without gaps; the newest is in force';
comment on column penstock.letter_template.body is 'CommonMark with fields in double braces';
comment on column penstock.letter_template.in_use is 'Whether it is offered for new letters; false: retired';
comment on column penstock.letter_template.created_at is 'When the version was made';
comment on column penstock.letter_template.created_by is 'Account or token that made it';

create table penstock.letterhead (
    clinic_id uuid not null references penstock.clinic,
    version integer not null check (version >= 1),
    name text not null check (length(name) between 1 and 200),
    address json not null default '[]' check (json_typeof(address) = 'array'),
    telephone text not null default '' check (length(telephone) <= 200),
    language text not null check (language ~ '^[a-z]{2}$'),
    created_at timestamptz not null default now(),
    created_by uuid,
    primary key (clinic_id, version)
);
comment on table penstock.letterhead is 'What stands at the top of a clinic''s letters; a change adds a version';
comment on column penstock.letterhead.clinic_id is 'Clinic whose letters they are';
comment on column penstock.letterhead.version is 'Number, from 1 without gaps; the newest is in force';
comment on column penstock.letterhead.name is 'The clinic, as its letters name it';
comment on column penstock.letterhead.address is 'Lines of the address, a JSON array of strings';
comment on column penstock.letterhead.telephone is 'Telephone and such, in words';
comment on column penstock.letterhead.language is 'Language of letters for which none was chosen, ISO 639-1';
comment on column penstock.letterhead.created_at is 'When the version was made';
comment on column penstock.letterhead.created_by is 'Account or token that made it';

-- ---- what one study's letter says, and to whom ----

create table penstock.letter (
    clinic_id uuid not null,
    study_id uuid not null,
    version integer not null check (version >= 1),
    template_name text not null check (length(template_name) between 1 and 40),
    language text not null check (language ~ '^[a-z]{2}$'),
    addressee_name text not null check (length(addressee_name) <= 200),
    addressee_salutation text not null default '' check (length(addressee_salutation) <= 200),
    addressee_address json not null default '[]' check (json_typeof(addressee_address) = 'array'),
    referrer_id uuid,
    copies json not null default '[]' check (json_typeof(copies) = 'array'),
    question text not null default '' check (length(question) <= 4000),
    remarks text not null default '' check (length(remarks) <= 4000),
    created_at timestamptz not null default now(),
    created_by uuid,
    primary key (clinic_id, study_id, version),
    foreign key (clinic_id, study_id) references penstock.study (clinic_id, id),
    foreign key (clinic_id, referrer_id) references penstock.account (clinic_id, id)
);
comment on table penstock.letter is 'To whom a study''s letter goes, and what it says beside what was found; a change adds a version';
comment on column penstock.letter.clinic_id is 'Clinic of the study';
comment on column penstock.letter.study_id is 'What the letter is about';
comment on column penstock.letter.version is 'Number, from 1 without gaps; the newest is in force';
comment on column penstock.letter.template_name is 'Template that it is written from';
comment on column penstock.letter.language is 'Language that it is written in';
comment on column penstock.letter.addressee_name is 'Whom it is for; empty: not known yet';
comment on column penstock.letter.addressee_salutation is 'How it greets; empty: as the template does';
comment on column penstock.letter.addressee_address is 'Lines of the addressee''s address, a JSON array of strings';
comment on column penstock.letter.referrer_id is 'Account of the addressee, who may be shown the letter there; null: has none';
comment on column penstock.letter.copies is 'Who else gets it, a JSON array of strings';
comment on column penstock.letter.question is 'What was asked';
comment on column penstock.letter.remarks is 'Words for this letter only';
comment on column penstock.letter.created_at is 'When the version was made';
comment on column penstock.letter.created_by is 'Account or token that made it';

-- ---- batches ----

create table penstock.letter_batch (
    clinic_id uuid not null references penstock.clinic,
    id uuid not null,
    way text not null check (way in ('printed', 'handed_over', 'post', 'portal')),
    created_at timestamptz not null default now(),
    created_by uuid,
    primary key (clinic_id, id)
);
comment on table penstock.letter_batch is 'Letters that are sent together';
comment on column penstock.letter_batch.clinic_id is 'Clinic of the letters';
comment on column penstock.letter_batch.id is 'Identifier, UUID version 7';
comment on column penstock.letter_batch.way is 'How they are sent: printed, handed_over, post or portal';
comment on column penstock.letter_batch.created_at is 'When it was made';
comment on column penstock.letter_batch.created_by is 'Account or token that made it';

-- ---- what was sent ----

create table penstock.letter_dispatch (
    clinic_id uuid not null,
    id uuid not null,
    study_id uuid not null,
    signature_number integer not null,
    letter_version integer not null,
    template_name text not null,
    language text not null,
    template_version integer not null check (template_version >= 0),
    way text not null check (way in ('printed', 'handed_over', 'post', 'portal')),
    recipient text not null check (length(recipient) between 1 and 200),
    referrer_id uuid,
    repetition integer not null default 0 check (repetition >= 0),
    sent_at timestamptz not null default now(),
    sent_by uuid,
    batch_id uuid,
    pdf bytea not null,
    html text not null,
    plain text not null,
    sha256 bytea not null,
    primary key (clinic_id, id),
    unique (clinic_id, study_id, signature_number, way, recipient, repetition),
    foreign key (clinic_id, study_id, signature_number) references penstock.signature (clinic_id, study_id, number),
    foreign key (clinic_id, study_id, letter_version) references penstock.letter (clinic_id, study_id, version),
    foreign key (clinic_id, referrer_id) references penstock.account (clinic_id, id),
    foreign key (clinic_id, batch_id) references penstock.letter_batch (clinic_id, id),
    constraint letter_dispatch_hash check (sha256 = sha256(pdf)),
    check ((way = 'portal') = (referrer_id is not null))
);
-- PDF is compressed already.
alter table penstock.letter_dispatch alter column pdf set storage external;
comment on table penstock.letter_dispatch is 'Letters that were sent, byte by byte as they were; never changed';
comment on column penstock.letter_dispatch.clinic_id is 'Clinic of the study';
comment on column penstock.letter_dispatch.id is 'Identifier, UUID version 7';
comment on column penstock.letter_dispatch.study_id is 'What the letter is about';
comment on column penstock.letter_dispatch.signature_number is 'The signature of the study that it tells of';
comment on column penstock.letter_dispatch.letter_version is 'The version of letter that it was written from';
comment on column penstock.letter_dispatch.template_name is 'Template that it was written from';
comment on column penstock.letter_dispatch.language is 'Language that it was written in';
comment on column penstock.letter_dispatch.template_version is 'Version of the template; 0: the one that every clinic has from the start';
comment on column penstock.letter_dispatch.way is 'printed, handed_over, post, or portal: the referrer''s account may read it';
comment on column penstock.letter_dispatch.recipient is 'To whom';
comment on column penstock.letter_dispatch.referrer_id is 'Account that may read it; null: went another way';
comment on column penstock.letter_dispatch.repetition is 'How often it had gone there the same way before, wanted each time; so it is never sent twice unknowingly';
comment on column penstock.letter_dispatch.sent_at is 'When';
comment on column penstock.letter_dispatch.sent_by is 'Account or token that sent it';
comment on column penstock.letter_dispatch.batch_id is 'Batch in which it was sent; null: by itself';
comment on column penstock.letter_dispatch.pdf is 'The letter as PDF';
comment on column penstock.letter_dispatch.html is 'The same as a page';
comment on column penstock.letter_dispatch.plain is 'The same as plain text';
comment on column penstock.letter_dispatch.sha256 is 'SHA-256 of pdf';

create table penstock.letter_batch_item (
    clinic_id uuid not null,
    batch_id uuid not null,
    study_id uuid not null,
    place integer not null check (place >= 1),
    state text not null default 'waiting' check (state in ('waiting', 'sent', 'failed')),
    reason text not null default '' check (length(reason) <= 400),
    dispatch_id uuid,
    ended_at timestamptz,
    primary key (clinic_id, batch_id, study_id),
    foreign key (clinic_id, batch_id) references penstock.letter_batch (clinic_id, id),
    foreign key (clinic_id, study_id) references penstock.study (clinic_id, id),
    foreign key (clinic_id, dispatch_id) references penstock.letter_dispatch (clinic_id, id),
    check ((state = 'sent') = (dispatch_id is not null)),
    check ((state = 'waiting') = (ended_at is null)),
    check ((state = 'failed') = (reason <> ''))
);
create index letter_batch_item_by_study on penstock.letter_batch_item (clinic_id, study_id);
comment on table penstock.letter_batch_item is 'The letters of a batch, and how far each has come';
comment on column penstock.letter_batch_item.clinic_id is 'Clinic of the batch';
comment on column penstock.letter_batch_item.batch_id is 'The batch';
comment on column penstock.letter_batch_item.study_id is 'What the letter is about';
comment on column penstock.letter_batch_item.place is 'Place in the batch, from 1';
comment on column penstock.letter_batch_item.state is 'waiting, sent or failed';
comment on column penstock.letter_batch_item.reason is 'Why it failed; empty otherwise';
comment on column penstock.letter_batch_item.dispatch_id is 'The letter that was sent; null: none was';
comment on column penstock.letter_batch_item.ended_at is 'When it was sent or failed; null: waiting';

create function penstock.guard_batch_item() returns trigger
    language plpgsql
as $$
begin
    if old.state <> 'waiting' or new.state = 'waiting'
       or (old.clinic_id, old.batch_id, old.study_id, old.place)
          is distinct from (new.clinic_id, new.batch_id, new.study_id, new.place) then
        raise exception 'a letter of a batch is sent or fails, and once' using errcode = 'PS002';
    end if;
    return new;
end $$;
comment on function penstock.guard_batch_item() is 'Trigger: a letter of a batch goes from waiting to sent or failed, once';
create trigger only_ended before update on penstock.letter_batch_item
    for each row execute function penstock.guard_batch_item();

-- Only what is signed is sent, and only as the newest signature has it.
create function penstock.guard_dispatch() returns trigger
    language plpgsql
as $$
begin
    perform from penstock.study s
      where s.clinic_id = new.clinic_id and s.id = new.study_id and s.status in ('final', 'amended') for share;
    if not found
       or new.signature_number <> (select max(g.number) from penstock.signature g
                                    where g.clinic_id = new.clinic_id and g.study_id = new.study_id) then
        raise exception 'a letter is sent of what is signed' using errcode = 'PS001';
    end if;
    return new;
end $$;
comment on function penstock.guard_dispatch() is 'Trigger: a letter is sent only of a signed study, by its newest signature';
create trigger signed before insert on penstock.letter_dispatch
    for each row execute function penstock.guard_dispatch();

-- ---- what lasts ----

do $$
declare
    relation text;
begin
    foreach relation in array array['letter_template', 'letterhead', 'letter', 'letter_batch', 'letter_dispatch'] loop
        execute format('create trigger no_update before update on penstock.%I'
                       ' for each statement execute function penstock.refuse_change()', relation);
    end loop;
    foreach relation in array array['letter_template', 'letterhead', 'letter_batch'] loop
        execute format('create trigger no_delete before delete on penstock.%I'
                       ' for each statement execute function penstock.refuse_removal()', relation);
        execute format('create trigger no_truncate before truncate on penstock.%I'
                       ' for each statement execute function penstock.refuse_removal()', relation);
    end loop;
end $$;

-- ---- who sees them ----

do $$
declare
    relation text;
begin
    foreach relation in array array['letter_template', 'letterhead', 'letter', 'letter_batch', 'letter_dispatch',
                                    'letter_batch_item'] loop
        execute format('alter table penstock.%I enable row level security', relation);
        execute format('alter table penstock.%I force row level security', relation);
        execute format('create policy clinic_only on penstock.%I'
                       ' using (clinic_id = nullif(current_setting(''penstock.clinic'', true), '''')::uuid)'
                       ' with check (clinic_id = nullif(current_setting(''penstock.clinic'', true), '''')::uuid)',
                       relation);
    end loop;
    foreach relation in array array['letter', 'letter_batch', 'letter_batch_item'] loop
        execute format('create policy within_reach on penstock.%I as restrictive'
                       ' using (current_setting(''penstock.reach'', true) = ''clinic'')', relation);
    end loop;
end $$;
-- A referrer reads what was given to that account to read, of the patients within reach: others who
-- have referred the same patient have letters of their own.
create policy within_reach on penstock.letter_dispatch as restrictive
    using (current_setting('penstock.reach', true) = 'clinic'
           or (way = 'portal' and current_setting('penstock.reach', true) in ('referred', 'open referred')
               and referrer_id = nullif(current_setting('penstock.actor', true), '')::uuid
               and penstock.is_study_within_reach(clinic_id, study_id)))
    with check (current_setting('penstock.reach', true) = 'clinic');

-- ---- where a patient's rows are ----

-- What earlier migrations have told, and before it what is new here: letters name a signature.
do $$
declare
    tables text;
begin
    select string_agg(format('(%s, %L, %L)', t.place, t.relation, t.key), ', ' order by t.place) into tables
      from (values (-3, 'letter_batch_item', 'study_id'), (-2, 'letter_dispatch', 'study_id'),
                   (-1, 'letter', 'study_id')
            union all
            select place, relation, key from penstock.patient_tables()) t (place, relation, key);
    execute format('create or replace function penstock.patient_tables()'
                   ' returns table (place integer, relation text, key text)'
                   ' language sql immutable as %L', 'values ' || tables);
end $$;

do $$
declare
    part record;
begin
    for part in select t.relation, t.key from penstock.patient_tables() t
                 where t.relation in ('letter_batch_item', 'letter_dispatch', 'letter') loop
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

grant select, insert (clinic_id, name, language, version, body, in_use, created_by)
    on penstock.letter_template to penstock_app;
grant select, insert (clinic_id, version, name, address, telephone, language, created_by)
    on penstock.letterhead to penstock_app;
grant select, insert (clinic_id, study_id, version, template_name, language, addressee_name, addressee_salutation,
                      addressee_address, referrer_id, copies, question, remarks, created_by)
    on penstock.letter to penstock_app;
grant select, insert (clinic_id, id, way, created_by) on penstock.letter_batch to penstock_app;
grant select, insert (clinic_id, id, study_id, signature_number, letter_version, template_name, language,
                      template_version, way, recipient, referrer_id, repetition, sent_by, batch_id, pdf, html, plain,
                      sha256)
    on penstock.letter_dispatch to penstock_app;
grant select, insert (clinic_id, batch_id, study_id, place), update (state, reason, dispatch_id, ended_at)
    on penstock.letter_batch_item to penstock_app;
