#include "error.h"

#include <criterion/criterion.h>
#include <criterion/new/assert.h>
#include <stdlib.h>
#include <string.h>

Test(error, every_status_has_a_text_and_a_contract_exit_code)
{
    static const nrw_status statuses[] = {
#define STATUS(code, exit_code, text) code,
        NRW_STATUS_LIST(STATUS)
#undef STATUS
    };
    /* Contract section 1: 0 done, 1 no, 2 usage or input, 3 failure, 130 interrupted. */
    static const int allowed[] = {0, 1, 2, 3, 130};
    for (size_t i = 0; i < sizeof statuses / sizeof *statuses; i++) {
        cr_assert(gt(sz, strlen(nrw_status_text(statuses[i])), 0));
        int found = 0;
        for (size_t j = 0; j < sizeof allowed / sizeof *allowed; j++)
            found += nrw_status_exit_code(statuses[i]) == allowed[j];
        cr_assert(eq(int, found, 1));
    }
    cr_assert(eq(int, nrw_status_exit_code(NRW_REFUSED), 1));
    cr_assert(eq(int, nrw_status_exit_code(NRW_BAD_INPUT), 2));
    cr_assert(eq(int, nrw_status_exit_code(NRW_INTERRUPTED), 130));
}

Test(error, an_unknown_status_is_a_failure)
{
    cr_assert(eq(int, nrw_status_exit_code((nrw_status)999), 3));
}

Test(error, a_located_error_reads_file_line_column_key_what_expected)
{
    nrw_errors errors;
    nrw_errors_init(&errors);
    nrw_status status =
        nrw_errors_add_at(&errors, NRW_BAD_INPUT, "map.yaml", 7, 3, "channel.depth_um",
                          "a number above 0", "%g is not above 0", -2.0);
    cr_assert(eq(int, (int)status, NRW_BAD_INPUT));
    char text[256];
    nrw_error_format(&errors.items[0], text, sizeof text);
    cr_assert(eq(str, text, "map.yaml:7:3: channel.depth_um: -2 is not above 0; a number above 0"));
    nrw_errors_clear(&errors);
}

Test(error, unknown_parts_are_left_out)
{
    nrw_errors errors;
    nrw_errors_init(&errors);
    nrw_errors_add(&errors, NRW_IO_FAILED, NULL, "disc full");
    nrw_errors_add_at(&errors, NRW_BAD_INPUT, "a.yaml", 0, 0, "", "", "no such file");
    char text[256];
    nrw_error_format(&errors.items[0], text, sizeof text);
    cr_assert(eq(str, text, "disc full"));
    nrw_error_format(&errors.items[1], text, sizeof text);
    cr_assert(eq(str, text, "a.yaml: no such file"));
    nrw_errors_clear(&errors);
}

Test(error, a_short_buffer_is_terminated)
{
    nrw_errors errors;
    nrw_errors_init(&errors);
    nrw_errors_add(&errors, NRW_IO_FAILED, "room", "a long sentence");
    char text[6];
    nrw_error_format(&errors.items[0], text, sizeof text);
    cr_assert(eq(str, text, "a lon"));
    nrw_errors_clear(&errors);
}

Test(error, the_list_keeps_many_errors_in_order)
{
    nrw_errors errors;
    nrw_errors_init(&errors);
    for (int i = 0; i < 100; i++)
        nrw_errors_add_at(&errors, NRW_BAD_INPUT, "f", i + 1, 1, "", NULL, "error %d", i);
    cr_assert(eq(sz, errors.n_items, 100));
    for (int i = 0; i < 100; i++)
        cr_assert(eq(int, errors.items[i].line, i + 1));
    nrw_errors_clear(&errors);
    cr_assert(eq(sz, errors.n_items, 0));
}

Test(error, texts_longer_than_their_field_are_cut_not_overrun)
{
    char *text = malloc(2000);
    memset(text, 'x', 1999);
    text[1999] = '\0';
    nrw_errors errors;
    nrw_errors_init(&errors);
    nrw_errors_add_at(&errors, NRW_BAD_INPUT, text, 1, 1, text, text, "%s", text);
    cr_assert(lt(sz, strlen(errors.items[0].file), sizeof errors.items[0].file));
    cr_assert(lt(sz, strlen(errors.items[0].what), sizeof errors.items[0].what));
    nrw_errors_clear(&errors);
    free(text);
}

Test(error, a_missing_list_still_gives_the_status)
{
    cr_assert(eq(int, (int)nrw_errors_add(NULL, NRW_NO_MEMORY, NULL, "lost"), NRW_NO_MEMORY));
}
