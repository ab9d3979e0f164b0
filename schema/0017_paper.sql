-- What leads from paper back to a study, and what is read behind a link.

comment on column penstock.study_link.read_count is 'How often it was opened: by its page, or by a file that was asked for without one';
comment on column penstock.study_link.last_read_at is 'When it was last opened; files that are asked for within 30 minutes belong to that opening; null: never';
