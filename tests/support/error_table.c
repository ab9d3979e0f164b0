#include "support/error_table.h"

#include "support/assert_close.h"

#include <math.h>
#include <stdbool.h>
#include <stdlib.h>
#include <string.h>

void error_table_open(struct error_table *table, const char *title)
{
    memset(table, 0, sizeof *table);
    table->title = title;
}

void error_table_close(struct error_table *table)
{
    for (size_t i = 0; i < table->row_count; i++) {
        free(table->rows[i].errors);
    }
    table->row_count = 0;
}

static void take_name(char *target, const char *name)
{
    assert_true(strlen(name) < ERROR_TABLE_NAME);
    memcpy(target, name, strlen(name) + 1);
}

static struct error_row *row_for(struct error_table *table, const char *name)
{
    for (size_t i = 0; i < table->row_count; i++) {
        if (strcmp(table->rows[i].name, name) == 0) {
            return &table->rows[i];
        }
    }
    assert_true(table->row_count < ERROR_TABLE_ROWS);
    struct error_row *row = &table->rows[table->row_count++];

    take_name(row->name, name);
    return row;
}

void error_table_add(struct error_table *table, const char *name, double error)
{
    struct error_row *row = row_for(table, name);

    if (isnan(error)) {
        row->absent++;
        return;
    }
    if (row->count == row->capacity) {
        row->capacity = row->capacity == 0 ? 64 : 2 * row->capacity;
        row->errors = realloc(row->errors, row->capacity * sizeof *row->errors);
        assert_non_null(row->errors);
    }
    row->errors[row->count++] = error;
}

void error_table_detect(struct error_table *table, const char *name, struct detection_row counts)
{
    size_t i = 0;

    while (i < table->detection_count && strcmp(table->detections[i].name, name) != 0) {
        i++;
    }
    assert_true(i < ERROR_TABLE_ROWS);
    struct detection_row *row = &table->detections[i];

    if (i == table->detection_count) {
        table->detection_count++;
        take_name(row->name, name);
    }
    row->truth += counts.truth;
    row->found += counts.found;
    row->claims += counts.claims;
    row->right += counts.right;
}

void error_table_match(struct error_table *table, const char *name, const double *truth,
                       size_t truth_count, const double *found, size_t found_count, double slack_s)
{
    struct detection_row counts = {.truth = truth_count, .claims = found_count};
    size_t next = 0;

    for (size_t i = 0; i < truth_count; i++) {
        while (next < found_count && found[next] < truth[i] - slack_s) {
            next++;
        }
        if (next < found_count && found[next] <= truth[i] + slack_s) {
            counts.found++;
            counts.right++;
            next++;
        }
    }
    error_table_detect(table, name, counts);
}

static int compare(const void *a, const void *b)
{
    const double left = *(const double *)a;
    const double right = *(const double *)b;

    return (left > right) - (left < right);
}

static const struct error_row *find(const struct error_table *table, const char *name)
{
    for (size_t i = 0; i < table->row_count; i++) {
        if (strcmp(table->rows[i].name, name) == 0 && table->rows[i].count > 0) {
            return &table->rows[i];
        }
    }
    fail_msg("no errors were collected for %s", name);
    return NULL;
}

static double bias_of(const struct error_row *row)
{
    double sum = 0.0;

    for (size_t i = 0; i < row->count; i++) {
        sum += row->errors[i];
    }
    return sum / (double)row->count;
}

/* Nearest rank of the absolute errors. */
static double rank_of(const struct error_row *row, double share)
{
    double *sizes = malloc(row->count * sizeof *sizes);

    assert_non_null(sizes);
    for (size_t i = 0; i < row->count; i++) {
        sizes[i] = fabs(row->errors[i]);
    }
    qsort(sizes, row->count, sizeof *sizes, compare);
    const size_t rank = (size_t)ceil(share * (double)row->count);
    const double size = sizes[rank == 0 ? 0 : rank - 1];

    free(sizes);
    return size;
}

double error_table_bias(const struct error_table *table, const char *name)
{
    return bias_of(find(table, name));
}

double error_table_p95(const struct error_table *table, const char *name)
{
    return rank_of(find(table, name), 0.95);
}

size_t error_table_absent(const struct error_table *table, const char *name)
{
    return find(table, name)->absent;
}

static const struct detection_row *find_detection(const struct error_table *table, const char *name)
{
    for (size_t i = 0; i < table->detection_count; i++) {
        if (strcmp(table->detections[i].name, name) == 0 && table->detections[i].truth > 0) {
            return &table->detections[i];
        }
    }
    fail_msg("nothing was there to be found for %s", name);
    return NULL;
}

static double share(size_t part, size_t whole)
{
    return whole == 0 ? 0.0 : (double)part / (double)whole;
}

double error_table_sensitivity(const struct error_table *table, const char *name)
{
    const struct detection_row *row = find_detection(table, name);

    return share(row->found, row->truth);
}

double error_table_precision(const struct error_table *table, const char *name)
{
    const struct detection_row *row = find_detection(table, name);

    return share(row->right, row->claims);
}

void error_table_print(const struct error_table *table)
{
    print_message("%s\n", table->title);
    if (table->row_count > 0) {
        print_message("  %-34s %7s %7s %9s %9s %9s\n", "value", "n", "absent", "bias", "median|e|",
                      "95th|e|");
    }
    for (size_t i = 0; i < table->row_count; i++) {
        const struct error_row *row = &table->rows[i];

        if (row->count > 0) {
            print_message("  %-34s %7zu %7zu %9.4f %9.4f %9.4f\n", row->name, row->count,
                          row->absent, bias_of(row), rank_of(row, 0.5), rank_of(row, 0.95));
        }
    }
    if (table->detection_count > 0) {
        print_message("  %-34s %7s %7s %12s %12s\n", "found", "there", "claimed", "sensitivity",
                      "precision");
    }
    for (size_t i = 0; i < table->detection_count; i++) {
        const struct detection_row *row = &table->detections[i];

        print_message("  %-34s %7zu %7zu %11.2f%% %11.2f%%\n", row->name, row->truth, row->claims,
                      100.0 * share(row->found, row->truth),
                      100.0 * share(row->right, row->claims));
    }
}
