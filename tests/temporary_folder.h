/* A folder of its own for a test, below $TMPDIR or /tmp. */
#ifndef TEMPORARY_FOLDER_H
#define TEMPORARY_FOLDER_H

#include <stddef.h>

/* Makes one and writes its path; fails the test if it can't. */
void temporary_folder_make(char path[256]);

/* Removes it with everything below. */
void temporary_folder_remove(const char *path);

/* Writes HEAD/NAME to `path` and returns it. */
const char *path_join(char path[512], const char *head, const char *name);

/* Whether that exists; the number of entries of a folder whose names begin with
 * `prefix` ("" for all; "." and ".." don't count). */
int path_exists(const char *path);
size_t folder_count(const char *path, const char *prefix);

/* The bytes of a file, terminated; fails the test if it can't be read. The
 * caller frees them. */
char *file_bytes(const char *path, size_t *size);
void file_write(const char *path, const char *text);

#endif
