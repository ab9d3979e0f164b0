#include "api/interpretation_draft.h"

#include "store/store_recording.h"

#include <string.h>

static bool has_text(const struct interpretation *draft, const char *text)
{
    for (size_t i = 0; i < draft->finding_count; i++) {
        if (strcmp(draft->findings[i].text, text) == 0) {
            return true;
        }
    }
    return false;
}

/* "filling" of "filling.involuntary_contractions"; NULL when there is no basis. */
static const char *section_of(struct arena *arena, const struct interpretation_finding *finding)
{
    if (finding->basis_count == 0) {
        return NULL;
    }
    return arena_printf(arena, "%.*s", (int)strcspn(finding->basis[0], ".["), finding->basis[0]);
}

static void add_finding(struct arena *arena, const json_t *item, struct interpretation *draft)
{
    const char *text = json_string_value(json_object_get(item, "text"));
    const char *code = json_string_value(json_object_get(item, "code"));
    const json_t *basis = json_object_get(item, "basis");
    if (text == NULL || draft->finding_count == INTERPRETATION_FINDINGS_MOST ||
        has_text(draft, text)) {
        return;
    }
    struct interpretation_finding *finding = &draft->findings[draft->finding_count++];
    *finding = (struct interpretation_finding){
        .code = code == NULL ? NULL : arena_strdup(arena, code),
        .text = arena_strdup(arena, text),
        .basis = arena_array(arena, INTERPRETATION_BASIS_MOST, sizeof *finding->basis),
    };
    for (size_t i = 0; i < json_array_size(basis) && i < INTERPRETATION_BASIS_MOST; i++) {
        const char *name = json_string_value(json_array_get(basis, i));
        if (name != NULL) {
            finding->basis[finding->basis_count++] = arena_strdup(arena, name);
        }
    }
    finding->section = section_of(arena, finding);
}

static bool add_analysis(struct arena *arena, const char *analysis_json,
                         struct interpretation *draft, struct error *reterr)
{
    json_t *analysis = json_reader_load_own(analysis_json);
    if (analysis == NULL) {
        return error_set(reterr, ERROR_INTERNAL, "a stored analysis that cannot be read back");
    }
    const json_t *findings = json_object_get(analysis, "findings");
    for (size_t i = 0; i < json_array_size(findings); i++) {
        add_finding(arena, json_array_get(findings, i), draft);
    }
    json_decref(analysis);
    return true;
}

bool interpretation_draft(struct store *store, struct arena *arena, const char *study_id,
                          struct interpretation *ret_draft, struct error *reterr)
{
    struct recording_row *rows = NULL;
    const char **analyses = NULL;
    size_t count = 0;
    *ret_draft = (struct interpretation){.conclusion = ""};
    ret_draft->findings =
        arena_array(arena, INTERPRETATION_FINDINGS_MOST, sizeof *ret_draft->findings);
    if (!recording_list_analysed(store, arena, study_id, &rows, &analyses, &count, reterr)) {
        return false;
    }
    for (size_t i = 0; i < count; i++) {
        if (!add_analysis(arena, analyses[i], ret_draft, reterr)) {
            return false;
        }
    }
    return true;
}
