#include "parameters.h"

#include "analysis/analysis.h"
#include "analysis/catalogue.h"
#include "analysis/choices.h"

#include <stdio.h>

static const char *kind_words(enum catalogue_kind kind, const char *unit)
{
    if (kind == CATALOGUE_WORD) {
        return "word";
    }
    return kind == CATALOGUE_YES_NO ? "yes/no" : unit;
}

static void print_rows(const struct catalogue_section *section)
{
    if (section->row_count == 0) {
        return;
    }
    printf("| value | unit | what, and how it is computed | source |\n| --- | --- | --- | --- |\n");
    for (size_t i = 0; i < section->row_count; i++) {
        const struct catalogue_row *row = &section->rows[i];

        printf("| `%s` | `%s` | **%s.** %s | %s |\n", row->code, kind_words(row->kind, row->unit),
               row->label, row->definition, row->source);
    }
    printf("\n");
}

static void print_list(const struct catalogue_list *list)
{
    printf("`%s`: **%s.** %s Source: %s.\n\n| member | unit | what |\n| --- | --- | --- |\n",
           list->code, list->label, list->definition, list->source);
    for (size_t i = 0; i < list->column_count; i++) {
        const struct catalogue_column *column = &list->columns[i];

        printf("| `%s` | `%s` | %s |\n", column->code, kind_words(column->kind, column->unit),
               column->label);
    }
    printf("\n");
}

static void print_sections(void)
{
    for (size_t i = 0; i < catalogue_section_count(); i++) {
        const struct catalogue_section *section = catalogue_section(i);

        printf("## %s: `%s`\n\n", section->label, section->code);
        if (section->repeated) {
            printf("An array, one entry a pull.\n\n");
        }
        print_rows(section);
        for (size_t k = 0; k < section->list_count; k++) {
            print_list(&section->lists[k]);
        }
    }
}

static void print_choices(void)
{
    printf("## Limits that a clinic may choose\n\n"
           "`GET` and `PUT /v1/analysis-choices`. Every analysis document states what was in use "
           "under `choices`.\n\n"
           "| choice | unit | standard | range | what | source |\n"
           "| --- | --- | --- | --- | --- | --- |\n");
    for (size_t i = 0; i < choices_count(); i++) {
        const struct choice_row *row = choices_row(i);

        printf("| `%s` | `%s` | ", row->code, row->unit);
        if (row->has_default) {
            printf("%g", row->standard);
        } else {
            printf("none");
        }
        printf(" | %g to %g | %s | %s |\n", row->least, row->most, row->label, row->source);
    }
}

void parameters_print(void)
{
    printf("# What is computed\n\n"
           "Analysis version %s. This page is what `penstock-server parameters` prints; a test "
           "keeps it so.\n\n"
           "Everything here is computed and preliminary until a qualified clinician signs it. "
           "\"From memory\" marks what was not confirmed in a source at hand.\n\n",
           ANALYSIS_VERSION);
    print_sections();
    print_choices();
}
