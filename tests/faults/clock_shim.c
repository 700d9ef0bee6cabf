/* Moves the wall clock of a child: a number of seconds, in a file that the test writes, is added to it.
 *
 * CLOCK_SHIM names the file: eight bytes, a double in this machine's order. The monotonic clocks are not touched.
 */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <fcntl.h>
#include <math.h>
#include <stdlib.h>
#include <sys/mman.h>
#include <sys/time.h>
#include <time.h>
#include <unistd.h>

static int (*real_clock)(clockid_t, struct timespec *);
static volatile double *offset_s;

__attribute__((constructor)) static void begin(void) {
    real_clock = dlsym(RTLD_NEXT, "clock_gettime");
    const char *path = getenv("CLOCK_SHIM");
    int fd = path ? open(path, O_RDONLY) : -1;
    if (fd < 0)
        return;
    void *page = mmap(NULL, sizeof(double), PROT_READ, MAP_SHARED, fd, 0);
    close(fd);
    if (page != MAP_FAILED)
        offset_s = page;
}

int clock_gettime(clockid_t which, struct timespec *now) {
    if (!real_clock)
        real_clock = dlsym(RTLD_NEXT, "clock_gettime");
    int failed = real_clock(which, now);
    if (failed || !offset_s || (which != CLOCK_REALTIME && which != CLOCK_REALTIME_COARSE))
        return failed;
    double whole = floor(*offset_s);
    now->tv_sec += (time_t)whole;
    now->tv_nsec += (long)((*offset_s - whole) * 1e9);
    if (now->tv_nsec >= 1000000000L) {
        now->tv_nsec -= 1000000000L;
        now->tv_sec += 1;
    }
    return 0;
}

int gettimeofday(struct timeval *restrict now, void *restrict zone) {
    struct timespec found;
    (void)zone;
    int failed = clock_gettime(CLOCK_REALTIME, &found);
    if (!failed && now) {
        now->tv_sec = found.tv_sec;
        now->tv_usec = found.tv_nsec / 1000;
    }
    return failed;
}

time_t time(time_t *store) {
    struct timespec found;
    clock_gettime(CLOCK_REALTIME, &found);
    if (store)
        *store = found.tv_sec;
    return found.tv_sec;
}
