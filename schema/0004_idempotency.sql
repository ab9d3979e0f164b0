-- Answers to requests with an Idempotency-Key, to be given again when the request is repeated.

create table penstock.idempotency (
    clinic_id uuid not null references penstock.clinic,
    actor_id uuid not null,
    key text not null check (length(key) between 1 and 128),
    digest bytea not null check (length(digest) = 32),
    created_at timestamptz not null default now(),
    status integer,
    media_type text,
    etag text,
    location text,
    body bytea,
    primary key (clinic_id, actor_id, key)
);
create index idempotency_by_time on penstock.idempotency (clinic_id, created_at);
comment on table penstock.idempotency is 'First answers to requests with an Idempotency-Key, kept for 48 hours';
comment on column penstock.idempotency.clinic_id is 'Clinic of the requester';
comment on column penstock.idempotency.actor_id is 'Account or token that made the request';
comment on column penstock.idempotency.key is 'The Idempotency-Key';
comment on column penstock.idempotency.digest is 'SHA-256 of the request: the same key with another request is an error';
comment on column penstock.idempotency.created_at is 'When the request was made';
comment on column penstock.idempotency.status is 'HTTP status of the answer; null: the request gave no answer to repeat';
comment on column penstock.idempotency.media_type is 'Media type of the answer';
comment on column penstock.idempotency.etag is 'ETag of the answer, if any';
comment on column penstock.idempotency.location is 'Location of the answer, if any';
comment on column penstock.idempotency.body is 'Body of the answer';

alter table penstock.idempotency enable row level security;
alter table penstock.idempotency force row level security;
create policy clinic_only on penstock.idempotency
    using (clinic_id = nullif(current_setting('penstock.clinic', true), '')::uuid)
    with check (clinic_id = nullif(current_setting('penstock.clinic', true), '')::uuid);

grant select, insert, update, delete on penstock.idempotency to penstock_app;
