/* A layer between a process and its files (LD_PRELOAD): keeps a trace of what is written below a folder, in order, and lets chosen
 * operations fail.
 *
 * LAYER_FOLDER  what lies below it is looked at (files ending in -shm are not: they are memory)
 * LAYER_TRACE   where the trace goes; a record is: kind, length of the path, offset, length of the data (1 + 4 + 8 + 4 bytes), path, data
 * LAYER_FAIL_AT, LAYER_FAIL_COUNT, LAYER_ERRNO   from that operation on so many fail with that error; every second failing write is
 *               done by half first, and a failing sync is not done
 */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <pthread.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

static pthread_mutex_t lock = PTHREAD_MUTEX_INITIALIZER;
static int trace = -1;
static long done, fail_at = -1, fail_count = 1;
static int fail_errno = EIO;
static const char *folder;

#define NEXT(type, name) static type next; if (!next) next = (type)dlsym(RTLD_NEXT, name)
typedef ssize_t (*pwrite_t)(int, const void *, size_t, off_t);
typedef ssize_t (*write_t)(int, const void *, size_t);
typedef int (*fd_t)(int);
typedef int (*truncate_t)(int, off_t);
typedef int (*two_t)(const char *, const char *);
typedef int (*one_t)(const char *);

__attribute__((constructor)) static void begin(void)
{
    const char *at = getenv("LAYER_FAIL_AT"), *count = getenv("LAYER_FAIL_COUNT"), *number = getenv("LAYER_ERRNO"), *to = getenv("LAYER_TRACE");
    folder = getenv("LAYER_FOLDER");
    if (at) fail_at = atol(at);
    if (count) fail_count = atol(count);
    if (number) fail_errno = atoi(number);
    if (to) trace = open(to, O_WRONLY | O_CREAT | O_APPEND | O_CLOEXEC, 0600);
}

static int watched(const char *path)
{
    size_t n = path ? strlen(path) : 0;
    return folder && n && !strncmp(path, folder, strlen(folder)) && !(n > 4 && !strcmp(path + n - 4, "-shm"));
}

static int path_of(int fd, char *path)
{
    char name[64];
    ssize_t n;
    snprintf(name, sizeof name, "/proc/self/fd/%d", fd);
    n = readlink(name, path, PATH_MAX - 1);
    if (n <= 0) return 0;
    path[n] = 0;
    return fd != trace && watched(path);
}

/* 1: the operation is to fail */
static int fails(void)
{
    long number = done++;
    return fail_at >= 0 && number >= fail_at && number < fail_at + fail_count;
}

static void keep(char kind, const char *path, int64_t offset, const void *data, size_t size)
{
    NEXT(write_t, "write");
    char head[17];
    int32_t length = (int32_t)strlen(path), bytes = (int32_t)size;
    if (trace < 0) return;
    head[0] = kind;
    memcpy(head + 1, &length, 4);
    memcpy(head + 5, &offset, 8);
    memcpy(head + 13, &bytes, 4);
    if (next(trace, head, 17) < 0 || next(trace, path, length) < 0 || (size && next(trace, data, size) < 0)) abort();
}

static ssize_t put(int fd, const void *data, size_t size, off_t offset, int placed)
{
    static pwrite_t next_at;
    static write_t next_here;
    char path[PATH_MAX];
    ssize_t wrote;
    if (!next_at) next_at = (pwrite_t)dlsym(RTLD_NEXT, "pwrite");
    if (!next_here) next_here = (write_t)dlsym(RTLD_NEXT, "write");
    if (!path_of(fd, path)) return placed ? next_at(fd, data, size, offset) : next_here(fd, data, size);
    pthread_mutex_lock(&lock);
    if (!placed) offset = lseek(fd, 0, SEEK_CUR);
    int failing = fails();
    if (failing && done % 2) { pthread_mutex_unlock(&lock); errno = fail_errno; return -1; }
    if (failing) size /= 2;
    wrote = placed ? next_at(fd, data, size, offset) : next_here(fd, data, size);
    if (wrote > 0) keep('W', path, offset, data, wrote);
    pthread_mutex_unlock(&lock);
    if (failing) { errno = fail_errno; return -1; }
    return wrote;
}

ssize_t pwrite(int fd, const void *data, size_t size, off_t offset) { return put(fd, data, size, offset, 1); }
ssize_t pwrite64(int fd, const void *data, size_t size, off64_t offset) { return put(fd, data, size, offset, 1); }
ssize_t write(int fd, const void *data, size_t size) { return put(fd, data, size, 0, 0); }

static int sync_it(int fd, const char *name)
{
    fd_t next = (fd_t)dlsym(RTLD_NEXT, name);
    char path[PATH_MAX];
    int result;
    if (!path_of(fd, path)) return next(fd);
    pthread_mutex_lock(&lock);
    if (fails()) { pthread_mutex_unlock(&lock); errno = fail_errno; return -1; }
    result = next(fd);
    if (!result) keep('S', path, 0, NULL, 0);
    pthread_mutex_unlock(&lock);
    return result;
}

int fsync(int fd) { return sync_it(fd, "fsync"); }
int fdatasync(int fd) { return sync_it(fd, "fdatasync"); }

static int cut(int fd, off_t size)
{
    NEXT(truncate_t, "ftruncate");
    char path[PATH_MAX];
    int result;
    if (!path_of(fd, path)) return next(fd, size);
    pthread_mutex_lock(&lock);
    if (fails()) { pthread_mutex_unlock(&lock); errno = fail_errno; return -1; }
    result = next(fd, size);
    if (!result) keep('T', path, size, NULL, 0);
    pthread_mutex_unlock(&lock);
    return result;
}

int ftruncate(int fd, off_t size) { return cut(fd, size); }
int ftruncate64(int fd, off64_t size) { return cut(fd, size); }

static int two(const char *name, char kind, const char *from, const char *to)
{
    two_t next = (two_t)dlsym(RTLD_NEXT, name);
    int result;
    if (!watched(to)) return next(from, to);
    pthread_mutex_lock(&lock);
    if (fails()) { pthread_mutex_unlock(&lock); errno = fail_errno; return -1; }
    result = next(from, to);
    if (!result) keep(kind, from, 0, to, strlen(to));
    pthread_mutex_unlock(&lock);
    return result;
}

int rename(const char *from, const char *to) { return two("rename", 'R', from, to); }
int link(const char *from, const char *to) { return two("link", 'L', from, to); }

int unlink(const char *path)
{
    NEXT(one_t, "unlink");
    int result;
    if (!watched(path)) return next(path);
    pthread_mutex_lock(&lock);
    if (fails()) { pthread_mutex_unlock(&lock); errno = fail_errno; return -1; }
    result = next(path);
    if (!result) keep('U', path, 0, NULL, 0);
    pthread_mutex_unlock(&lock);
    return result;
}
