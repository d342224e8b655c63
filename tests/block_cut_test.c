/* Cuts of cells of blocks, against trying everything, and against halving. */
#include <criterion/criterion.h>
#include <math.h>

#include "block_cut.h"

/* What rectangles cost, as block_cut.c says: squared radius over area, blocks 1, nodes 0.175. */
static double own_cost(int n, double aspect)
{
    return 0.25 * (aspect + 1.0 / aspect) * (n == 1 ? 1.0 : 0.175);
}

static double folded(double aspect)
{
    return aspect >= 1.0 ? aspect : 1.0 / aspect;
}

/* The least cost of n blocks in a rectangle, by trying every cut. */
static double least_cost(int n, double aspect)
{
    if (n == 1)
        return own_cost(1, aspect);
    double best = INFINITY;
    for (int first = 1; first < n; first++) {
        const double one = (double)first / n, other = 1.0 - one;
        best = fmin(best, least_cost(first, folded(aspect * one)) +
                              least_cost(n - first, folded(aspect * other)));
        best = fmin(best, least_cost(first, folded(aspect / one)) +
                              least_cost(n - first, folded(aspect / other)));
    }
    return best + own_cost(n, aspect);
}

/* The cost when every cell is cut as told (or halved across its longer side), and its blocks'
 * part. */
static double cost_of_cuts(int n, double aspect, bool halved, double *blocks)
{
    if (n == 1) {
        *blocks += own_cost(1, aspect);
        return own_cost(1, aspect);
    }
    nrw_block_cut cut = {true, ((uint32_t)n + 1) / 2};
    if (!halved)
        cut = nrw_block_cut_of((uint32_t)n, (float)aspect);
    cr_assert(cut.first >= 1 && cut.first < (uint32_t)n);
    const int first = (int)cut.first;
    const double one = (double)first / n, other = 1.0 - one;
    const double a = cut.across_longer ? aspect * one : aspect / one;
    const double b = cut.across_longer ? aspect * other : aspect / other;
    return own_cost(n, aspect) + cost_of_cuts(first, folded(a), halved, blocks) +
           cost_of_cuts(n - first, folded(b), halved, blocks);
}

Test(block_cut, cells_are_cut_as_well_as_by_trying_everything)
{
    for (int n = 2; n <= 7; n++)
        for (double aspect = 1.0; aspect < 4.0; aspect *= 1.13) {
            double blocks = 0.0;
            const double cost = cost_of_cuts(n, aspect, false, &blocks);
            /* aspects are rounded to some 6 % in the table */
            cr_assert_leq(cost, 1.03 * least_cost(n, aspect), "%d blocks, %g", n, aspect);
        }
}

Test(block_cut, what_can_be_squares_becomes_squares)
{
    /* a square of unit area costs a half */
    const struct {
        int n;
        double aspect;
    } cells[] = {{4, 1.0}, {6, 1.5}, {9, 1.0}, {12, 4.0 / 3.0}, {15, 5.0 / 3.0}, {20, 1.25}};
    for (size_t k = 0; k < sizeof cells / sizeof *cells; k++) {
        double blocks = 0.0;
        (void)cost_of_cuts(cells[k].n, cells[k].aspect, false, &blocks);
        cr_assert_leq(blocks / cells[k].n, 0.5001, "%d blocks", cells[k].n);
    }
}

Test(block_cut, every_number_becomes_more_compact_than_by_halves)
{
    double all = 0.0, by_halves = 0.0;
    int cells = 0;
    for (int n = 2; n <= NRW_BLOCK_CUT_MOST; n++)
        for (double aspect = 1.0; aspect < 2.0; aspect *= 1.07, cells++) {
            double blocks = 0.0, halves = 0.0;
            const double cost = cost_of_cuts(n, aspect, false, &blocks);
            cr_assert_leq(cost, 1.02 * cost_of_cuts(n, aspect, true, &halves));
            all += blocks / n;
            by_halves += halves / n;
        }
    cr_assert_leq(all / cells, 0.53);
    cr_assert_geq(by_halves / cells, 0.555);
}

Test(block_cut, many_blocks_are_halved)
{
    for (uint32_t n = NRW_BLOCK_CUT_MOST + 1; n < 1000; n += 37) {
        const nrw_block_cut cut = nrw_block_cut_of(n, 1.3f);
        cr_assert(cut.across_longer);
        cr_assert_eq(cut.first, (n + 1) / 2);
    }
    /* and the longest cells have their cuts too */
    const nrw_block_cut thin = nrw_block_cut_of(2, 1e6f), flat = nrw_block_cut_of(2, INFINITY);
    cr_assert(thin.across_longer && thin.first == 1);
    cr_assert(flat.across_longer && flat.first == 1);
}
