#include "temporary_folder.h"

#include <criterion/criterion.h>
#include <dirent.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <unistd.h>

void temporary_folder_make(char path[256])
{
    const char *base = getenv("TMPDIR");
    (void)snprintf(path, 256, "%s/narrows-test-XXXXXX", base && *base ? base : "/tmp");
    cr_assert(mkdtemp(path) != NULL, "can't make %s", path);
}

const char *path_join(char path[512], const char *head, const char *name)
{
    (void)snprintf(path, 512, "%s/%s", head, name);
    return path;
}

void temporary_folder_remove(const char *path)
{
    DIR *folder = opendir(path);
    if (folder) {
        for (struct dirent *entry; (entry = readdir(folder));) {
            char inner[512];
            if (strcmp(entry->d_name, ".") != 0 && strcmp(entry->d_name, "..") != 0)
                temporary_folder_remove(path_join(inner, path, entry->d_name));
        }
        closedir(folder);
    }
    (void)remove(path);
}

int path_exists(const char *path)
{
    struct stat found;
    return lstat(path, &found) == 0;
}

size_t folder_count(const char *path, const char *prefix)
{
    size_t n = 0;
    DIR *folder = opendir(path);
    cr_assert(folder != NULL, "no folder %s", path);
    for (struct dirent *entry; (entry = readdir(folder));)
        n += strcmp(entry->d_name, ".") != 0 && strcmp(entry->d_name, "..") != 0 &&
             strncmp(entry->d_name, prefix, strlen(prefix)) == 0;
    closedir(folder);
    return n;
}

char *file_bytes(const char *path, size_t *size)
{
    FILE *file = fopen(path, "rb");
    cr_assert(file != NULL, "no file %s", path);
    fseek(file, 0, SEEK_END);
    long length = ftell(file);
    rewind(file);
    char *bytes = malloc((size_t)length + 1);
    cr_assert(bytes != NULL);
    size_t got = fread(bytes, 1, (size_t)length, file);
    bytes[got] = '\0';
    fclose(file);
    if (size)
        *size = got;
    return bytes;
}

void file_write(const char *path, const char *text)
{
    FILE *file = fopen(path, "wb");
    cr_assert(file != NULL, "can't write %s", path);
    fputs(text, file);
    fclose(file);
}
