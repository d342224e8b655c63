#include "store.h"

#include <dirent.h>
#include <errno.h>
#include <fcntl.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

struct nrw_store {
    char *target;     /* the wanted folder, without a trailing slash */
    char *parent;     /* the folder that holds both */
    char *path;       /* the hidden folder */
    size_t made_from; /* length of the first part of `parent` that we made; 0: none */
    bool force;
};

/* --- paths ---------------------------------------------------------------- */

static char *join(const char *head, const char *middle, const char *tail)
{
    size_t size = strlen(head) + strlen(middle) + strlen(tail) + 1;
    char *text = malloc(size);
    if (text)
        (void)snprintf(text, size, "%s%s%s", head, middle, tail);
    return text;
}

static char *without_trailing_slashes(const char *path)
{
    size_t length = strlen(path);
    while (length > 1 && path[length - 1] == '/')
        length--;
    char *text = malloc(length + 1);
    if (text) {
        memcpy(text, path, length);
        text[length] = '\0';
    }
    return text;
}

static const char *base_name(const char *path)
{
    const char *slash = strrchr(path, '/');
    return slash ? slash + 1 : path;
}

static char *parent_of(const char *path)
{
    const char *base = base_name(path);
    if (base == path)
        return join(".", "", "");
    char *parent = join(path, "", "");
    if (parent)
        parent[base - path > 1 ? base - path - 1 : 1] = '\0';
    return parent;
}

/* The place that a link stands for, so that the folder behind it is replaced
 * and not the link. NULL when memory is short; the path itself if it is no
 * link. */
static char *follow_link(char *path)
{
    enum { MOST_LINKS = 16 };
    for (int i = 0; path && i < MOST_LINKS; i++) {
        char aim[4096];
        ssize_t length = readlink(path, aim, sizeof aim - 1);
        if (length <= 0)
            return path;
        aim[length] = '\0';
        char *parent = parent_of(path);
        char *next = NULL;
        if (parent)
            next = aim[0] == '/' ? join(aim, "", "") : join(parent, "/", aim);
        free(parent);
        free(path);
        path = next ? without_trailing_slashes(next) : NULL;
        free(next);
    }
    return path;
}

/* --- folders -------------------------------------------------------------- */

static bool is_dot(const char *name)
{
    return strcmp(name, ".") == 0 || strcmp(name, "..") == 0;
}

static bool folder_is_empty(const char *path)
{
    DIR *folder = opendir(path);
    if (!folder)
        return false;
    bool empty = true;
    for (struct dirent *entry; empty && (entry = readdir(folder));)
        empty = is_dot(entry->d_name);
    (void)closedir(folder);
    return empty;
}

/* Whether the current directory is this folder or lies below it. */
static bool holds_current_directory(const struct stat *folder)
{
    enum { DEEPEST = 256 };
    char up[3 * DEEPEST + 2] = ".";
    struct stat here, above;
    for (int depth = 0; depth < DEEPEST && stat(up, &here) == 0; depth++) {
        if (here.st_dev == folder->st_dev && here.st_ino == folder->st_ino)
            return true;
        strcat(up, "/..");
        if (stat(up, &above) != 0 || (above.st_dev == here.st_dev && above.st_ino == here.st_ino))
            break;
    }
    return false;
}

/* Makes the missing folders of a path. *made_from becomes the length of the
 * first part made, 0 if all stood. */
static bool make_folders(char *path, size_t *made_from)
{
    *made_from = 0;
    for (size_t i = 1;; i++) {
        if (path[i] != '/' && path[i] != '\0')
            continue;
        char kept = path[i];
        path[i] = '\0';
        bool made = mkdir(path, 0777) == 0;
        bool stands = made || errno == EEXIST || errno == EISDIR;
        path[i] = kept;
        if (made && *made_from == 0)
            *made_from = i;
        if (!stands || kept == '\0')
            return stands;
    }
}

/* Removes the folders that make_folders made, as far as they are empty. */
static void remove_made_folders(char *path, size_t made_from)
{
    for (size_t i = strlen(path); made_from > 0 && i >= made_from; i--) {
        if (path[i] != '/' && path[i] != '\0')
            continue;
        path[i] = '\0';
        if (rmdir(path) != 0)
            return;
    }
}

/* Removes a folder and all below it; links are removed, not followed. */
static bool remove_tree(int parent, const char *name)
{
    int handle = openat(parent, name, O_RDONLY | O_DIRECTORY | O_NOFOLLOW | O_CLOEXEC);
    DIR *folder = handle >= 0 ? fdopendir(handle) : NULL;
    if (!folder) {
        if (handle >= 0)
            (void)close(handle);
        return false;
    }
    bool removed = true;
    for (struct dirent *entry; removed && (entry = readdir(folder));) {
        if (is_dot(entry->d_name) || unlinkat(handle, entry->d_name, 0) == 0)
            continue;
        removed = (errno == EISDIR || errno == EPERM) && remove_tree(handle, entry->d_name);
    }
    (void)closedir(folder);
    return removed && unlinkat(parent, name, AT_REMOVEDIR) == 0;
}

static bool sync_path(const char *path)
{
    int handle = open(path, O_RDONLY | O_CLOEXEC);
    if (handle < 0)
        return false;
    /* Some file systems can't sync a folder and say EINVAL; nothing is lost. */
    bool synced = fsync(handle) == 0 || errno == EINVAL;
    int why = errno;
    (void)close(handle);
    errno = why;
    return synced;
}

static bool sync_folder(const char *path)
{
    DIR *folder = opendir(path);
    if (!folder)
        return false;
    bool synced = true;
    for (struct dirent *entry; synced && (entry = readdir(folder));) {
        if (is_dot(entry->d_name))
            continue;
        char *file = join(path, "/", entry->d_name);
        synced = file && sync_path(file);
        free(file);
    }
    int why = errno;
    (void)closedir(folder);
    errno = why;
    return synced && sync_path(path);
}

/* --- opening -------------------------------------------------------------- */

static void store_free(nrw_store *store)
{
    if (!store)
        return;
    free(store->target);
    free(store->parent);
    free(store->path);
    free(store);
}

static nrw_status out_of_memory(nrw_errors *errors)
{
    return nrw_errors_add(errors, NRW_NO_MEMORY, NULL, "no memory for the results folder");
}

/* What stands at the target: nothing, or a folder that may be replaced. */
static nrw_status check_target(const nrw_store *store, nrw_errors *errors)
{
    const char *base = base_name(store->target);
    struct stat found;
    if (*base == '\0' || is_dot(base))
        return nrw_errors_add(errors, NRW_BAD_USAGE, "the name of a folder of its own",
                              "results can't replace \"%s\"", store->target);
    if (stat(store->target, &found) != 0)
        return NRW_OK;
    if (!S_ISDIR(found.st_mode))
        return nrw_errors_add(errors, NRW_BAD_USAGE, "the name of a folder",
                              "\"%s\" exists and is not a folder", store->target);
    if (folder_is_empty(store->target))
        return NRW_OK;
    if (!store->force)
        return nrw_errors_add(errors, NRW_BAD_USAGE,
                              "another folder, or --force to replace this one",
                              "folder \"%s\" exists and is not empty", store->target);
    if (holds_current_directory(&found))
        return nrw_errors_add(errors, NRW_BAD_USAGE, "another folder",
                              "\"%s\" holds the current directory and won't be replaced",
                              store->target);
    return NRW_OK;
}

/* Finds a free name ".NAME.KIND-PID-k" beside the target and, with `make`,
 * makes that folder. NULL on failure (errno says why). */
static char *hidden_sibling(const nrw_store *store, const char *kind, bool make)
{
    enum { MOST_TRIES = 1000 };
    const char *base = base_name(store->target);
    size_t size = strlen(store->parent) + strlen(base) + strlen(kind) + 64;
    char *path = malloc(size);
    for (int i = 0; path && i < MOST_TRIES; i++) {
        struct stat found;
        (void)snprintf(path, size, "%s/.%s.%s-%ld-%d", store->parent, base, kind, (long)getpid(),
                       i);
        errno = 0;
        if (make && mkdir(path, 0777) == 0)
            return path;
        if (!make && lstat(path, &found) != 0 && errno == ENOENT)
            return path;
        if (errno != 0 && errno != EEXIST)
            break;
    }
    free(path);
    return NULL;
}

nrw_status nrw_store_open(const char *dir, bool force, nrw_store **store, nrw_errors *errors)
{
    *store = NULL;
    nrw_store *new = calloc(1, sizeof *new);
    if (!new)
        return out_of_memory(errors);
    new->force = force;
    new->target = follow_link(without_trailing_slashes(dir));
    new->parent = new->target ? parent_of(new->target) : NULL;
    nrw_status status = new->parent ? check_target(new, errors) : out_of_memory(errors);
    if (status == NRW_OK) {
        bool stands = make_folders(new->parent, &new->made_from);
        new->path = stands ? hidden_sibling(new, "partial", true) : NULL;
        if (!new->path) {
            int why = errno;
            remove_made_folders(new->parent, new->made_from);
            status = nrw_errors_add(errors, NRW_IO_FAILED, NULL,
                                    "can't make the results folder \"%s\": %s", dir, strerror(why));
        }
    }
    if (status == NRW_OK)
        *store = new;
    else
        store_free(new);
    return status;
}

const char *nrw_store_target(const nrw_store *store)
{
    return store->target;
}

const char *nrw_store_path(const nrw_store *store)
{
    return store->path;
}

/* --- files ---------------------------------------------------------------- */

static nrw_status file_failed(const char *folder, const char *name, int why, nrw_errors *errors)
{
    return nrw_errors_add(errors, NRW_IO_FAILED, NULL, "can't write %s/%s: %s", folder, name,
                          why ? strerror(why) : "the system refused a write");
}

nrw_status nrw_store_file_open(nrw_store *store, const char *name, FILE **file, nrw_errors *errors)
{
    *file = NULL;
    if (*name == '\0' || is_dot(name) || strchr(name, '/'))
        return nrw_errors_add(errors, NRW_BAD_USAGE, "a plain file name",
                              "\"%s\" can't be a file of a results folder", name);
    char *path = join(store->path, "/", name);
    if (!path)
        return out_of_memory(errors);
    *file = fopen(path, "wb");
    int why = errno;
    free(path);
    if (!*file)
        return file_failed(store->path, name, why, errors);
    return NRW_OK;
}

nrw_status nrw_store_file_close(nrw_store *store, const char *name, FILE *file, nrw_errors *errors)
{
    errno = 0;
    bool failed = fflush(file) != 0 || ferror(file);
    /* stdio remembers that a write failed but not why: ask once more. */
    if (failed && errno == 0)
        (void)!write(fileno(file), "", 1);
    int why = errno;
    if (fclose(file) != 0 && !failed) {
        failed = true;
        why = errno;
    }
    return failed ? file_failed(store->path, name, why, errors) : NRW_OK;
}

nrw_status nrw_store_put(nrw_store *store, const char *name, const void *bytes, size_t size,
                         nrw_errors *errors)
{
    FILE *file;
    nrw_status status = nrw_store_file_open(store, name, &file, errors);
    if (status != NRW_OK)
        return status;
    if (size > 0)
        (void)fwrite(bytes, 1, size, file);
    return nrw_store_file_close(store, name, file, errors);
}

/* --- ending --------------------------------------------------------------- */

/* Names what is kept after a failure. */
static nrw_status keep(nrw_store *store, nrw_errors *errors)
{
    nrw_errors_add(errors, NRW_IO_FAILED, NULL, "what was written is kept in \"%s\"", store->path);
    store_free(store);
    return NRW_IO_FAILED;
}

/* Moves the old folder aside, if there is one with something in it. *aside
 * stays NULL otherwise: rename() itself replaces an empty one. */
static nrw_status move_aside(nrw_store *store, char **aside, nrw_errors *errors)
{
    struct stat found;
    if (lstat(store->target, &found) != 0 || folder_is_empty(store->target))
        return NRW_OK;
    nrw_status status = check_target(store, errors);
    if (status != NRW_OK)
        return status;
    *aside = hidden_sibling(store, "replaced", false);
    if (*aside && rename(store->target, *aside) == 0)
        return NRW_OK;
    int why = errno;
    free(*aside);
    *aside = NULL;
    return nrw_errors_add(errors, NRW_IO_FAILED, NULL, "can't move the old \"%s\" aside: %s",
                          store->target, strerror(why));
}

nrw_status nrw_store_commit(nrw_store *store, char **leftover, nrw_errors *errors)
{
    char *aside = NULL;
    if (leftover)
        *leftover = NULL;
    if (!sync_folder(store->path)) {
        nrw_errors_add(errors, NRW_IO_FAILED, NULL, "can't sync the results for \"%s\": %s",
                       store->target, strerror(errno));
        return keep(store, errors);
    }
    if (move_aside(store, &aside, errors) != NRW_OK)
        return keep(store, errors);
    if (rename(store->path, store->target) != 0) {
        nrw_errors_add(errors, NRW_IO_FAILED, NULL, "can't put the results at \"%s\": %s",
                       store->target, strerror(errno));
        if (aside && rename(aside, store->target) != 0)
            nrw_errors_add(errors, NRW_IO_FAILED, NULL, "the old folder is now \"%s\": %s", aside,
                           strerror(errno));
        free(aside);
        return keep(store, errors);
    }
    (void)sync_path(store->parent);
    if (aside && !remove_tree(AT_FDCWD, aside) && leftover) {
        *leftover = aside;
        aside = NULL;
    }
    free(aside);
    store_free(store);
    return NRW_OK;
}

/* Whether any file of a flat folder has bytes in it. */
static bool holds_bytes(const char *path)
{
    DIR *folder = opendir(path);
    if (!folder)
        return true;
    bool found = false;
    for (struct dirent *entry; !found && (entry = readdir(folder));) {
        struct stat file;
        found = !is_dot(entry->d_name) &&
                (fstatat(dirfd(folder), entry->d_name, &file, AT_SYMLINK_NOFOLLOW) != 0 ||
                 file.st_size > 0);
    }
    (void)closedir(folder);
    return found;
}

void nrw_store_abandon(nrw_store *store, nrw_errors *errors)
{
    if (!store)
        return;
    if (holds_bytes(store->path) || !remove_tree(AT_FDCWD, store->path)) {
        (void)keep(store, errors);
        return;
    }
    remove_made_folders(store->parent, store->made_from);
    store_free(store);
}

/* --- reading -------------------------------------------------------------- */

static bool read_all(FILE *file, char **bytes, size_t *size)
{
    size_t capacity = 0;
    for (;;) {
        if (capacity - *size < 2) {
            capacity = capacity ? 2 * capacity : 65536;
            char *grown = realloc(*bytes, capacity);
            if (!grown)
                return false;
            *bytes = grown;
        }
        size_t got = fread(*bytes + *size, 1, capacity - *size - 1, file);
        *size += got;
        if (got == 0)
            break;
    }
    (*bytes)[*size] = '\0';
    return !ferror(file);
}

nrw_status nrw_store_read(const char *dir, const char *name, char **bytes, size_t *size,
                          nrw_errors *errors)
{
    *bytes = NULL;
    *size = 0;
    char *path = join(dir, "/", name);
    if (!path)
        return out_of_memory(errors);
    FILE *file = fopen(path, "rb");
    errno = file ? 0 : errno;
    bool complete = file && read_all(file, bytes, size);
    int why = errno;
    if (file)
        (void)fclose(file);
    free(path);
    if (complete)
        return NRW_OK;
    free(*bytes);
    *bytes = NULL;
    *size = 0;
    return nrw_errors_add(errors, NRW_IO_FAILED, NULL, "can't read %s/%s: %s", dir, name,
                          why ? strerror(why) : "the system refused a read");
}

/* --- replacing ------------------------------------------------------------- */

/* Writes a new file and syncs it; errno tells what failed. */
static bool write_synced(const char *path, const void *bytes, size_t size)
{
    FILE *file = fopen(path, "wbx");
    if (!file)
        return false;
    bool written = fwrite(bytes, 1, size, file) == size && fflush(file) == 0;
    written = written && fsync(fileno(file)) == 0;
    int why = errno;
    written = fclose(file) == 0 && written;
    errno = why ? why : errno;
    return written;
}

nrw_status nrw_store_replace(const char *dir, const char *name, const void *bytes, size_t size,
                             nrw_errors *errors)
{
    char hidden[64];
    (void)snprintf(hidden, sizeof hidden, ".partial-%ld", (long)getpid());
    char *path = join(dir, "/", name), *dotted = join(dir, "/.", name);
    char *next = dotted ? join(dotted, hidden, "") : NULL;
    nrw_status status = NRW_OK;
    if (!path || !next)
        status = out_of_memory(errors);
    else if (!write_synced(next, bytes, size) || rename(next, path) != 0) {
        status = nrw_errors_add(errors, NRW_IO_FAILED, NULL, "can't write %s: %s", path,
                                strerror(errno));
        (void)unlink(next);
    } else {
        (void)sync_path(dir);
    }
    free(path);
    free(dotted);
    free(next);
    return status;
}
