/* Stands between a program and the disk: writes down, in order, what is written, synced, named and removed under
   one folder (POWER_ROOT), with the data, into POWER_JOURNAL; and makes the nth such call fail (POWER_FAIL_AT,
   POWER_ERRNO; POWER_STAYS: and every later write; POWER_READS: of what is read instead). A write to POWER_MARK is a
   mark: what was acknowledged by then. POWER_SLOW_S: each such call takes as long, on every clock the program looks
   at; nothing waits. A program that forks begins anew by power_begin. */
#define _GNU_SOURCE
#include <dlfcn.h>
#include <errno.h>
#include <fcntl.h>
#include <limits.h>
#include <pthread.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/syscall.h>
#include <sys/time.h>
#include <time.h>
#include <unistd.h>

static const char *root, *mark;
static int journal = -1, fail_errno, stays, reads;
static long fail_at, count, slow_s, late_s;
static pthread_mutex_t lock = PTHREAD_MUTEX_INITIALIZER;

static void *next(const char *name) { return dlsym(RTLD_NEXT, name); }

__attribute__((constructor)) static void begin(void) {
    const char *to = getenv("POWER_JOURNAL"), *at = getenv("POWER_FAIL_AT"), *no = getenv("POWER_ERRNO");
    const char *slow = getenv("POWER_SLOW_S");
    root = getenv("POWER_ROOT"), mark = getenv("POWER_MARK"), stays = getenv("POWER_STAYS") != NULL;
    reads = (getenv("POWER_READS") ? atoi(getenv("POWER_READS")) : 0), slow_s = slow ? atol(slow) : 0;
    fail_at = at ? atol(at) : 0, fail_errno = no ? atoi(no) : EIO, count = 0;
    if (root && to) journal = syscall(SYS_openat, AT_FDCWD, to, O_WRONLY | O_CREAT | O_APPEND | O_CLOEXEC, 0600);
}
void power_begin(void) { begin(); } /* after a fork, with an environment of its own */
long power_calls(void) { return count; }

static int under(const char *path) {
    size_t n = root ? strlen(root) : 0;
    return journal >= 0 && n && !strncmp(path, root, n) && (path[n] == '/' || !path[n]) &&
           !strstr(path, " (deleted)") && !strstr(path, "-shm");
}

static int named(int fd, char *path) {
    char link[64];
    snprintf(link, sizeof link, "/proc/self/fd/%d", fd);
    ssize_t n = syscall(SYS_readlinkat, AT_FDCWD, link, path, PATH_MAX - 1);
    if (n < 0) return 0;
    path[n] = 0;
    return 1;
}

static void absolute(const char *name, char *path) {
    if (name[0] == '/') { snprintf(path, PATH_MAX, "%s", name); return; }
    char here[PATH_MAX];
    if (!getcwd(here, sizeof here)) here[0] = 0;
    snprintf(path, PATH_MAX, "%s/%s", here, name);
}

static void put(const void *data, size_t n) {
    const char *p = data;
    while (n) {
        ssize_t k = syscall(SYS_write, journal, p, n);
        if (k <= 0) _exit(97);
        p += k, n -= k;
    }
}

static void tell(char op, const char *path, int64_t at, const void *data, uint64_t n) {
    uint32_t length = strlen(path);
    pthread_mutex_lock(&lock);
    put(&op, 1), put(&length, 4), put(path, length), put(&at, 8), put(&n, 8), put(data, n);
    pthread_mutex_unlock(&lock);
}

static int fails(int is_write) {
    if (slow_s) __atomic_add_fetch(&late_s, slow_s, __ATOMIC_SEQ_CST);
    if (reads) return 0;
    long now = __atomic_add_fetch(&count, 1, __ATOMIC_SEQ_CST);
    if (fail_at && (now == fail_at || (stays && is_write && now > fail_at))) { errno = fail_errno; return 1; }
    return 0;
}

static int unread(void) {
    if (slow_s) __atomic_add_fetch(&late_s, slow_s, __ATOMIC_SEQ_CST);
    if (!reads || __atomic_add_fetch(&count, 1, __ATOMIC_SEQ_CST) != fail_at) return 0;
    errno = fail_errno;
    return 1;
}

/* what a slow disk takes has gone by on every clock */
int clock_gettime(clockid_t which, struct timespec *now) {
    int done = syscall(SYS_clock_gettime, which, now);
    if (!done && which != CLOCK_PROCESS_CPUTIME_ID && which != CLOCK_THREAD_CPUTIME_ID) now->tv_sec += late_s;
    return done;
}
int gettimeofday(struct timeval *now, void *zone) {
    int done = syscall(SYS_gettimeofday, now, zone);
    if (!done) now->tv_sec += late_s;
    return done;
}
time_t time(time_t *to) {
    struct timespec now;
    clock_gettime(CLOCK_REALTIME, &now);
    if (to) *to = now.tv_sec;
    return now.tv_sec;
}

static int in_root(int fd, char *path) { return journal >= 0 && named(fd, path) && under(path); }

ssize_t write(int fd, const void *data, size_t n) {
    char path[PATH_MAX];
    if (journal >= 0 && mark && named(fd, path) && !strcmp(path, mark)) { tell('K', path, 0, data, n); return n; }
    if (!in_root(fd, path)) return syscall(SYS_write, fd, data, n);
    if (fails(1)) return -1;
    int flags = fcntl(fd, F_GETFL);
    off_t at = lseek(fd, 0, flags & O_APPEND ? SEEK_END : SEEK_CUR);
    ssize_t done = syscall(SYS_write, fd, data, n);
    if (done > 0) tell('W', path, at, data, done);
    return done;
}

ssize_t pwrite64(int fd, const void *data, size_t n, off64_t at) {
    char path[PATH_MAX];
    if (!in_root(fd, path)) return syscall(SYS_pwrite64, fd, data, n, at);
    if (fails(1)) return -1;
    ssize_t done = syscall(SYS_pwrite64, fd, data, n, at);
    if (done > 0) tell('W', path, at, data, done);
    return done;
}
ssize_t read(int fd, void *data, size_t n) {
    char path[PATH_MAX];
    if (in_root(fd, path) && unread()) return -1;
    return syscall(SYS_read, fd, data, n);
}
ssize_t pread64(int fd, void *data, size_t n, off64_t at) {
    char path[PATH_MAX];
    if (in_root(fd, path) && unread()) return -1;
    return syscall(SYS_pread64, fd, data, n, at);
}
ssize_t pread(int fd, void *data, size_t n, off_t at) { return pread64(fd, data, n, at); }
ssize_t pwrite(int fd, const void *data, size_t n, off_t at) { return pwrite64(fd, data, n, at); }

static int synced(int fd, long call) {
    char path[PATH_MAX];
    if (!in_root(fd, path)) return syscall(call, fd);
    if (fails(0)) return -1;
    struct stat what;
    int is_folder = !fstat(fd, &what) && S_ISDIR(what.st_mode);
    tell(is_folder ? 'D' : 'S', path, 0, "", 0); /* not waited for: it is only a test */
    return 0;
}
int fsync(int fd) { return synced(fd, SYS_fsync); }
int fdatasync(int fd) { return synced(fd, SYS_fdatasync); }

int ftruncate64(int fd, off64_t size) {
    char path[PATH_MAX];
    if (!in_root(fd, path)) return syscall(SYS_ftruncate, fd, size);
    if (fails(1)) return -1;
    int done = syscall(SYS_ftruncate, fd, size);
    if (!done) tell('T', path, size, "", 0);
    return done;
}
int ftruncate(int fd, off_t size) { return ftruncate64(fd, size); }

static int opened(int folder, const char *name, int flags, mode_t mode) {
    char path[PATH_MAX];
    absolute(name, path);
    int ours = folder == AT_FDCWD && under(path), makes = flags & (O_CREAT | O_TRUNC);
    if (ours && !makes && unread()) return -1;
    if (!ours || !makes)
        return syscall(SYS_openat, folder, name, flags, mode);
    if (fails(0)) return -1;
    int there = !syscall(SYS_faccessat, AT_FDCWD, path, F_OK);
    int fd = syscall(SYS_openat, folder, name, flags, mode);
    if (fd >= 0 && !there && (flags & O_CREAT)) tell('C', path, 0, "", 0);
    if (fd >= 0 && there && (flags & O_TRUNC)) tell('T', path, 0, "", 0);
    return fd;
}
#define MODE mode_t mode = 0; if (flags & (O_CREAT | __O_TMPFILE)) { va_list a; va_start(a, flags); mode = va_arg(a, int); va_end(a); }
int open(const char *name, int flags, ...) { MODE return opened(AT_FDCWD, name, flags, mode); }
int open64(const char *name, int flags, ...) { MODE return opened(AT_FDCWD, name, flags, mode); }
int openat(int folder, const char *name, int flags, ...) { MODE return opened(folder, name, flags, mode); }
int openat64(int folder, const char *name, int flags, ...) { MODE return opened(folder, name, flags, mode); }

static int moved(const char *old, const char *new) {
    char a[PATH_MAX], b[PATH_MAX];
    absolute(old, a), absolute(new, b);
    if (!under(a) && !under(b)) return syscall(SYS_renameat2, AT_FDCWD, old, AT_FDCWD, new, 0);
    if (fails(0)) return -1;
    int done = syscall(SYS_renameat2, AT_FDCWD, old, AT_FDCWD, new, 0);
    if (!done) tell('R', a, 0, b, strlen(b));
    return done;
}
int rename(const char *old, const char *new) { return moved(old, new); }
int renameat(int f, const char *old, int g, const char *new) {
    return f == AT_FDCWD && g == AT_FDCWD ? moved(old, new) : syscall(SYS_renameat2, f, old, g, new, 0);
}

int unlink(const char *name) {
    char path[PATH_MAX];
    absolute(name, path);
    if (under(path) && fails(0)) return -1;
    int done = syscall(SYS_unlinkat, AT_FDCWD, name, 0);
    if (!done && under(path)) tell('U', path, 0, "", 0);
    return done;
}

static void *unused __attribute__((unused)) = next;
