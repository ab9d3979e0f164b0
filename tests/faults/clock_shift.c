/* Preloaded into a program, moves its calendar and leaves its stop-watches: what asks for the time
 * of day gets it moved by the seconds that stand in the file named by PENSTOCK_CLOCK_SHIFT, a
 * signed 64-bit integer in the machine's order. The file is mapped, so that the calendar jumps as
 * soon as it is written. Calls the kernel itself, so that it works below a sanitiser too. */
#include <fcntl.h>
#include <stdatomic.h>
#include <stddef.h>
#include <stdint.h>
#include <stdlib.h>
#include <sys/mman.h>
#include <sys/syscall.h>
#include <sys/time.h>
#include <time.h>
#include <unistd.h>

static const _Atomic(int64_t) *shift_s;

__attribute__((constructor)) static void map_shift(void)
{
    /* Before any thread starts. NOLINTNEXTLINE(concurrency-mt-unsafe) */
    const char *name = getenv("PENSTOCK_CLOCK_SHIFT");
    int file = name == NULL ? -1 : open(name, O_RDONLY | O_CLOEXEC);
    if (file < 0) {
        abort(); /* a test whose clock stands still would prove nothing */
    }
    void *mapping = mmap(NULL, sizeof *shift_s, PROT_READ, MAP_SHARED, file, 0);
    (void)close(file);
    if (mapping == MAP_FAILED) {
        abort();
    }
    shift_s = mapping;
}

static int read_clock(clockid_t clock, struct timespec *ret_time)
{
    int failed = (int)syscall(SYS_clock_gettime, clock, ret_time);
    if (failed == 0 && shift_s != NULL &&
        (clock == CLOCK_REALTIME || clock == CLOCK_REALTIME_COARSE)) {
        ret_time->tv_sec += atomic_load(shift_s);
    }
    return failed;
}

/* The C library's own names are reserved.
 * NOLINTBEGIN(readability-inconsistent-declaration-parameter-name) */
int clock_gettime(clockid_t clock, struct timespec *ret_time)
{
    return read_clock(clock, ret_time);
}

int gettimeofday(struct timeval *restrict ret_time, void *restrict zone)
{
    (void)zone;
    struct timespec now;
    int failed = read_clock(CLOCK_REALTIME, &now);
    if (failed == 0) {
        *ret_time = (struct timeval){.tv_sec = now.tv_sec, .tv_usec = now.tv_nsec / 1000};
    }
    return failed;
}

time_t time(time_t *ret_time)
{
    struct timespec now = {0};
    (void)read_clock(CLOCK_REALTIME, &now);
    if (ret_time != NULL) {
        *ret_time = now.tv_sec;
    }
    return now.tv_sec;
}

/* NOLINTEND(readability-inconsistent-declaration-parameter-name) */
