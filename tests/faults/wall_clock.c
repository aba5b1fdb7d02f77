/* Moves the clocks of this process alone, as the file named by WALL_CLOCK_FILE says. To be preloaded.
 *
 * The file holds two 64-bit numbers of seconds in the machine's order. By the first all clocks are ahead: so
 * time passes faster. By the second only the wall clock is, as on a computer whose clock is set.
 */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <fcntl.h>
#include <pthread.h>
#include <semaphore.h>
#include <stdint.h>
#include <stdlib.h>
#include <sys/mman.h>
#include <sys/time.h>
#include <time.h>
#include <unistd.h>

static volatile int64_t *file; /* seconds passed, seconds set */

__attribute__((constructor)) static void look_at_the_file(void)
{
    const char *path = getenv("WALL_CLOCK_FILE");
    int fd = path ? open(path, O_RDONLY | O_CLOEXEC) : -1;
    if (fd < 0)
        return;
    void *mapped = mmap(NULL, 2 * sizeof *file, PROT_READ, MAP_SHARED, fd, 0);
    close(fd);
    if (mapped != MAP_FAILED)
        file = mapped;
}

#define REAL(name) ((typeof(&name))dlsym(RTLD_NEXT, #name))

int clock_gettime(clockid_t clock, struct timespec *now)
{
    int failed = REAL(clock_gettime)(clock, now);
    int is_wall = clock == CLOCK_REALTIME || clock == CLOCK_REALTIME_COARSE;
    if (!failed && file && (is_wall || clock == CLOCK_MONOTONIC || clock == CLOCK_BOOTTIME))
        now->tv_sec += file[0] + (is_wall ? file[1] : 0);
    return failed;
}

int gettimeofday(struct timeval *restrict now, void *restrict zone)
{
    int failed = REAL(gettimeofday)(now, zone);
    if (!failed && file)
        now->tv_sec += file[0] + file[1];
    return failed;
}

time_t time(time_t *where)
{
    struct timespec now;
    clock_gettime(CLOCK_REALTIME, &now);
    if (where)
        *where = now.tv_sec;
    return now.tv_sec;
}

/* The kernel waits by its own clocks, so a moment to wait for is told in their time. */
static struct timespec for_the_kernel(const struct timespec *until)
{
    struct timespec moment = *until;
    int is_wall = moment.tv_sec > 1000000000; /* seconds since 1970, not since the start of the computer */
    if (file)
        moment.tv_sec -= file[0] + (is_wall ? file[1] : 0);
    return moment;
}

int clock_nanosleep(clockid_t clock, int flags, const struct timespec *time, struct timespec *left)
{
    if (!(flags & TIMER_ABSTIME))
        return REAL(clock_nanosleep)(clock, flags, time, left);
    struct timespec moment = for_the_kernel(time);
    return REAL(clock_nanosleep)(clock, flags, &moment, left);
}

int sem_clockwait(sem_t *restrict semaphore, clockid_t clock, const struct timespec *restrict until)
{
    struct timespec moment = for_the_kernel(until);
    return REAL(sem_clockwait)(semaphore, clock, &moment);
}

int sem_timedwait(sem_t *restrict semaphore, const struct timespec *restrict until)
{
    struct timespec moment = for_the_kernel(until);
    return REAL(sem_timedwait)(semaphore, &moment);
}

int pthread_cond_timedwait(pthread_cond_t *restrict condition, pthread_mutex_t *restrict mutex,
                           const struct timespec *restrict until)
{
    struct timespec moment = for_the_kernel(until);
    return REAL(pthread_cond_timedwait)(condition, mutex, &moment);
}
