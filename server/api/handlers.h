/* The handlers that the table of routes names, one group a file. */
#ifndef API_HANDLERS_H
#define API_HANDLERS_H

#include "http/http.h"

typedef void api_handler(void *context, struct http_request *request,
                         struct http_response *response);

/* operation.c */
api_handler operation_health;
api_handler operation_ready;
api_handler operation_openapi;

/* pages.c */
api_handler pages_sign_in;
api_handler pages_today;
api_handler pages_study;
api_handler pages_audit;
api_handler pages_account;
api_handler pages_letters;
api_handler pages_public_asset;
api_handler pages_asset;

/* sessions.c */
api_handler sessions_create;
api_handler sessions_get_current;
api_handler sessions_delete_current;
api_handler sessions_list;
api_handler sessions_delete;
api_handler sessions_delete_others;

/* own_password.c */
api_handler own_password_change;

/* second_factor.c */
api_handler second_factor_show;
api_handler second_factor_create;
api_handler second_factor_confirm;
api_handler second_factor_renew_codes;
api_handler second_factor_delete;

/* single_sign_on.c */
api_handler single_sign_on_begin;
api_handler single_sign_on_return;
api_handler sign_in_methods_get;

/* users.c */
api_handler users_list;
api_handler users_create;
api_handler users_get;
api_handler users_patch;

/* user_sessions.c */
api_handler user_sessions_list;
api_handler user_sessions_delete;

/* tokens.c */
api_handler tokens_list;
api_handler tokens_create;
api_handler tokens_rotate;
api_handler tokens_delete;

/* sign_in_rules.c */
api_handler sign_in_rules_get;
api_handler sign_in_rules_put;

/* choices.c */
api_handler choices_get_all;
api_handler choices_put_all;

/* devices.c */
api_handler devices_list;
api_handler devices_create;
api_handler devices_get;
api_handler devices_patch;

/* verifications.c */
api_handler verifications_list;
api_handler verifications_create;

/* parameters.c */
api_handler parameters_get;

/* nomograms.c */
api_handler nomograms_list;

/* patients.c */
api_handler patients_list;
api_handler patients_create;
api_handler patients_get;
api_handler patients_put;

/* patient_file.c */
api_handler patient_file_get;

/* erasures.c */
api_handler erasures_create;
api_handler erasures_list;
api_handler erasures_get;
api_handler erasures_patch;
api_handler erasures_withdraw;
api_handler holds_get;
api_handler holds_put;
api_handler holds_delete;

/* research.c */
api_handler research_get;

/* trend.c */
api_handler trend_get;

/* trend_figure.c */
api_handler trend_figure_get;

/* studies.c */
api_handler studies_list;
api_handler studies_create;
api_handler studies_get;
api_handler studies_patch;

/* recordings.c */
api_handler recordings_list;
api_handler recordings_create;
api_handler recordings_get;
api_handler recordings_get_analysis;

/* pieces.c */
api_handler pieces_open;
api_handler pieces_put;
api_handler pieces_complete;

/* live.c */
api_handler live_get;
api_handler live_get_analysis;

/* recording_state.c */
api_handler recording_state_withdraw;
api_handler recording_state_restore;
api_handler recording_state_history;

/* retention.c */
api_handler retention_get;
api_handler retention_put;

/* events.c */
api_handler events_get;
api_handler events_put;

/* traces.c */
api_handler traces_get;

/* figures.c */
api_handler figures_list;
api_handler figures_get;

/* letter_templates.c */
api_handler letter_fields_list;
api_handler letter_templates_list;
api_handler letter_templates_get;
api_handler letter_templates_put;
api_handler letter_templates_preview;
api_handler letterhead_get;
api_handler letterhead_put;

/* letters.c */
api_handler letter_settings_get;
api_handler letter_settings_put;
api_handler letter_get;
api_handler letter_dispatches_create;
api_handler letter_dispatches_list;
api_handler letter_dispatches_get;
api_handler letters_list;

/* letter_batches.c */
api_handler letter_batches_create;
api_handler letter_batches_get;
api_handler letter_batches_next;
api_handler letter_batches_document;

/* audit_reading.c */
api_handler audit_list_entries;
api_handler audit_list_days;

/* analyses.c */
api_handler analyses_create;

/* summary.c */
api_handler summary_get;

/* interpretation.c */
api_handler interpretation_show;
api_handler interpretation_put;
api_handler interpretation_history;

/* signatures.c */
api_handler signatures_create;
api_handler amendments_create;

/* signatures_reading.c */
api_handler signatures_list;
api_handler signatures_report;
api_handler signatures_seal;

/* links.c */
api_handler links_create;
api_handler links_list;
api_handler links_delete;

/* link_page.c */
api_handler link_page_get;
api_handler link_report_get;
api_handler link_letter_get;

/* paper.c */
api_handler paper_follow;
api_handler links_get_code;

/* referred.c */
api_handler referred_page;
api_handler referred_report;
api_handler referred_letter;

/* referrals.c */
api_handler referrers_list;
api_handler referrals_list;
api_handler referrals_create;
api_handler referrals_end;
api_handler summaries_list;
api_handler emergency_create;

#endif
