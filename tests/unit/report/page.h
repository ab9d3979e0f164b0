/* What can be said of a page as text. */
#ifndef TESTS_REPORT_PAGE_H
#define TESTS_REPORT_PAGE_H

#include <stddef.h>

/* The page must hold, or lack, a part. */
void page_holds(const char *page, const char *part);
void page_lacks(const char *page, const char *part);

/* How often a part stands in it. */
size_t page_count(const char *page, const char *part);

/* Every element that begins ends, in order; nothing but tags holds an angle bracket. */
void page_check_balance(const char *page);

#endif
