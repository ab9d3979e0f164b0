/* Inside store/: what interpretation and signature say about in the same words. */
#ifndef STORE_STORE_SIGNATURE_PRIVATE_H
#define STORE_STORE_SIGNATURE_PRIVATE_H

/* The complete recordings of a study s with their revisions, as a JSON array. Two of them are
 * compared as texts: the order and the spelling are fixed. */
#define SIGNATURE_RECORDINGS                                                                       \
    "(select coalesce(json_agg(json_build_object('id', r.id, 'revision', r.revision)"              \
    " order by r.started_at, r.id), '[]') from penstock.recording r"                               \
    " where r.clinic_id = s.clinic_id and r.study_id = s.id and r.state = 'complete')"

#endif
