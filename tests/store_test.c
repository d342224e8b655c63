/* The results folder appears whole or not at all. */
#include <criterion/criterion.h>
#include <errno.h>
#include <signal.h>
#include <stdlib.h>
#include <string.h>
#include <sys/resource.h>
#include <sys/stat.h>
#include <unistd.h>

#include "store.h"
#include "temporary_folder.h"

static char base[256], target[512];
static nrw_errors errors;

static void setup(void)
{
    temporary_folder_make(base);
    path_join(target, base, "results");
    nrw_errors_init(&errors);
}

static void teardown(void)
{
    nrw_errors_clear(&errors);
    temporary_folder_remove(base);
}

TestSuite(store, .init = setup, .fini = teardown);

static nrw_status put_text(nrw_store *store, const char *name, const char *text)
{
    return nrw_store_put(store, name, text, strlen(text), &errors);
}

static void expect_file(const char *folder, const char *name, const char *text)
{
    char path[512];
    char *bytes = file_bytes(path_join(path, folder, name), NULL);
    cr_assert_str_eq(bytes, text);
    free(bytes);
}

static void make_old_folder(void)
{
    char path[512];
    cr_assert_eq(mkdir(target, 0777), 0);
    file_write(path_join(path, target, "old.txt"), "old");
}

Test(store, folder_appears_only_at_the_commit)
{
    nrw_store *store;
    cr_assert_eq(nrw_store_open(target, false, &store, &errors), NRW_OK);
    cr_assert_eq(put_text(store, "a.txt", "one"), NRW_OK);
    cr_assert(!path_exists(target));
    cr_assert_eq(nrw_store_commit(store, NULL, &errors), NRW_OK);
    expect_file(target, "a.txt", "one");
    cr_assert_eq(folder_count(base, ""), 1, "no hidden folder is left");
}

Test(store, missing_parents_are_made_and_removed_again_when_given_up)
{
    char deep[512];
    nrw_store *store;
    path_join(deep, base, "a/b/c");
    cr_assert_eq(nrw_store_open(deep, false, &store, &errors), NRW_OK);
    nrw_store_abandon(store, &errors);
    cr_assert_eq(folder_count(base, ""), 0);
    cr_assert_eq(errors.n_items, 0);
    cr_assert_eq(nrw_store_open(deep, false, &store, &errors), NRW_OK);
    cr_assert_eq(put_text(store, "a.txt", "one"), NRW_OK);
    cr_assert_eq(nrw_store_commit(store, NULL, &errors), NRW_OK);
    expect_file(deep, "a.txt", "one");
}

Test(store, empty_folder_is_taken_and_a_full_one_is_not)
{
    nrw_store *store;
    cr_assert_eq(mkdir(target, 0777), 0);
    cr_assert_eq(nrw_store_open(target, false, &store, &errors), NRW_OK);
    cr_assert_eq(put_text(store, "a.txt", "one"), NRW_OK);
    cr_assert_eq(nrw_store_commit(store, NULL, &errors), NRW_OK);
    cr_assert_eq(nrw_store_open(target, false, &store, &errors), NRW_BAD_USAGE);
    cr_assert(store == NULL);
    cr_assert(strstr(errors.items[0].what, "not empty"));
    expect_file(target, "a.txt", "one");
}

Test(store, force_replaces_all_of_the_old_folder)
{
    char path[512], *leftover;
    nrw_store *store;
    make_old_folder();
    cr_assert_eq(mkdir(path_join(path, target, "inner"), 0777), 0);
    file_write(path_join(path, target, "inner/deep.txt"), "old");
    cr_assert_eq(symlink(base, path_join(path, target, "link")), 0);
    cr_assert_eq(nrw_store_open(target, true, &store, &errors), NRW_OK);
    cr_assert_eq(put_text(store, "new.txt", "new"), NRW_OK);
    expect_file(target, "old.txt", "old");
    cr_assert_eq(nrw_store_commit(store, &leftover, &errors), NRW_OK);
    cr_assert(leftover == NULL);
    expect_file(target, "new.txt", "new");
    cr_assert_eq(folder_count(target, ""), 1);
    cr_assert_eq(folder_count(base, ""), 1, "the link in the old folder was not followed");
}

Test(store, link_to_a_folder_stays_and_what_it_points_to_is_replaced)
{
    char link[512];
    nrw_store *store;
    make_old_folder();
    cr_assert_eq(symlink("results", path_join(link, base, "latest")), 0);
    cr_assert_eq(nrw_store_open(link, true, &store, &errors), NRW_OK);
    cr_assert_eq(put_text(store, "new.txt", "new"), NRW_OK);
    cr_assert_eq(nrw_store_commit(store, NULL, &errors), NRW_OK);
    expect_file(target, "new.txt", "new");
    expect_file(link, "new.txt", "new");
}

Test(store, files_and_odd_names_are_refused)
{
    char path[512];
    nrw_store *store;
    file_write(target, "a file");
    cr_assert_eq(nrw_store_open(target, true, &store, &errors), NRW_BAD_USAGE);
    cr_assert_eq(nrw_store_open("/", true, &store, &errors), NRW_BAD_USAGE);
    cr_assert_eq(nrw_store_open(".", true, &store, &errors), NRW_BAD_USAGE);
    cr_assert_eq(nrw_store_open(path_join(path, base, ".."), true, &store, &errors), NRW_BAD_USAGE);
    expect_file(base, "results", "a file");
    FILE *file;
    cr_assert_eq(nrw_store_open(path_join(path, base, "other"), false, &store, &errors), NRW_OK);
    cr_assert_eq(nrw_store_file_open(store, "../up.txt", &file, &errors), NRW_BAD_USAGE);
    nrw_store_abandon(store, &errors);
}

Test(store, current_directory_is_never_replaced)
{
    nrw_store *store;
    char inner[512];
    make_old_folder();
    cr_assert_eq(mkdir(path_join(inner, target, "inner"), 0777), 0);
    cr_assert_eq(chdir(inner), 0);
    cr_assert_eq(nrw_store_open(target, true, &store, &errors), NRW_BAD_USAGE);
    cr_assert_eq(chdir("/"), 0);
    expect_file(target, "old.txt", "old");
}

/* A file-size limit makes write() fail as a full disk does. */
Test(store, full_disk_leaves_the_old_folder_and_keeps_what_was_written)
{
    enum { LIMIT = 8192 };
    nrw_store *store;
    char large[4 * LIMIT], kept[512];
    struct rlimit before, small;
    memset(large, 'x', sizeof large);
    make_old_folder();
    cr_assert_eq(nrw_store_open(target, true, &store, &errors), NRW_OK);
    cr_assert_eq(put_text(store, "a.txt", "computed"), NRW_OK);
    (void)snprintf(kept, sizeof kept, "%s", nrw_store_path(store));
    (void)signal(SIGXFSZ, SIG_IGN);
    cr_assert_eq(getrlimit(RLIMIT_FSIZE, &before), 0);
    small = before;
    small.rlim_cur = LIMIT;
    cr_assert_eq(setrlimit(RLIMIT_FSIZE, &small), 0);
    nrw_status status = nrw_store_put(store, "b.bin", large, sizeof large, &errors);
    cr_assert_eq(setrlimit(RLIMIT_FSIZE, &before), 0);
    cr_assert_eq(status, NRW_IO_FAILED);
    cr_assert(strstr(errors.items[0].what, strerror(EFBIG)), "%s", errors.items[0].what);
    nrw_store_abandon(store, &errors);
    cr_assert(strstr(errors.items[1].what, kept), "the kept folder is named");
    expect_file(kept, "a.txt", "computed");
    expect_file(target, "old.txt", "old");
    cr_assert_eq(folder_count(target, ""), 1);
}

Test(store, parent_that_vanished_fails_the_commit_and_says_so)
{
    char parent[512], moved[512], inner[520];
    nrw_store *store;
    cr_assert_eq(mkdir(path_join(parent, base, "p"), 0777), 0);
    (void)snprintf(inner, sizeof inner, "%s/results", parent);
    cr_assert_eq(nrw_store_open(inner, false, &store, &errors), NRW_OK);
    cr_assert_eq(put_text(store, "a.txt", "one"), NRW_OK);
    cr_assert_eq(rename(parent, path_join(moved, base, "q")), 0);
    cr_assert_eq(nrw_store_commit(store, NULL, &errors), NRW_IO_FAILED);
    cr_assert(strstr(errors.items[0].what, strerror(ENOENT)), "%s", errors.items[0].what);
    cr_assert(!path_exists(inner));
}

Test(store, folder_filled_meanwhile_is_not_overwritten_without_force)
{
    char kept[512];
    nrw_store *store;
    cr_assert_eq(nrw_store_open(target, false, &store, &errors), NRW_OK);
    cr_assert_eq(put_text(store, "a.txt", "one"), NRW_OK);
    (void)snprintf(kept, sizeof kept, "%s", nrw_store_path(store));
    make_old_folder();
    cr_assert_eq(nrw_store_commit(store, NULL, &errors), NRW_IO_FAILED);
    expect_file(target, "old.txt", "old");
    expect_file(kept, "a.txt", "one");
}

Test(store, folder_that_can_not_be_made_fails_before_any_work)
{
    nrw_store *store;
    file_write(target, "a file, not a folder");
    char below[600];
    (void)snprintf(below, sizeof below, "%s/results", target);
    cr_assert_eq(nrw_store_open(below, false, &store, &errors), NRW_IO_FAILED);
    cr_assert(strstr(errors.items[0].what, strerror(ENOTDIR)), "%s", errors.items[0].what);
}

Test(store, reads_back_what_it_wrote_and_names_what_is_missing)
{
    char *bytes;
    size_t size;
    nrw_store *store;
    cr_assert_eq(nrw_store_open(target, false, &store, &errors), NRW_OK);
    cr_assert_eq(nrw_store_put(store, "a.bin", "x\0y", 3, &errors), NRW_OK);
    cr_assert_eq(nrw_store_commit(store, NULL, &errors), NRW_OK);
    cr_assert_eq(nrw_store_read(target, "a.bin", &bytes, &size, &errors), NRW_OK);
    cr_assert_eq(size, 3);
    cr_assert_arr_eq(bytes, "x\0y", 4);
    free(bytes);
    cr_assert_eq(nrw_store_read(target, "b.bin", &bytes, &size, &errors), NRW_IO_FAILED);
    cr_assert(strstr(errors.items[0].what, "b.bin"));
}
