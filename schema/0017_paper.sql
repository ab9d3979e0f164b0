-- What leads from paper back to a study, and what is read behind a link.

comment on column penstock.study_link.read_count is 'How often it was opened: by its page, or by a file that was asked for without one';
comment on column penstock.study_link.last_read_at is 'When it was last opened; files that are asked for within 30 minutes belong to that opening; null: never';

-- Whoever reads through a link reads what was sent of that study: the server shows the last letter of
-- the newest signature.
alter policy within_reach on penstock.letter_dispatch
    using (current_setting('penstock.reach', true) = 'clinic'
           or (way = 'portal' and current_setting('penstock.reach', true) in ('referred', 'open referred')
               and referrer_id = nullif(current_setting('penstock.actor', true), '')::uuid
               and penstock.is_study_within_reach(clinic_id, study_id))
           or (current_setting('penstock.reach', true) = 'link'
               and penstock.is_study_within_reach(clinic_id, study_id)));
