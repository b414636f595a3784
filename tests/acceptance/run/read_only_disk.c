/* A disk that the system has made read-only in the middle of work, as it does after errors: while the file
   that DISK_SWITCH names exists, nothing below DISK_FOLDER can be written, made, renamed or removed, also
   through files that are open already. Preloaded into the program by read_only.rs. */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <stdarg.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/types.h>
#include <unistd.h>

static int below(const char *path) {
    const char *folder = getenv("DISK_FOLDER"), *shut = getenv("DISK_SWITCH");
    return folder && shut && path && !strncmp(path, folder, strlen(folder)) && !access(shut, F_OK);
}

static int is_shut(int file) {
    char link[64], path[PATH_MAX];
    snprintf(link, sizeof link, "/proc/self/fd/%d", file);
    ssize_t length = readlink(link, path, sizeof path - 1);
    if (length < 0) return 0;
    path[length] = 0;
    return below(path);
}

#define REFUSED_IF(shut) do { if (shut) { errno = EROFS; return -1; } } while (0)
#define REAL(name, result, ...) ((result (*)(__VA_ARGS__))dlsym(RTLD_NEXT, name))

ssize_t write(int file, const void *bytes, size_t count) {
    REFUSED_IF(is_shut(file));
    return REAL("write", ssize_t, int, const void *, size_t)(file, bytes, count);
}
ssize_t pwrite(int file, const void *bytes, size_t count, off_t at) {
    REFUSED_IF(is_shut(file));
    return REAL("pwrite", ssize_t, int, const void *, size_t, off_t)(file, bytes, count, at);
}
ssize_t pwrite64(int file, const void *bytes, size_t count, off64_t at) {
    REFUSED_IF(is_shut(file));
    return REAL("pwrite64", ssize_t, int, const void *, size_t, off64_t)(file, bytes, count, at);
}
int ftruncate(int file, off_t size) {
    REFUSED_IF(is_shut(file));
    return REAL("ftruncate", int, int, off_t)(file, size);
}
int ftruncate64(int file, off64_t size) {
    REFUSED_IF(is_shut(file));
    return REAL("ftruncate64", int, int, off64_t)(file, size);
}
int rename(const char *from, const char *to) {
    REFUSED_IF(below(to));
    return REAL("rename", int, const char *, const char *)(from, to);
}
int unlink(const char *path) {
    REFUSED_IF(below(path));
    return REAL("unlink", int, const char *)(path);
}
int open(const char *path, int how, ...) {
    va_list rest;
    va_start(rest, how);
    mode_t mode = how & (O_CREAT | O_TMPFILE) ? va_arg(rest, mode_t) : 0;
    va_end(rest);
    REFUSED_IF(how & (O_WRONLY | O_RDWR | O_CREAT) && below(path));
    return REAL("open", int, const char *, int, mode_t)(path, how, mode);
}
int open64(const char *path, int how, ...) {
    va_list rest;
    va_start(rest, how);
    mode_t mode = how & (O_CREAT | O_TMPFILE) ? va_arg(rest, mode_t) : 0;
    va_end(rest);
    REFUSED_IF(how & (O_WRONLY | O_RDWR | O_CREAT) && below(path));
    return REAL("open64", int, const char *, int, mode_t)(path, how, mode);
}
