/* Fails the Nth I/O of this process on files whose path holds a given word. To be preloaded.
 *
 * nth_io_arm(word, first, last, error) counts from one anew: the calls from `first` to `last` fail with
 * `error`. nth_io_count() tells how many there have been. Covered is what a database does to its card: open,
 * read, write, synchronise, cut, delete.
 */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <stdarg.h>
#include <stdio.h>
#include <string.h>
#include <sys/types.h>
#include <unistd.h>

static char word[64];
static long first = 0, last = -1, count = 0;
static int error = EIO;

void nth_io_arm(const char *new_word, long new_first, long new_last, int new_error)
{
    snprintf(word, sizeof word, "%s", new_word);
    first = new_first, last = new_last, error = new_error, count = 0;
}

long nth_io_count(void) { return count; }

static int fails(const char *path)
{
    if (word[0] == 0 || strstr(path, word) == NULL)
        return 0;
    count++;
    if (count < first || count > last)
        return 0;
    errno = error;
    return 1;
}

static int fails_on(int fd)
{
    char name[32], path[4096];
    if (word[0] == 0)
        return 0;
    snprintf(name, sizeof name, "/proc/self/fd/%d", fd);
    ssize_t length = readlink(name, path, sizeof path - 1);
    if (length < 0)
        return 0;
    path[length] = 0;
    return fails(path);
}

#define REAL(name) ((typeof(&name))dlsym(RTLD_NEXT, #name))

ssize_t read(int fd, void *to, size_t size)
{
    return fails_on(fd) ? -1 : REAL(read)(fd, to, size);
}

ssize_t pread64(int fd, void *to, size_t size, off64_t at)
{
    return fails_on(fd) ? -1 : REAL(pread64)(fd, to, size, at);
}

ssize_t pwrite64(int fd, const void *from, size_t size, off64_t at)
{
    return fails_on(fd) ? -1 : REAL(pwrite64)(fd, from, size, at);
}

int fsync(int fd) { return fails_on(fd) ? -1 : REAL(fsync)(fd); }

int fdatasync(int fd) { return fails_on(fd) ? -1 : REAL(fdatasync)(fd); }

int ftruncate64(int fd, off64_t size) { return fails_on(fd) ? -1 : REAL(ftruncate64)(fd, size); }

int unlink(const char *path) { return fails(path) ? -1 : REAL(unlink)(path); }

int open64(const char *path, int flags, ...)
{
    va_list rest;
    va_start(rest, flags);
    int mode = va_arg(rest, int);
    va_end(rest);
    return fails(path) ? -1 : REAL(open64)(path, flags, mode);
}
