#include "checkpoint.h"

#include <criterion/criterion.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "temporary_folder.h"

static nrw_errors errors;

static void key_of(const char *text, char key[65])
{
    cr_assert_eq(nrw_checkpoint_key(1, &text, key), NRW_OK);
}

static nrw_checkpoint *open_or_fail(const char *target, const char *key, bool resume)
{
    nrw_checkpoint *checkpoint = NULL;
    cr_assert_eq(nrw_checkpoint_open(target, key, resume, &checkpoint, &errors), NRW_OK);
    return checkpoint;
}

/* A folder of the test's own, and in it the name of a results folder. */
typedef struct place {
    char folder[256];
    char target[600], beside[600], key[65];
} place;

static void place_init(place *p)
{
    nrw_errors_init(&errors);
    temporary_folder_make(p->folder);
    (void)snprintf(p->target, sizeof p->target, "%s/results", p->folder);
    (void)snprintf(p->beside, sizeof p->beside, "%s/.results.checkpoint", p->folder);
    key_of("a job", p->key);
}

static void place_clear(place *p)
{
    temporary_folder_remove(p->folder);
    nrw_errors_clear(&errors);
}

Test(checkpoint, units_kept_are_found_after_resuming)
{
    place p;
    place_init(&p);
    nrw_checkpoint *checkpoint = open_or_fail(p.target, p.key, false);
    cr_expect_null(nrw_checkpoint_find(checkpoint, "a/1"));
    for (int k = 200; k-- > 0;) {
        char unit[32], text[32];
        (void)snprintf(unit, sizeof unit, "a/%d", k);
        (void)snprintf(text, sizeof text, "%d words", k);
        cr_assert_eq(nrw_checkpoint_add(checkpoint, unit, text, &errors), NRW_OK);
    }
    nrw_checkpoint_close(checkpoint, true);
    checkpoint = open_or_fail(p.target, p.key, true);
    cr_expect_str_eq(nrw_checkpoint_find(checkpoint, "a/17"), "17 words");
    cr_expect_str_eq(nrw_checkpoint_find(checkpoint, "a/199"), "199 words");
    cr_expect_null(nrw_checkpoint_find(checkpoint, "a/200"));
    /* what was taken over is in the new file too */
    nrw_checkpoint_close(checkpoint, true);
    checkpoint = open_or_fail(p.target, p.key, true);
    cr_expect_str_eq(nrw_checkpoint_find(checkpoint, "a/0"), "0 words");
    nrw_checkpoint_close(checkpoint, false);
    cr_expect_neq(access(p.beside, F_OK), 0, "a finished job leaves no checkpoint");
    place_clear(&p);
}

Test(checkpoint, without_resume_the_work_starts_anew)
{
    place p;
    place_init(&p);
    nrw_checkpoint *checkpoint = open_or_fail(p.target, p.key, false);
    cr_assert_eq(nrw_checkpoint_add(checkpoint, "a/1", "x", &errors), NRW_OK);
    nrw_checkpoint_close(checkpoint, true);
    checkpoint = open_or_fail(p.target, p.key, false);
    cr_expect_null(nrw_checkpoint_find(checkpoint, "a/1"));
    nrw_checkpoint_close(checkpoint, false);
    place_clear(&p);
}

Test(checkpoint, a_line_cut_short_at_any_byte_is_left_out)
{
    place p;
    place_init(&p);
    nrw_checkpoint *checkpoint = open_or_fail(p.target, p.key, false);
    cr_assert_eq(nrw_checkpoint_add(checkpoint, "a/1", "0x1.8p+1 7", &errors), NRW_OK);
    cr_assert_eq(nrw_checkpoint_add(checkpoint, "a/2", "0x1.8p+2 8", &errors), NRW_OK);
    nrw_checkpoint_close(checkpoint, true);
    char bytes[512];
    FILE *file = fopen(p.beside, "rb");
    cr_assert_not_null(file);
    const size_t size = fread(bytes, 1, sizeof bytes, file);
    (void)fclose(file);
    const size_t last_line = strlen("a/2 0x1.8p+2 8 ;\n");
    for (size_t cut = 1; cut <= last_line; cut++) {
        file = fopen(p.beside, "wb");
        cr_assert_eq(fwrite(bytes, 1, size - cut, file), size - cut);
        (void)fclose(file);
        checkpoint = open_or_fail(p.target, p.key, true);
        cr_expect_str_eq(nrw_checkpoint_find(checkpoint, "a/1"), "0x1.8p+1 7");
        cr_expect_null(nrw_checkpoint_find(checkpoint, "a/2"), "cut by %zu bytes", cut);
        nrw_checkpoint_close(checkpoint, true);
    }
    place_clear(&p);
}

Test(checkpoint, of_another_job_is_refused_in_the_folder_and_ignored_beside_it)
{
    place p;
    char other[65];
    place_init(&p);
    key_of("another job", other);
    nrw_checkpoint *checkpoint = open_or_fail(p.target, other, false);
    cr_assert_eq(nrw_checkpoint_add(checkpoint, "a/1", "x", &errors), NRW_OK);
    nrw_store *store = NULL;
    cr_assert_eq(nrw_store_open(p.target, false, &store, &errors), NRW_OK);
    cr_assert_eq(nrw_checkpoint_save(checkpoint, store, &errors), NRW_OK);
    nrw_checkpoint_close(checkpoint, true);
    checkpoint = open_or_fail(p.target, p.key, true);
    cr_expect_null(nrw_checkpoint_find(checkpoint, "a/1"));
    nrw_checkpoint_close(checkpoint, false);
    cr_assert_eq(nrw_store_commit(store, NULL, &errors), NRW_OK);
    cr_expect_eq(nrw_checkpoint_open(p.target, p.key, true, &checkpoint, &errors), NRW_BAD_USAGE);
    nrw_checkpoint_close(checkpoint, false);
    checkpoint = open_or_fail(p.target, other, true);
    cr_expect_str_eq(nrw_checkpoint_find(checkpoint, "a/1"), "x", "saved in the folder");
    nrw_checkpoint_close(checkpoint, false);
    place_clear(&p);
}

Test(checkpoint, keys_tell_lists_apart_that_join_to_the_same_text)
{
    const char *const a[] = {"ab", "c"}, *const b[] = {"a", "bc"};
    char key_a[65], key_b[65];
    cr_assert_eq(nrw_checkpoint_key(2, a, key_a), NRW_OK);
    cr_assert_eq(nrw_checkpoint_key(2, b, key_b), NRW_OK);
    cr_expect_str_neq(key_a, key_b);
}

Test(checkpoint, numbers_come_back_to_the_last_bit)
{
    const double values[] = {0.1, -0.0, 1e-310, 1.0 / 3.0, 6.02214076e23, INFINITY, -INFINITY, 0.7};
    char *text = NULL;
    size_t size = 0;
    FILE *file = open_memstream(&text, &size);
    for (size_t k = 0; k < sizeof values / sizeof *values; k++)
        nrw_word_number(file, values[k]);
    nrw_word_number(file, NAN);
    nrw_word_integer(file, INT64_MIN);
    (void)fclose(file);
    nrw_words words = {text, false};
    for (size_t k = 0; k < sizeof values / sizeof *values; k++) {
        const double back = nrw_words_number(&words);
        cr_expect_eq(memcmp(&back, &values[k], sizeof back), 0, "%g", values[k]);
    }
    cr_expect(isnan(nrw_words_number(&words)));
    cr_expect_eq(nrw_words_integer(&words), INT64_MIN);
    cr_expect_not(words.bad);
    (void)nrw_words_number(&words);
    cr_expect(words.bad, "there is no further word");
    free(text);
}

Test(checkpoint, integers_out_of_bounds_or_with_a_fraction_are_bad)
{
    nrw_words words = {" 5", false};
    (void)nrw_words_bounded(&words, 0, 4);
    cr_expect(words.bad);
    words = (nrw_words){" 1.5", false};
    (void)nrw_words_integer(&words);
    cr_expect(words.bad);
}
