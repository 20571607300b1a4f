/* Preloaded into the hub alone: shifts CLOCK_REALTIME by the nanoseconds that stand in a file; no other clock. */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <fcntl.h>
#include <stdint.h>
#include <stdlib.h>
#include <sys/mman.h>
#include <sys/time.h>
#include <time.h>

static const volatile int64_t *shift_ns;
static int (*real_clock_gettime)(clockid_t, struct timespec *);

static void __attribute__((constructor)) begin(void) {
    int file = open(getenv("WALL_SHIFT_FILE"), O_RDONLY);
    real_clock_gettime = dlsym(RTLD_NEXT, "clock_gettime");
    void *page = mmap(0, sizeof(int64_t), PROT_READ, MAP_SHARED, file, 0);
    if (page != MAP_FAILED) shift_ns = page;
}

int clock_gettime(clockid_t which, struct timespec *at) {
    int done = real_clock_gettime(which, at);
    if (done == 0 && which == CLOCK_REALTIME && shift_ns) {
        int64_t ns = (int64_t)at->tv_sec * 1000000000 + at->tv_nsec + *shift_ns;
        at->tv_sec = ns / 1000000000;
        at->tv_nsec = ns % 1000000000;
    }
    return done;
}

time_t time(time_t *where) {
    struct timespec at;
    clock_gettime(CLOCK_REALTIME, &at);
    if (where) *where = at.tv_sec;
    return at.tv_sec;
}

int gettimeofday(struct timeval *at, void *zone) {
    struct timespec precise;
    (void)zone;
    clock_gettime(CLOCK_REALTIME, &precise);
    at->tv_sec = precise.tv_sec;
    at->tv_usec = precise.tv_nsec / 1000;
    return 0;
}
