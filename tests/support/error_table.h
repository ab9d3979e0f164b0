/* Errors of an estimate against known truth, and how well things are found, collected over a sweep
 * and printed as a table: bias, median and 95th percentile of the absolute error, sensitivity,
 * precision. */
#ifndef TESTS_SUPPORT_ERROR_TABLE_H
#define TESTS_SUPPORT_ERROR_TABLE_H

#include <stddef.h>

enum { ERROR_TABLE_ROWS = 48, ERROR_TABLE_NAME = 48 };

struct error_row {
    char name[ERROR_TABLE_NAME];
    size_t count;
    size_t capacity;
    double *errors;
    size_t absent; /* cases in which there should have been a value */
};

struct detection_row {
    char name[ERROR_TABLE_NAME];
    size_t truth;  /* things that were there */
    size_t found;  /* of these, found */
    size_t claims; /* things that were claimed */
    size_t right;  /* of these, true */
};

struct error_table {
    const char *title;
    size_t row_count;
    struct error_row rows[ERROR_TABLE_ROWS];
    size_t detection_count;
    struct detection_row detections[ERROR_TABLE_ROWS];
};

void error_table_open(struct error_table *table, const char *title);
void error_table_close(struct error_table *table);

/* Adds one error, estimate minus truth; NaN counts as absent. */
void error_table_add(struct error_table *table, const char *name, double error);

/* Matches found times with true ones, each at most once, within `slack_s` (both in order of time),
 * and adds what was found and what was not. */
void error_table_match(struct error_table *table, const char *name, const double *truth,
                       size_t truth_count, const double *found, size_t found_count, double slack_s);

/* Adds counts that the caller matched itself. */
void error_table_detect(struct error_table *table, const char *name, struct detection_row counts);

/* Prints the table with print_message(). */
void error_table_print(const struct error_table *table);

/* Mean error, 95th percentile of the absolute error, share found and share right. They fail the
 * test when there is no such row, or nothing in it. */
double error_table_bias(const struct error_table *table, const char *name);
double error_table_p95(const struct error_table *table, const char *name);
size_t error_table_absent(const struct error_table *table, const char *name);
double error_table_sensitivity(const struct error_table *table, const char *name);
double error_table_precision(const struct error_table *table, const char *name);

#endif
