#include "suggest.h"

#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <stdint.h>

Test(suggest, distance_counts_each_kind_of_slip_once)
{
    cr_assert(eq(sz, nrw_edit_distance("check", "check"), 0));
    cr_assert(eq(sz, nrw_edit_distance("chek", "check"), 1));
    cr_assert(eq(sz, nrw_edit_distance("checkk", "check"), 1));
    cr_assert(eq(sz, nrw_edit_distance("cheek", "check"), 1));
    cr_assert(eq(sz, nrw_edit_distance("cehck", "check"), 1));
    cr_assert(eq(sz, nrw_edit_distance("CHECK", "check"), 0));
    cr_assert(eq(sz, nrw_edit_distance("", "abc"), 3));
    cr_assert(eq(sz, nrw_edit_distance("abc", ""), 3));
    cr_assert(eq(sz, nrw_edit_distance("kitten", "sitting"), 3));
}

Test(suggest, distance_refuses_very_long_words)
{
    char word[65];
    for (int i = 0; i < 64; i++)
        word[i] = 'x';
    word[64] = '\0';
    cr_assert(eq(sz, nrw_edit_distance(word, "x"), SIZE_MAX));
    cr_assert(eq(sz, nrw_edit_distance(word + 1, word + 1), 0));
}

Test(suggest, the_nearest_word_is_taken_and_strangers_are_not)
{
    static const char *const words[] = {"field_mT", "frequency_Hz", "tilt_deg", "sense"};
    cr_assert(eq(str, (char *)nrw_suggest("feild_mT", words, 4), "field_mT"));
    cr_assert(eq(str, (char *)nrw_suggest("frequency", words, 4), "frequency_Hz"));
    cr_assert(nrw_suggest("colour", words, 4) == NULL);
    cr_assert(nrw_suggest("field_mT", words, 0) == NULL);
}
