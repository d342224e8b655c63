# make install: a program of one's own builds against what it leaves.
. "$(dirname "$0")/claims.sh"
unset MAKEFLAGS MFLAGS MAKELEVEL MAKEOVERRIDES SAN WERROR V B

make -s -C "$root" install DESTDIR="$folder/root" PREFIX=/usr >.out 2>.err
status=$?
claim "make install succeeds" exits 0
claim "the program is installed" [ -x root/usr/bin/narrows ]

cat >own.c <<'END'
#include <narrows_plan.h>
#include <narrows_sim.h>
#include <stdio.h>

int main(int argc, char **argv)
{
    nrw_errors errors;
    nrw_scenario *scenario = NULL;
    nrw_errors_init(&errors);
    if (argc < 2 || nrw_scenario_load(argv[1], &scenario, &errors) != NRW_OK)
        return 2;
    printf("%.1f\n", nrw_scenario_gathered_diameter_um(scenario));
    nrw_scenario_destroy(scenario);
    nrw_errors_clear(&errors);
    return 0;
}
END
export PKG_CONFIG_PATH=$folder/root/usr/lib/pkgconfig PKG_CONFIG_SYSROOT_DIR=
# The libraries' own folders must not be moved below the new root, hence the variable.
flags=$(pkg-config --define-variable=prefix="$folder/root/usr" --cflags --libs narrows)
gcc -std=c17 -Wall -Wextra -Werror -o own own.c $flags >.out 2>.err
status=$?
claim "a program of one's own compiles without a warning" exits 0
out=$(./own "$root/scenarios/straight-gate.yaml" 2>.err)
status=$?
claim "it reads a scenario" exits 0
claim "it prints what the library says" [ -n "$out" ]

make -s -C "$root" uninstall DESTDIR="$folder/root" PREFIX=/usr >.out 2>.err
claim "make uninstall leaves nothing of it" [ -z "$(find root -type f)" ]

claims_end
