/* Lets the N-th call that changes a disk fail, for failing_disk.py (LD_PRELOAD; dlsym(3), RTLD_NEXT).
   Only calls on regular files and folders count, once `fail_at` was told a number. */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <stdarg.h>
#include <sys/stat.h>
#include <sys/uio.h>
#include <unistd.h>

static long left = -1;
static int with_error, for_ever, has_failed;

void fail_at(long n, int error, int stays) { left = n; with_error = error; for_ever = stays; has_failed = 0; }
int failed(void) { return has_failed; }

static int now(void) {
    if (left < 0) return 0;
    if (left == 0 || --left == 0) {
        if (has_failed && !for_ever) return 0;
        has_failed = 1;
        errno = with_error;
        return 1;
    }
    return 0;
}

static int on_disk(int fd) {
    struct stat s;
    return left >= 0 && fstat(fd, &s) == 0 && (S_ISREG(s.st_mode) || S_ISDIR(s.st_mode));
}

#define CALL(type, name, params, args, when)                         \
    type name params {                                               \
        static type (*real) params;                                  \
        if (!real) real = dlsym(RTLD_NEXT, #name);                   \
        if ((when) && now()) return -1;                              \
        return real args;                                            \
    }

CALL(ssize_t, write, (int fd, const void *b, size_t n), (fd, b, n), on_disk(fd))
CALL(ssize_t, pwrite, (int fd, const void *b, size_t n, off_t o), (fd, b, n, o), on_disk(fd))
CALL(ssize_t, pwrite64, (int fd, const void *b, size_t n, off64_t o), (fd, b, n, o), on_disk(fd))
CALL(ssize_t, writev, (int fd, const struct iovec *v, int n), (fd, v, n), on_disk(fd))
CALL(int, fsync, (int fd), (fd), on_disk(fd))
CALL(int, fdatasync, (int fd), (fd), on_disk(fd))
CALL(int, ftruncate, (int fd, off_t n), (fd, n), on_disk(fd))
CALL(int, ftruncate64, (int fd, off64_t n), (fd, n), on_disk(fd))
CALL(int, rename, (const char *a, const char *b), (a, b), left >= 0)
CALL(int, link, (const char *a, const char *b), (a, b), left >= 0)
CALL(int, mkdir, (const char *p, mode_t m), (p, m), left >= 0)
CALL(ssize_t, sendfile, (int o, int i, off_t *at, size_t n), (o, i, at, n), on_disk(o))
CALL(ssize_t, sendfile64, (int o, int i, off64_t *at, size_t n), (o, i, at, n), on_disk(o))
CALL(ssize_t, copy_file_range, (int i, off64_t *a, int o, off64_t *b, size_t n, unsigned f), (i, a, o, b, n, f), on_disk(o))

#define OPEN(name)                                                   \
    int name(const char *path, int flags, ...) {                     \
        static int (*real)(const char *, int, ...);                  \
        va_list rest; va_start(rest, flags);                         \
        mode_t mode = (flags & O_CREAT) ? va_arg(rest, mode_t) : 0;  \
        va_end(rest);                                                \
        if (!real) real = dlsym(RTLD_NEXT, #name);                   \
        if (left >= 0 && (flags & O_CREAT) && now()) return -1;      \
        return real(path, flags, mode);                              \
    }
OPEN(open)
OPEN(open64)
