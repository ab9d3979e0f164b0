#include "analysis/catalogue.h"

#include "analysis/catalogue/sections.h"

#include <math.h>
#include <string.h>

/* Where a section's struct stands within the result. */
struct place {
    const struct catalogue_section *section;
    size_t flag;   /* of the bool that says whether it is part of the result */
    size_t offset; /* of the struct; unused when repeated */
};

#define PLACE(name)                                                                                \
    {                                                                                              \
        &catalogue_##name, offsetof(struct analysis_result, has_##name),                           \
            offsetof(struct analysis_result, name)                                                 \
    }

static const struct place places[] = {
    PLACE(uroflow),  PLACE(filling),          PLACE(voiding),   PLACE(emg),
    PLACE(profiles), PLACE(profiles_summary), PLACE(anorectal), PLACE(training),
};

enum { PLACE_COUNT = sizeof places / sizeof places[0] };

static const void *at_offset(const void *base, size_t offset)
{
    return (const char *)base + offset;
}

static const struct place *find_place(const struct catalogue_section *section)
{
    size_t i = 0;

    while (i < PLACE_COUNT - 1 && places[i].section != section) {
        i++;
    }
    return &places[i];
}

size_t catalogue_section_count(void)
{
    return PLACE_COUNT;
}

const struct catalogue_section *catalogue_section(size_t index)
{
    return places[index].section;
}

bool catalogue_present(const struct catalogue_section *section,
                       const struct analysis_result *result)
{
    return *(const bool *)at_offset(result, find_place(section)->flag);
}

size_t catalogue_instances(const struct catalogue_section *section,
                           const struct analysis_result *result)
{
    if (!catalogue_present(section, result)) {
        return 0;
    }
    return section->repeated ? result->profiles.count : 1;
}

const void *catalogue_instance(const struct catalogue_section *section,
                               const struct analysis_result *result, size_t index)
{
    if (section->repeated) {
        return &result->profiles.pulls[index];
    }
    return at_offset(result, find_place(section)->offset);
}

void *catalogue_writable(const struct catalogue_section *section, struct analysis_result *result,
                         size_t index)
{
    if (section->repeated) {
        return &result->profiles.pulls[index];
    }
    return (char *)result + find_place(section)->offset;
}

const struct measure *catalogue_measure(const struct catalogue_row *row, const void *instance)
{
    return at_offset(instance, row->offset);
}

const struct item_list *catalogue_items(const struct catalogue_list *list, const void *instance)
{
    return at_offset(instance, list->offset);
}

static const void *member(const struct catalogue_list *list, const struct item_list *items,
                          size_t index, const struct catalogue_column *column)
{
    return at_offset(items->items, index * list->item_size + column->offset);
}

double catalogue_number(const struct catalogue_list *list, const struct item_list *items,
                        size_t index, const struct catalogue_column *column)
{
    return *(const double *)member(list, items, index, column);
}

const char *catalogue_word(const struct catalogue_list *list, const struct item_list *items,
                           size_t index, const struct catalogue_column *column)
{
    return *(const char *const *)member(list, items, index, column);
}

bool catalogue_yes(const struct catalogue_list *list, const struct item_list *items, size_t index,
                   const struct catalogue_column *column)
{
    return *(const bool *)member(list, items, index, column);
}

size_t catalogue_count(void)
{
    size_t count = 0;

    for (size_t i = 0; i < PLACE_COUNT; i++) {
        count += places[i].section->row_count;
    }
    return count;
}

const struct catalogue_row *catalogue_row(size_t index)
{
    size_t i = 0;

    while (index >= places[i].section->row_count) {
        index -= places[i].section->row_count;
        i++;
    }
    return &places[i].section->rows[index];
}

/* Whole numbers, ties away from zero. 1.015 * 100 is below the tie that its decimals are. */
static double round_decimals(double value)
{
    const double tie = 1e-12;

    return round(value * (1.0 + tie));
}

double catalogue_rounded_to(double report_step, double value)
{
    /* A step below 1 is divided by its inverse, so that 0.29 does not become 0.29000000000000004.
     */
    if (report_step < 1.0) {
        const double parts = round(1.0 / report_step);

        return round_decimals(value * parts) / parts;
    }
    return round_decimals(value / report_step) * report_step;
}

double catalogue_rounded(const struct catalogue_row *row, double value)
{
    return catalogue_rounded_to(row->report_step, value);
}

const struct catalogue_section *catalogue_find_section(const char *code)
{
    for (size_t i = 0; i < PLACE_COUNT; i++) {
        if (strcmp(code, places[i].section->code) == 0) {
            return places[i].section;
        }
    }
    return NULL;
}

const char *catalogue_section_label(const char *section)
{
    const struct catalogue_section *found = catalogue_find_section(section);

    return found == NULL ? NULL : found->label;
}
