-- What a clinic has chosen where the literature leaves a limit open.

-- Each change is a row of its own, so that it stays known who chose what and when.
create table penstock.analysis_choices (
    clinic_id uuid not null references penstock.clinic,
    version integer not null check (version >= 1),
    numbers json not null check (json_typeof(numbers) = 'object'),
    created_at timestamptz not null default now(),
    created_by uuid,
    primary key (clinic_id, version)
);
comment on table penstock.analysis_choices is 'Limits of the analysis that a clinic has chosen; the newest version is in use, each analysis document states its own';
comment on column penstock.analysis_choices.clinic_id is 'Clinic that chose';
comment on column penstock.analysis_choices.version is 'Number of the change, from 1 without gaps';
comment on column penstock.analysis_choices.numbers is 'The numbers chosen, a JSON object by code; what is not in it has its standard';
comment on column penstock.analysis_choices.created_at is 'When it was chosen';
comment on column penstock.analysis_choices.created_by is 'Account or token that chose';

create trigger no_update before update on penstock.analysis_choices
    for each statement execute function penstock.refuse_change();
create trigger no_delete before delete on penstock.analysis_choices
    for each statement execute function penstock.refuse_removal();
create trigger no_truncate before truncate on penstock.analysis_choices
    for each statement execute function penstock.refuse_removal();

alter table penstock.analysis_choices enable row level security;
alter table penstock.analysis_choices force row level security;
create policy clinic_only on penstock.analysis_choices
    using (clinic_id = nullif(current_setting('penstock.clinic', true), '')::uuid)
    with check (clinic_id = nullif(current_setting('penstock.clinic', true), '')::uuid);

grant select, insert on penstock.analysis_choices to penstock_app;
