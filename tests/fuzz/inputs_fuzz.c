/* Any bytes for the readers of files, with coverage (LLVM's libFuzzer). The first
 * byte chooses the reader. From the repository's root:
 *
 *   clang -std=c17 -g -O1 -fsanitize=fuzzer,address,undefined \
 *       -D_POSIX_C_SOURCE=200809L -Isim -Iplanner -Itests \
 *       $(pkg-config --cflags yaml-0.1 nettle gsl) -o build/inputs_fuzz \
 *       tests/fuzz/inputs_fuzz.c tests/input_check.c tests/input_case.c \
 *       sim/scenario*.c sim/yaml*.c sim/drive*.c sim/{number,suggest,sha256}.c \
 *       sim/{error,schedule,fluid,csv}.c planner/schedule_file.c \
 *       $(pkg-config --libs yaml-0.1 nettle gsl criterion) -lm
 *   mkdir -p build/corpus && build/inputs_fuzz -max_total_time=300 build/corpus
 *
 * tests/input_mutation_test.c is its bounded twin among the tests. */
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "input_case.h"
#include "input_check.h"

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t size);

int LLVMFuzzerTestOneInput(const uint8_t *bytes, size_t size)
{
    static nrw_scenario *scenario; /* of the schedules; made once */
    size_t n_taken = 0;
    if (size == 0)
        return 0;
    if (!scenario && nrw_scenario_parse(INPUT_EXAMPLE_SCENARIO, strlen(INPUT_EXAMPLE_SCENARIO),
                                        "example", &scenario, NULL) != NRW_OK)
        abort();
    const char *text = (const char *)bytes + 1;
    const char *fault = bytes[0] % 2 ? input_check_schedule(scenario, text, size - 1, &n_taken)
                                     : input_check_scenario(text, size - 1, &n_taken);
    if (fault) {
        (void)fprintf(stderr, "%s\n", fault);
        abort();
    }
    return 0;
}
