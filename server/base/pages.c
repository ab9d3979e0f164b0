#include "base/pages.h"

#include <malloc.h>
#include <stdint.h>
#include <sys/mman.h>

enum { LARGE_PAGE = PAGES_LARGE, KEPT = 4 * 1024 * 1024 };

size_t pages_size(size_t size)
{
    size_t pages = size == 0 ? 1 : (size - 1) / LARGE_PAGE + 1;
    return pages * LARGE_PAGE;
}

void *pages_new(size_t size)
{
    if (size > SIZE_MAX - 2 * (size_t)LARGE_PAGE) {
        return NULL;
    }
    /* The system aligns to its small pages: one large page more holds an aligned beginning. */
    size_t length = pages_size(size);
    char *mapped = mmap(NULL, length + LARGE_PAGE, PROT_READ | PROT_WRITE,
                        MAP_PRIVATE | MAP_ANONYMOUS | MAP_NORESERVE, -1, 0);
    if (mapped == MAP_FAILED) {
        return NULL;
    }
    size_t before = (LARGE_PAGE - (uintptr_t)mapped % LARGE_PAGE) % LARGE_PAGE;
    char *pages = mapped + before;
    if (before > 0) {
        (void)munmap(mapped, before);
    }
    (void)munmap(pages + length, LARGE_PAGE - before);
    (void)madvise(pages, length, MADV_HUGEPAGE); /* small pages do as well, slower */
    return pages;
}

void pages_free(void *pages, size_t size)
{
    if (pages != NULL) {
        (void)munmap(pages, pages_size(size));
    }
}

void pages_keep_small(void)
{
    /* NOLINTBEGIN(concurrency-mt-unsafe): no thread is there yet */
    (void)mallopt(M_MMAP_THRESHOLD, PAGES_WORTHWHILE);
    (void)mallopt(M_TRIM_THRESHOLD, KEPT);
    /* NOLINTEND(concurrency-mt-unsafe) */
}
