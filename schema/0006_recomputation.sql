-- Which version of the analysis made a document, so that older ones can be found and made anew.

alter table penstock.recording_revision
    add column analysis_version text not null default ''
        check (analysis_version ~ '^([0-9]{1,6}([.][0-9]{1,6}){0,3})?$'),
    add column reason text not null default '' check (length(reason) <= 200);
comment on column penstock.recording_revision.analysis_version is 'Version of the analysis that made the document; empty: before versions were kept';
comment on column penstock.recording_revision.reason is 'Why the revision was made, where nobody changed the events; else empty';

-- Documents are brought up to date clinic by clinic. Which clinics there are is told to nobody but
-- the owner, who has to ask for it by name.
create policy every_clinic on penstock.clinic for select to current_user
    using (current_setting('penstock.lookup', true) = 'every clinic');
