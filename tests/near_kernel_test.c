#include <criterion/criterion.h>
#include <math.h>
#include <stdint.h>
#include <string.h>

#include "contact.h"
#include "dipole.h"
#include "every_kernel.h"
#include "vec3.h"

/* The kernels that work on the list of close neighbours, against plain double sums
 * over pairs, for each instruction set that this processor has. */

enum { N = 120, ROWS = 128, N_OUT = 24, N_RESPONSES = 3 * NRW_N_TENSOR };

#define RADIUS 1.5
#define CORE 2.7
#define CANDIDATE 0.6f
/* Share of the largest value; float positions of 20 µm are good to 1e-6 µm. */
#define FLOAT_ERROR 3e-6

static double x[N], y[N], z[N];
static float radius[N];
static nrw_arena arena;
static nrw_contacts contacts;
static _Alignas(64) float places[4 * (ROWS + 1)], spins[4 * (ROWS + 1)], moves[4 * (ROWS + 1)];
static _Alignas(64) float out[N_OUT][ROWS], responses[N_RESPONSES][ROWS];
static double expected[N_OUT][N]; /* by particle */

static double uniform(uint64_t *state)
{
    *state = *state * 6364136223846793005u + 1442695040888963407u;
    return (double)(*state >> 11) * 0x1p-53;
}

static nrw_vec3 apart(size_t j, size_t i)
{
    return (nrw_vec3){x[i] - x[j], y[i] - y[j], z[i] - z[j]};
}

static bool too_close(size_t i)
{
    for (size_t j = 0; j < i; j++)
        if (nrw_vec3_norm(apart(j, i)) < 2.6)
            return true;
    return false;
}

static void end(void)
{
    nrw_contacts_clear(&contacts);
    nrw_arena_clear(&arena);
}

/* The list, which is the same either way; `compact`: slots as in large swarms. */
static void list_them(bool compact)
{
    end();
    memset(&contacts, 0, sizeof contacts);
    nrw_contacts_layout(&contacts, &arena, N, compact);
    cr_assert(nrw_arena_commit(&arena));
    nrw_contacts_layout(&contacts, &arena, N, compact);
    cr_assert(nrw_block_tree_init(&contacts.tree, N));
    (void)nrw_contacts_refresh(&contacts, N, x, y, z, radius, 1.6f);
    cr_assert_not(contacts.overflow);
    cr_assert_eq(contacts.n_rows, ROWS);
}

/* A dense swarm with overlaps, its list, places and spins. */
static void begin(void)
{
    uint64_t state = 3;
    for (size_t i = 0; i < N; i++) {
        do {
            /* places that floats hold exactly */
            x[i] = (double)(float)(36.0 * uniform(&state) - 18.0);
            y[i] = (double)(float)(36.0 * uniform(&state) - 18.0);
            z[i] = (double)(float)(1.6 + 3.0 * uniform(&state));
        } while (too_close(i));
        radius[i] = (float)(1.4 + 0.2 * uniform(&state));
    }
    list_them(false);
    for (size_t row = 0; row <= ROWS; row++) {
        const bool real = row < N;
        const size_t i = real ? contacts.order[row] : 0;
        const float away = row < ROWS ? 2e6f : -2e6f;
        const float place[4] = {real ? (float)x[i] : away, real ? (float)y[i] : away,
                                real ? (float)z[i] : 0.0f,
                                real ? (float)(0.8 + 0.4 * uniform(&state)) : 0.0f};
        const float spin[4] = {real ? (float)(8.0 * uniform(&state) - 4.0) : 0.0f,
                               real ? (float)(8.0 * uniform(&state) - 4.0) : 0.0f,
                               real ? (float)(8.0 * uniform(&state)) : 0.0f, 0.0f};
        memcpy(places + nrw_four_of(row), place, sizeof place);
        memcpy(spins + nrw_four_of(row), spin, sizeof spin);
        const float move[4] = {spin[1], spin[2], -spin[0], 0.0f};
        memcpy(moves + nrw_four_of(row), move, sizeof move);
    }
}

TestSuite(near_kernel, .init = begin, .fini = end);

static void clear(void)
{
    memset(out, 0, sizeof out);
    memset(responses, 0, sizeof responses);
    memset(expected, 0, sizeof expected);
}

#define REST 90.0 /* of the diagonal, which exerts no force */
static const nrw_sym3 tensor = {450.0, 40.0, -70.0, 330.0, -195.0, 120.0};

static nrw_near_task near_task(void)
{
    nrw_near_task task;
    memset(&task, 0, sizeof task);
    task.rows = nrw_contacts_rows(&contacts);
    task.places = places;
    task.candidate_um = CANDIDATE;
    task.core2 = (float)(CORE * CORE);
    const double parts[NRW_N_TENSOR] = {tensor.xx, tensor.xy, tensor.xz,
                                        tensor.yy, tensor.yz, tensor.zz};
    for (int k = 0; k < NRW_N_TENSOR; k++)
        task.tensor[k] = (float)(0.3 * parts[k]);
    task.tensor_rest = (float)(0.3 * REST);
    float **outputs[] = {&task.fx,     &task.fy,     &task.fz,   &task.warm_x,
                         &task.warm_y, &task.warm_z, &task.crowd};
    for (int k = 0; k < 7; k++)
        *outputs[k] = out[k];
    task.stiff = out[16];
    for (int k = 0; k < N_RESPONSES; k++)
        task.response[k] = responses[k];
    return task;
}

static bool listed(size_t i, size_t j)
{
    return j != i &&
           nrw_vec3_norm(apart(j, i)) < (double)(NRW_CONTACT_REACH * (radius[i] + radius[j]));
}

static double moment_of(size_t i)
{
    return (double)places[nrw_four_of(contacts.row_of[i]) + 3];
}

static double gap_of(size_t i, size_t j)
{
    return (double)(radius[i] + radius[j]) - nrw_vec3_norm(apart(j, i));
}

static void add(int first, size_t i, double scale, nrw_vec3 v)
{
    expected[first][i] += scale * v.x;
    expected[first + 1][i] += scale * v.y;
    expected[first + 2][i] += scale * v.z;
}

static void assert_outputs_within(double share, const char *name, int first, int last)
{
    double largest = 0.0, error = 0.0;
    for (int k = first; k < last; k++)
        for (size_t i = 0; i < N; i++) {
            largest = fmax(largest, fabs(expected[k][i]));
            error = fmax(error, fabs(expected[k][i] - (double)out[k][contacts.row_of[i]]));
        }
    cr_assert_gt(largest, 0.0);
    cr_assert_leq(error, share * largest, "%s: error %.3g of the largest value", name,
                  error / largest);
}

static void assert_outputs(const char *name, int first, int last)
{
    assert_outputs_within(FLOAT_ERROR, name, first, last);
}

/* Outside the core; those closer are few here and have a test in kernel_test. */
static nrw_vec3 dipole_force(nrw_vec3 r)
{
    const double r2 = fmax(nrw_vec3_dot(r, r), CORE * CORE);
    const nrw_vec3 mr = nrw_sym3_times(tensor, r);
    const double radial = tensor.xx + tensor.yy + tensor.zz - 5.0 * nrw_vec3_dot(mr, r) / r2;
    return nrw_vec3_scale(nrw_vec3_add(nrw_vec3_scale(mr, 2.0), nrw_vec3_scale(r, radial)),
                          0.3 / (r2 * r2 * sqrt(r2)));
}

static void expect_dipoles(void)
{
    for (size_t i = 0; i < N; i++)
        for (size_t j = 0; j < N; j++)
            if (listed(i, j)) {
                add(0, i, moment_of(i) * moment_of(j), dipole_force(apart(j, i)));
                const double r = fmax(nrw_vec3_norm(apart(j, i)), CORE);
                const nrw_vec3 d = apart(j, i);
                const double trace = tensor.xx + tensor.yy + tensor.zz + 3.0 * REST;
                const double along = REST + nrw_vec3_dot(nrw_sym3_times(tensor, d), d) /
                                                fmax(r * r, nrw_vec3_dot(d, d));
                expected[16][i] += 0.3 * moment_of(i) * moment_of(j) / pow(r, 5.0) *
                                   fmax(trace, fmax(2.0 * along, 4.0 * (trace - 3.0 * along)));
            }
}

Test(near_kernel, dipole_forces_are_those_of_the_listed_neighbours)
{
    nrw_kernels kernels[EVERY_KERNEL_MOST];
    const size_t n_kernels = every_kernel(kernels);
    for (size_t k = 0; k < n_kernels; k++) {
        clear();
        expect_dipoles();
        nrw_near_task task = near_task();
        kernels[k].near_dipoles(&task);
        assert_outputs(kernels[k].name, 0, 3);
        assert_outputs(kernels[k].name, 16, 17);
    }
}

Test(near_kernel, responses_lose_the_listed_neighbours_part)
{
    nrw_kernels kernels[EVERY_KERNEL_MOST];
    const size_t n_kernels = every_kernel(kernels);
    for (size_t k = 0; k < n_kernels; k++) {
        clear();
        expect_dipoles();
        nrw_near_task task = near_task();
        kernels[k].near_response(&task);
        for (size_t row = 0; row < ROWS; row++)
            for (int axis = 0; axis < 3; axis++) {
                double sum = 0.0;
                for (int c = 0; c < NRW_N_TENSOR; c++)
                    sum -= (double)task.tensor[c] * (double)responses[3 * c + axis][row];
                out[axis][row] = (float)sum;
            }
        assert_outputs(kernels[k].name, 0, 3);
    }
}

Test(near_kernel, geometry_is_directions_overlaps_and_their_sums)
{
    nrw_kernels kernels[EVERY_KERNEL_MOST];
    const size_t n_kernels = every_kernel(kernels);
    for (size_t k = 0; k < n_kernels; k++) {
        clear();
        double largest = 0.0;
        for (size_t i = 0; i < N; i++)
            for (size_t j = 0; j < N; j++) {
                if (!listed(i, j))
                    continue;
                const nrw_vec3 r = apart(j, i);
                const double over = fmax(0.0, gap_of(i, j));
                add(3, i, over / nrw_vec3_norm(r), r);
                largest = fmax(largest, over / (double)(radius[i] + radius[j]));
            }
        nrw_near_task task = near_task();
        kernels[k].near_geometry(&task);
        assert_outputs(kernels[k].name, 3, 6);
        cr_assert_gt(largest, 0.05);
        cr_assert_float_eq((double)task.largest_overlap, largest, 1e-6);
        task.largest_overlap = 0.0f;
        kernels[k].near_overlap(&task);
        assert_outputs(kernels[k].name, 3, 6);
        cr_assert_float_eq((double)task.largest_overlap, largest, 1e-6);
        for (size_t slot = 0; slot < contacts.n_slots; slot++) {
            if (contacts.partner[slot] == nrw_four_of(ROWS))
                continue;
            const double n2 = pow((double)contacts.nx[slot], 2.0) +
                              pow((double)contacts.ny[slot], 2.0) +
                              pow((double)contacts.nz[slot], 2.0);
            cr_assert_float_eq(n2, 1.0, 1e-6);
        }
    }
}

Test(near_kernel, held_forces_are_the_first_guess_up_to_their_ends)
{
    enum { STIFFNESS = 40 };
    nrw_kernels kernels[EVERY_KERNEL_MOST];
    const size_t n_kernels = every_kernel(kernels);
    for (size_t k = 0; k < n_kernels; k++) {
        clear();
        nrw_near_task task = near_task();
        task.held = contacts.force[0];
        task.held_ends = contacts.ends;
        task.stiffness = STIFFNESS;
        kernels[k].near_geometry(&task); /* for the directions */
        double sums[ROWS][3];
        memset(sums, 0, sizeof sums);
        for (size_t chunk = 0; chunk < ROWS / NRW_LANES; chunk++) {
            const uint32_t begin = contacts.starts[chunk], end = contacts.starts[chunk + 1];
            contacts.ends[chunk] = begin + (end - begin) / NRW_LANES / 2 * NRW_LANES;
            for (uint32_t slot = begin; slot < end; slot++) {
                const bool filled = contacts.partner[slot] != nrw_four_of(ROWS);
                contacts.force[0][slot] = filled ? 1.0f + (float)(slot % 7) : 0.0f;
                if (slot >= contacts.ends[chunk])
                    continue;
                double *sum = sums[chunk * NRW_LANES + slot % NRW_LANES];
                const double guess = (double)contacts.force[0][slot] / STIFFNESS;
                sum[0] += guess * (double)contacts.nx[slot];
                sum[1] += guess * (double)contacts.ny[slot];
                sum[2] += guess * (double)contacts.nz[slot];
            }
        }
        kernels[k].near_dipoles(&task);
        for (size_t row = 0; row < N; row++)
            for (size_t axis = 0; axis < 3; axis++)
                cr_assert_float_eq((double)out[3 + axis][row], sums[row][axis], 1e-6, "%s row %zu",
                                   kernels[k].name, row);
        for (size_t chunk = 0; chunk < ROWS / NRW_LANES; chunk++)
            for (uint32_t slot = contacts.ends[chunk]; slot < contacts.starts[chunk + 1]; slot++)
                cr_assert_eq(contacts.force[0][slot], 0.0f);
    }
}

/* Largest eigenvalue of a symmetric positive tensor, by repeated multiplication. */
static double largest_eigenvalue(nrw_sym3 m)
{
    nrw_vec3 v = {0.5, 0.7, 0.6};
    double size = 0.0;
    for (int k = 0; k < 300; k++) {
        v = nrw_sym3_times(m, v);
        size = nrw_vec3_norm(v);
        if (!(size > 0.0))
            return 0.0;
        v = nrw_vec3_scale(v, 1.0 / size);
    }
    return size;
}

Test(near_kernel, crowd_bounds_the_largest_eigenvalue_of_the_contact_directions)
{
    nrw_kernels kernels[EVERY_KERNEL_MOST];
    const size_t n_kernels = every_kernel(kernels);
    for (size_t k = 0; k < n_kernels; k++) {
        clear();
        nrw_near_task task = near_task();
        kernels[k].near_geometry(&task);
        for (size_t i = 0; i < N; i++) {
            nrw_sym3 sum = {0.0, 0.0, 0.0, 0.0, 0.0, 0.0};
            for (size_t j = 0; j < N; j++) {
                if (!listed(i, j) || gap_of(i, j) < -(double)CANDIDATE)
                    continue;
                const nrw_vec3 r = apart(j, i);
                sum = nrw_sym3_add_scaled(sum, nrw_sym3_outer(r), 1.0 / nrw_vec3_dot(r, r));
            }
            const double exact = largest_eigenvalue(sum);
            const double bound = (double)out[6][contacts.row_of[i]];
            cr_assert_geq(bound, exact - 1e-5, "particle %zu: %g below %g", i, bound, exact);
            cr_assert_leq(bound, 1.5 * exact + 1e-5);
        }
    }
}

Test(near_kernel, near_a_floor_crowd_bounds_the_directions_as_mobilities_see_them)
{
    static _Alignas(64) float along[ROWS], across[ROWS];
    uint64_t state = 21;
    nrw_kernels kernels[EVERY_KERNEL_MOST];
    const size_t n_kernels = every_kernel(kernels);
    double beyond = 0.0;
    for (size_t row = 0; row < ROWS; row++) {
        along[row] = (float)(20.0 + 20.0 * uniform(&state));
        across[row] = along[row] * (float)(0.05 + 0.95 * uniform(&state));
    }
    for (size_t k = 0; k < n_kernels; k++) {
        clear();
        nrw_near_task task = near_task();
        task.along = along;
        task.across = across;
        kernels[k].near_geometry(&task);
        for (size_t i = 0; i < N; i++) {
            const size_t row = contacts.row_of[i];
            nrw_sym3 sum = {0.0, 0.0, 0.0, 0.0, 0.0, 0.0}, plain = sum;
            for (size_t j = 0; j < N; j++) {
                if (!listed(i, j) || gap_of(i, j) < -(double)CANDIDATE)
                    continue;
                nrw_vec3 m = apart(j, i);
                plain = nrw_sym3_add_scaled(plain, nrw_sym3_outer(m), 1.0 / nrw_vec3_dot(m, m));
                m.z *= sqrt((double)across[row] / (double)along[row]);
                sum = nrw_sym3_add_scaled(sum, nrw_sym3_outer(m), 1.0 / nrw_vec3_dot(m, m));
            }
            const double exact = largest_eigenvalue(sum), bound = (double)out[6][row];
            cr_assert_geq(bound, exact - 1e-5, "particle %zu: %g below %g", i, bound, exact);
            cr_assert_leq(bound, 1.5 * exact + 1e-5);
            beyond = fmax(beyond, exact - largest_eigenvalue(plain));
        }
    }
    /* the plain directions would not do */
    cr_assert_gt(beyond, 0.3);
}

/* --- brakes and friction ------------------------------------------------------------- */

#define BRAKE_CONTACT 0.5
#define BRAKE_REACH 0.35
#define BRAKE_BEND 1.7

static double brake_of(size_t i, size_t j)
{
    const double share = fmax(0.0, -gap_of(i, j)) / BRAKE_REACH;
    return share < 1.0 ? BRAKE_CONTACT * (1.0 - share) / (1.0 + BRAKE_BEND * share) : 0.0;
}

static nrw_brake_task brake_task(void)
{
    nrw_brake_task task;
    memset(&task, 0, sizeof task);
    task.rows = nrw_contacts_rows(&contacts);
    task.contact = (float)BRAKE_CONTACT;
    task.reach_um = (float)BRAKE_REACH;
    task.bend = (float)BRAKE_BEND;
    task.excess = contacts.excess;
    task.short_excess = contacts.short_excess;
    task.excess_sum = out[17];
    task.moves = moves;
    task.slide_scale = 0.3f;
    task.slide_x = out[18];
    task.slide_y = out[19];
    task.slide_z = out[20];
    task.drag_scale = 0.02f;
    task.drag_x = out[21];
    task.drag_y = out[22];
    task.drag_z = out[23];
    task.strength = 0.025f;
    task.spins = spins;
    for (int k = 0; k < NRW_N_TENSOR; k++)
        task.brake[k] = out[7 + k];
    task.fx = out[13];
    task.fy = out[14];
    task.fz = out[15];
    return task;
}

/* Rows of a slot's particle and of its neighbour. */
static size_t slot_row(size_t slot)
{
    size_t chunk = 0;
    while (contacts.starts[chunk + 1] <= slot)
        chunk++;
    return chunk * NRW_LANES + slot % NRW_LANES;
}

static size_t partner_row(size_t slot)
{
    size_t row = 0;
    while (nrw_four_of(row) != contacts.partner[slot])
        row++;
    return row;
}

static nrw_vec3 spin_of(size_t i)
{
    const float *spin = spins + nrw_four_of(contacts.row_of[i]);
    return (nrw_vec3){(double)spin[0], (double)spin[1], (double)spin[2]};
}

static nrw_vec3 move_of(size_t i)
{
    const float *move = moves + nrw_four_of(contacts.row_of[i]);
    return (nrw_vec3){(double)move[0], (double)move[1], (double)move[2]};
}

static void expect_brakes_and_friction(double share)
{
    nrw_kernels kernels[EVERY_KERNEL_MOST];
    const size_t n_kernels = every_kernel(kernels);
    for (size_t k = 0; k < n_kernels; k++) {
        clear();
        for (size_t i = 0; i < N; i++)
            for (size_t j = 0; j < N; j++) {
                if (!listed(i, j))
                    continue;
                const nrw_vec3 r = apart(i, j); /* from i to j */
                const double e = brake_of(i, j), r2 = nrw_vec3_dot(r, r);
                expected[7][i] += e * (1.0 - r.x * r.x / r2);
                expected[8][i] -= e * r.x * r.y / r2;
                expected[9][i] -= e * r.x * r.z / r2;
                expected[10][i] += e * (1.0 - r.y * r.y / r2);
                expected[11][i] -= e * r.y * r.z / r2;
                expected[12][i] += e * (1.0 - r.z * r.z / r2);
                /* docs/physics.md (5.10) */
                const nrw_vec3 both = nrw_vec3_add(spin_of(i), spin_of(j));
                add(13, i, -0.025 * e / sqrt(r2), nrw_vec3_cross(both, r));
                expected[17][i] += e;
                const nrw_vec3 past = nrw_vec3_add(move_of(i), nrw_vec3_scale(move_of(j), -1.0));
                add(18, i, -0.3 * e / sqrt(r2), nrw_vec3_cross(r, past));
                add(21, i, -0.02 * e, past);
                add(21, i, 0.02 * e * nrw_vec3_dot(past, r) / r2, r);
            }
        nrw_near_task near = near_task();
        kernels[k].near_geometry(&near);
        const nrw_brake_task task = brake_task();
        kernels[k].brakes(&task);
        kernels[k].friction(&task);
        assert_outputs_within(share, kernels[k].name, 7, 13);
        assert_outputs_within(share, kernels[k].name, 13, 16);
        assert_outputs_within(share, kernels[k].name, 17, 18);
        assert_outputs_within(share, kernels[k].name, 18, 21);
        assert_outputs_within(share, kernels[k].name, 21, 24);
    }
}

Test(near_kernel, brakes_and_friction_are_sums_over_the_listed_neighbours)
{
    expect_brakes_and_friction(FLOAT_ERROR);
}

/* --- slots of 16 bits ------------------------------------------------------------------- */

/* Half a unit of what 16 bits hold, and floats' rounding. */
#define SHORT_ERROR (0.5 / 32767.0 + 1e-6)

Test(near_kernel, compact_slots_hold_directions_and_excesses_to_half_a_unit)
{
    nrw_kernels kernels[EVERY_KERNEL_MOST];
    const size_t n_kernels = every_kernel(kernels);
    for (size_t k = 0; k < n_kernels; k++) {
        list_them(true);
        clear();
        nrw_near_task near = near_task();
        cr_assert(!near.rows.nx && !contacts.excess);
        kernels[k].near_dipoles(&near);
        const nrw_brake_task task = brake_task();
        kernels[k].brakes(&task);
        size_t n_close = 0;
        for (size_t slot = 0; slot < contacts.n_slots; slot++) {
            if (contacts.partner[slot] == nrw_four_of(ROWS))
                continue;
            const size_t row = slot_row(slot);
            const size_t i = contacts.order[row], j = contacts.order[partner_row(slot)];
            const nrw_vec3 r = apart(j, i), n = nrw_vec3_scale(r, 1.0 / nrw_vec3_norm(r));
            const double parts[3] = {n.x, n.y, n.z}, unit = 32767.0;
            for (int axis = 0; axis < 3; axis++)
                cr_assert_float_eq(contacts.short_n[axis][slot] / unit, parts[axis], SHORT_ERROR,
                                   "%s", kernels[k].name);
            const double share = brake_of(i, j) / BRAKE_CONTACT;
            cr_assert_float_eq(contacts.short_excess[slot] / unit, share, SHORT_ERROR, "%s",
                               kernels[k].name);
            n_close += share > 0.1;
        }
        cr_assert_gt(n_close, N);
    }
}

Test(near_kernel, with_compact_slots_brakes_and_friction_are_the_same_sums)
{
    list_them(true);
    expect_brakes_and_friction(5e-5);
}

Test(near_kernel, with_compact_slots_forces_and_first_guesses_are_the_same_to_the_bit)
{
    static float plain[17][ROWS];
    nrw_kernels kernels[EVERY_KERNEL_MOST];
    const size_t n_kernels = every_kernel(kernels);
    for (size_t k = 0; k < n_kernels; k++) {
        for (int compact = 0; compact < 2; compact++) {
            list_them(compact);
            clear();
            nrw_near_task near = near_task();
            kernels[k].near_dipoles(&near);
            cr_assert_gt(near.largest_overlap, 0.05f);
            if (!compact)
                memcpy(plain, out, sizeof plain);
        }
        cr_assert_eq(memcmp(plain, out, sizeof plain), 0, "%s", kernels[k].name);
    }
}

/* --- finding, solving ------------------------------------------------------------------- */

/* The list of particle i is its close ones among those before `last`, the inner ones first. */
static void assert_close(size_t i, size_t last, const uint32_t *found, size_t count)
{
    size_t expected_count = 0;
    for (int outer = 0; outer < 2; outer++)
        for (size_t j = 0; j < last; j++) {
            const double touch = (double)(radius[i] + radius[j]);
            const bool inner = nrw_vec3_norm(apart(j, i)) < (double)NRW_CONTACT_SURE * touch;
            if (!listed(i, j) || inner == (outer == 1))
                continue;
            cr_assert(expected_count < count && found[expected_count] == j);
            expected_count++;
        }
    cr_assert_eq(count, expected_count);
}

/* Lists of all, `together` at once, by every kernel. */
static void assert_lists(const nrw_close_search *search, size_t last, size_t together)
{
    nrw_kernels kernels[EVERY_KERNEL_MOST];
    const size_t n_kernels = every_kernel(kernels);
    static uint32_t found[N * ROWS], starts[N + 1];
    for (size_t k = 0; k < n_kernels; k++) {
        for (size_t i = 0; i < N; i += together) {
            const size_t n = N - i < together ? N - i : together;
            cr_assert(kernels[k].close(search, i, n, found, starts + i));
        }
        for (size_t i = 0; i < N; i++)
            assert_close(i, last, found + starts[i], starts[i + 1] - starts[i]);
    }
}

static _Alignas(64) float rows_at[3][ROWS], rows_radius[ROWS];

static nrw_close_search search_of_rows(void)
{
    for (size_t i = 0; i < ROWS; i++) {
        rows_at[0][i] = i < N ? (float)x[i] : 1e6f;
        rows_at[1][i] = i < N ? (float)y[i] : 1e6f;
        rows_at[2][i] = i < N ? (float)z[i] : 1e6f;
        rows_radius[i] = i < N ? radius[i] : 0.0f;
    }
    return (nrw_close_search){.boxes.n = ROWS / NRW_LANES,
                              .x = rows_at[0],
                              .y = rows_at[1],
                              .z = rows_at[2],
                              .radius = rows_radius,
                              .reach = NRW_CONTACT_REACH,
                              .inner = NRW_CONTACT_SURE,
                              .largest_radius = 1.6f,
                              .most = 63};
}

Test(near_kernel, close_particles_are_found_the_inner_ones_first)
{
    const nrw_close_search search = search_of_rows();
    assert_lists(&search, N, NRW_QUAD);
    assert_lists(&search, N, 3);
    assert_lists(&search, N, 1);
}

Test(near_kernel, close_particles_are_found_in_the_blocks_that_come_near_alone)
{
    /* boxes as tight as the particles allow, and one that hides its block */
    enum { BLOCKS = ROWS / NRW_LANES };
    static uint32_t blocks[BLOCKS];
    static float boxes[6][NRW_LANES];
    nrw_close_search search = search_of_rows();
    search.boxes.blocks = blocks;
    for (size_t axis = 0; axis < 3; axis++) {
        search.boxes.low[axis] = boxes[axis];
        search.boxes.high[axis] = boxes[3 + axis];
        for (size_t k = 0; k < NRW_LANES; k++) {
            boxes[axis][k] = boxes[3 + axis][k] = INFINITY;
            for (size_t i = NRW_LANES * k; i < N && i < NRW_LANES * (k + 1); i++) {
                const bool begins = i == NRW_LANES * k;
                boxes[axis][k] =
                    begins ? rows_at[axis][i] : fminf(boxes[axis][k], rows_at[axis][i]);
                boxes[3 + axis][k] =
                    begins ? rows_at[axis][i] : fmaxf(boxes[3 + axis][k], rows_at[axis][i]);
            }
        }
    }
    for (uint32_t k = 0; k < BLOCKS; k++)
        blocks[k] = k;
    assert_lists(&search, N, NRW_QUAD);
    assert_lists(&search, N, 1);
    boxes[0][BLOCKS - 1] = boxes[3][BLOCKS - 1] = INFINITY;
    assert_lists(&search, (BLOCKS - 1) * (size_t)NRW_LANES, NRW_QUAD);
}

Test(near_kernel, more_close_particles_than_wanted_are_told)
{
    nrw_close_search search = search_of_rows();
    nrw_kernels kernels[EVERY_KERNEL_MOST];
    const size_t n_kernels = every_kernel(kernels);
    static uint32_t found[N * ROWS];
    uint32_t starts[2] = {0};
    for (size_t k = 0; k < n_kernels; k++) {
        search.most = 63;
        cr_assert(kernels[k].close(&search, 0, 1, found, starts));
        cr_assert_gt(starts[1], 1u);
        search.most = starts[1];
        cr_assert(kernels[k].close(&search, 0, 1, found, starts));
        search.most--;
        cr_assert_not(kernels[k].close(&search, 0, 1, found, starts));
    }
}

/* Displacements by row after some sweeps of a solve with floor, wall and ceiling. */
static void solve_with(const nrw_kernels *kernels, bool drag, float u[3][ROWS])
{
    static _Alignas(64) float given[16][ROWS], scratch[3][4 * (ROWS + 1)];
    memset(scratch, 0, sizeof scratch);
    uint64_t state = 8;
    for (size_t row = 0; row < ROWS; row++) {
        given[0][row] = (float)(0.2 * uniform(&state) - 0.1);
        given[1][row] = (float)(0.2 * uniform(&state) - 0.1);
        given[2][row] = (float)(0.2 * uniform(&state) - 0.1);
        given[3][row] = 0.16f;                          /* move_xy */
        given[4][row] = 0.04f;                          /* move_z */
        given[5][row] = (float)(0.2 * uniform(&state)); /* floor force, slope, z, give */
        given[6][row] = 10.0f;
        given[7][row] = 0.01f;
        given[8][row] = 1.0f / (1.0f + 10.0f * 0.04f);
        given[9][row] = 0.05f; /* ceiling */
        given[10][row] = row % 7 == 0 ? 0.6f : 0.0f;
        given[11][row] = row % 7 == 0 ? 0.8f : 0.0f;
        given[12][row] = 0.02f;
        given[13][row] = 60.0f * 0.16f / (1.0f + 60.0f * 0.16f);
    }
    nrw_near_task near = near_task();
    kernels->near_geometry(&near);
    nrw_contact_solve solve;
    memset(&solve, 0, sizeof solve);
    solve.rows = nrw_contacts_rows(&contacts);
    solve.free_x = given[0];
    solve.free_y = given[1];
    solve.free_z = given[2];
    solve.move_xy = given[3];
    solve.move_z = given[4];
    solve.warm_x = near.warm_x;
    solve.warm_y = near.warm_y;
    solve.warm_z = near.warm_z;
    solve.crowd = near.crowd;
    solve.n_neighbours = contacts.n_neighbours;
    solve.stiffness = 60.0f;
    solve.floor_force = given[5];
    solve.floor_slope = given[6];
    solve.floor_z = given[7];
    solve.floor_give = given[8];
    solve.ceiling = given[9];
    solve.wall_x = given[10];
    solve.wall_y = given[11];
    solve.wall_gap = given[12];
    solve.wall_give = given[13];
    solve.ux = u[0];
    solve.uy = u[1];
    solve.uz = u[2];
    solve.force[0] = contacts.force[0];
    solve.force[1] = contacts.force[1];
    solve.ends = contacts.ends;
    solve.reach_um = 0.06f;
    solve.step = contacts.step;
    solve.short_step = contacts.short_step;
    solve.place[0] = scratch[0];
    solve.place[1] = scratch[1];
    solve.crowded = scratch[2];
    if (drag) {
        const nrw_brake_task task = brake_task();
        kernels->brakes(&task);
        solve.excess = task.excess;
        solve.short_excess = task.short_excess;
        solve.contact = task.contact;
        solve.excess_sum = task.excess_sum;
        solve.drag_scale = 4.0f; /* a little less than 1/move_xy */
        solve.drag_reach_um = task.reach_um;
        solve.drag_x = task.drag_x;
        solve.drag_y = task.drag_y;
        solve.drag_z = task.drag_z;
        solve.ease_xy = given[14];
        solve.ease_z = given[15];
    }
    const float farthest = sqrtf(kernels->begin(&solve, 0, solve.rows.n_rows));
    kernels->reached(&solve, 0, solve.rows.n_rows,
                     fmaxf(solve.reach_um + 2.5f * farthest, solve.drag_reach_um));
    const nrw_contact_sweep plain = {0, 1.0f, 0.0f};
    (void)kernels->first_sweep(&solve, &plain, 0, solve.rows.n_rows);
    for (int sweep = 1; sweep < 8; sweep++) {
        const nrw_contact_sweep faster = {sweep % 2, 2.2f, 0.4f};
        (void)kernels->sweep(&solve, &faster, 0, solve.rows.n_rows);
    }
}

Test(near_kernel, sweeps_agree_between_the_instruction_sets)
{
    static _Alignas(64) float references[2][3][ROWS], u[3][ROWS];
    nrw_kernels kernels[EVERY_KERNEL_MOST];
    const size_t n_kernels = every_kernel(kernels);
    double moved = 0.0, dragged = 0.0;
    for (int drag = 0; drag < 2; drag++)
        solve_with(&kernels[0], drag, references[drag]);
    for (size_t row = 0; row < ROWS; row++) {
        const double free = (double)references[0][0][row], held = (double)references[1][0][row];
        moved = fmax(moved, fabs(free));
        dragged = fmax(dragged, fabs(held - free));
    }
    cr_assert_gt(moved, 0.05);
    cr_assert_gt(dragged, 0.02);
    for (size_t k = 1; k < n_kernels; k++)
        for (int drag = 0; drag < 2; drag++) {
            solve_with(&kernels[k], drag, u);
            for (int axis = 0; axis < 3; axis++)
                for (size_t row = 0; row < ROWS; row++)
                    /* fused or not: roundings of 1e-7 of 3 µm, in eight sweeps */
                    cr_assert_float_eq((double)u[axis][row], (double)references[drag][axis][row],
                                       5e-6, "%s, row %zu", kernels[k].name, row);
        }
}

Test(near_kernel, sweeps_over_compact_slots_move_rows_as_far)
{
    static _Alignas(64) float plain[3][ROWS], u[3][ROWS];
    nrw_kernels kernels[EVERY_KERNEL_MOST];
    const size_t n_kernels = every_kernel(kernels);
    for (size_t k = 0; k < n_kernels; k++)
        for (int drag = 0; drag < 2; drag++) {
            list_them(false);
            solve_with(&kernels[k], drag, plain);
            list_them(true);
            solve_with(&kernels[k], drag, u);
            double off = 0.0;
            for (int axis = 0; axis < 3; axis++)
                for (size_t row = 0; row < ROWS; row++)
                    off = fmax(off, fabs((double)u[axis][row] - (double)plain[axis][row]));
            /* sweeps that are up to 1/128 shorter, of which eight don't converge */
            cr_assert_leq(off, 2e-3, "%s: %g", kernels[k].name, off);
            cr_assert_gt(off, 0.0);
        }
}
