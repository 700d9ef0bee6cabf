/* A disk that fails or is watched, for the tests: loaded with LD_PRELOAD, looks only at files below SHIM_DIR.
 *
 * SHIM_LOG      every write, sync, cut, removal and renaming goes there, in order, with its bytes
 * SHIM_EIO      numbers of syncs that fail with EIO, as 3,7-9 ("all": every one while the file SHIM_FLAG exists)
 * SHIM_FULL     writes fail with ENOSPC while the file SHIM_FLAG exists
 */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <pthread.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/syscall.h>
#include <sys/types.h>
#include <unistd.h>

static pthread_mutex_t lock = PTHREAD_MUTEX_INITIALIZER;
static int log_fd = -2;
static long syncs = 0;

static const char *setting(const char *name) {
  const char *value = getenv(name);
  return value && *value ? value : NULL;
}

static int watched_path(const char *path) {
  const char *dir = setting("SHIM_DIR");
  return dir && path && strncmp(path, dir, strlen(dir)) == 0 && !strstr(path, "-shm");
}

static int watched(int fd, char *path, size_t size) {
  char link[64];
  snprintf(link, sizeof link, "/proc/self/fd/%d", fd);
  ssize_t length = readlink(link, path, size - 1);
  if (length <= 0) return 0;
  path[length] = 0;
  return watched_path(path);
}

static int flagged(void) {
  const char *flag = setting("SHIM_FLAG");
  return flag && syscall(SYS_access, flag, F_OK) == 0;
}

static void raw_write(int fd, const void *data, size_t size) {
  const char *from = data;
  while (size > 0) {
    ssize_t done = syscall(SYS_write, fd, from, size);
    if (done <= 0) return;
    from += done;
    size -= (size_t)done;
  }
}

static void note(char op, const char *path, long long offset, const void *data, size_t size) {
  const char *name = setting("SHIM_LOG");
  if (!name) return;
  pthread_mutex_lock(&lock);
  if (log_fd == -2) log_fd = (int)syscall(SYS_openat, AT_FDCWD, name, O_WRONLY | O_CREAT | O_APPEND, 0600);
  char head[4600];
  int length = snprintf(head, sizeof head, "%c\t%lld\t%zu\t%s\n", op, offset, size, path);
  raw_write(log_fd, head, (size_t)length);
  if (op == 'W' || op == 'R') raw_write(log_fd, data, size);
  pthread_mutex_unlock(&lock);
}

#define REAL(name) static __typeof__(&name) real; if (!real) real = (__typeof__(&name))dlsym(RTLD_NEXT, #name)

static int full(void) { return setting("SHIM_FULL") && flagged(); }

#define WRITE_AT(name)                                                              \
  ssize_t name(int fd, const void *data, size_t size, off_t offset) {               \
    REAL(name);                                                                     \
    char path[4096];                                                                \
    if (!watched(fd, path, sizeof path)) return real(fd, data, size, offset);       \
    if (full()) { errno = ENOSPC; return -1; }                                      \
    ssize_t done = real(fd, data, size, offset);                                    \
    if (done > 0) note('W', path, offset, data, (size_t)done);                      \
    return done;                                                                    \
  }
WRITE_AT(pwrite)
WRITE_AT(pwrite64)

ssize_t write(int fd, const void *data, size_t size) {
  REAL(write);
  char path[4096];
  if (!watched(fd, path, sizeof path)) return real(fd, data, size);
  if (full()) { errno = ENOSPC; return -1; }
  ssize_t done = real(fd, data, size);
  if (done > 0) note('W', path, (long long)lseek(fd, 0, SEEK_CUR) - done, data, (size_t)done);
  return done;
}

/* Whether the n-th sync is in a list such as 3,7-9. */
static int listed(const char *list, long n) {
  while (*list) {
    char *end;
    long first = strtol(list, &end, 10), last = first;
    if (*end == '-') last = strtol(end + 1, &end, 10);
    if (n >= first && n <= last) return 1;
    list = *end == ',' ? end + 1 : end;
    if (end == list && *end) return 0;
  }
  return 0;
}

static int sync_fails(void) {
  const char *eio = setting("SHIM_EIO");
  if (!eio) return 0;
  if (strcmp(eio, "all") == 0) return flagged();
  pthread_mutex_lock(&lock);
  long n = ++syncs;
  pthread_mutex_unlock(&lock);
  return listed(eio, n);
}

#define SYNC(name)                                                                  \
  int name(int fd) {                                                                \
    REAL(name);                                                                     \
    char path[4096];                                                                \
    if (!watched(fd, path, sizeof path)) return real(fd);                           \
    if (sync_fails()) { errno = EIO; return -1; }                                   \
    int done = real(fd);                                                            \
    if (done == 0) note('S', path, 0, NULL, 0);                                     \
    return done;                                                                    \
  }
SYNC(fsync)
SYNC(fdatasync)

#define CUT(name)                                                                   \
  int name(int fd, off_t size) {                                                    \
    REAL(name);                                                                     \
    char path[4096];                                                                \
    int done = real(fd, size);                                                      \
    if (done == 0 && watched(fd, path, sizeof path)) note('T', path, size, NULL, 0); \
    return done;                                                                    \
  }
CUT(ftruncate)
CUT(ftruncate64)

int unlink(const char *path) {
  REAL(unlink);
  int done = real(path);
  if (done == 0 && watched_path(path)) note('U', path, 0, NULL, 0);
  return done;
}

int rename(const char *from, const char *to) {
  REAL(rename);
  int done = real(from, to);
  if (done == 0 && watched_path(to)) note('R', from, 0, to, strlen(to));
  return done;
}
