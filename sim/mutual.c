#include "mutual.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "own_moment.h"
#include "particle.h"

typedef double (*rows)[3];

enum { MAX_ITERATIONS = 300 };
/* Relative residual; the kernel's fields are single precision. */
#define TOLERANCE 1e-5
#define ZETA_3 1.2020569031595942

/* --- memory ------------------------------------------------------------------ */

nrw_status nrw_mutual_create(nrw_world *world, nrw_errors *errors)
{
    nrw_mutual *mutual = calloc(1, sizeof *mutual);
    world->mutual = mutual;
    bool good = mutual != NULL;
    for (int k = 0; good && k < NRW_MUTUAL_PARTS; k++) {
        mutual->parts[k] = calloc(world->n_made, sizeof *mutual->parts[k]);
        mutual->kept[k] = calloc(world->n_made, sizeof *mutual->kept[k]);
        good = mutual->parts[k] && mutual->kept[k];
    }
    for (int k = 0; good && k < 6; k++)
        good = (mutual->scratch[k] = calloc(world->n_made, sizeof *mutual->scratch[k])) != NULL;
    if (good) {
        mutual->sum_x = calloc(3 * world->padded, sizeof(float));
        mutual->sum_y = mutual->sum_x + world->padded;
        mutual->sum_z = mutual->sum_y + world->padded;
        good = mutual->sum_x != NULL;
    }
    return good ? NRW_OK
                : nrw_errors_add(errors, NRW_NO_MEMORY, "",
                                 "no memory for the induction of %zu "
                                 "particles",
                                 world->n_made);
}

void nrw_mutual_destroy(nrw_mutual *mutual)
{
    if (!mutual)
        return;
    for (int k = 0; k < NRW_MUTUAL_PARTS; k++) {
        free(mutual->parts[k]);
        free(mutual->kept[k]);
    }
    for (int k = 0; k < 6; k++)
        free(mutual->scratch[k]);
    free(mutual->sum_x);
    free(mutual);
}

double nrw_mutual_gain(const nrw_body *body)
{
    const double k = nrw_sphere_susceptibility(body->particles->susceptibility) / 3.0;
    return 1.0 / (1.0 - 0.5 * ZETA_3 * k);
}

/* --- solution ---------------------------------------------------------------- */

/* Roots of the polarisabilities: with f = m/√α the matrix is symmetric for any sizes. */
static double root(const nrw_world *world, size_t row)
{
    return sqrt(world->body.slope_fAm2_mT * (double)world->row_moment[row]);
}

/* image = (1 − √α G √α) f, the field G of the others by the pair kernel. */
static void apply(nrw_world *world, const rows f, rows image)
{
    nrw_pair_task *task = &world->task;
    const size_t n = world->n;
    for (size_t row = 0; row < n; row++) {
        const double d = root(world, row);
        world->own_mx[row] = (float)(d * f[row][0]);
        world->own_my[row] = (float)(d * f[row][1]);
        world->own_mz[row] = (float)(d * f[row][2]);
    }
    for (size_t row = n; row < world->padded; row++)
        world->own_mx[row] = world->own_my[row] = world->own_mz[row] = 0.0f;
    nrw_kernels_get()->own_moments(task, 0, n);
    world->n_pair_interactions += (uint64_t)n * (n - 1);
    for (size_t row = 0; row < n; row++) {
        const double d = root(world, row);
        image[row][0] = f[row][0] - d * (double)task->bx[row];
        image[row][1] = f[row][1] - d * (double)task->by[row];
        image[row][2] = f[row][2] - d * (double)task->bz[row];
    }
}

static double product(size_t n, const rows a, const rows b)
{
    double sum = 0.0;
    for (size_t i = 0; i < n; i++)
        sum += a[i][0] * b[i][0] + a[i][1] * b[i][1] + a[i][2] * b[i][2];
    return sum;
}

/* y += s x */
static void add(size_t n, rows y, double s, const rows x)
{
    for (size_t i = 0; i < n; i++)
        for (int k = 0; k < 3; k++)
            y[i][k] += s * x[i][k];
}

/* Solves (A² + w²) f = right by conjugate gradients (Hestenes & Stiefel 1952) from f = right;
 * `right` becomes the residual. Positive definite whatever the lag w. */
static nrw_status conjugate_gradients(nrw_world *world, double w, rows right, rows f,
                                      nrw_errors *errors)
{
    const size_t n = world->n;
    const rows direction = world->mutual->scratch[3], half = world->mutual->scratch[4];
    const rows image = world->mutual->scratch[5];
    const double limit = TOLERANCE * TOLERANCE * product(n, right, right);
    memcpy(f, right, n * sizeof *f);
    apply(world, f, half);
    apply(world, half, image);
    add(n, right, -1.0, image);
    add(n, right, -w * w, f);
    memcpy(direction, right, n * sizeof *direction);
    double rho = product(n, right, right);
    for (int iteration = 0; rho > limit; iteration++) {
        apply(world, direction, half);
        apply(world, half, image);
        add(n, image, w * w, direction);
        const double curvature = product(n, direction, image);
        if (iteration == MAX_ITERATIONS || !(curvature > 0.0))
            return nrw_errors_add(errors, NRW_DIVERGED, "spheres that do not overlap",
                                  "mutual induction has no solution at t = %.6g s", world->time_s);
        add(n, f, rho / curvature, direction);
        add(n, right, -rho / curvature, image);
        const double next = product(n, right, right);
        for (size_t i = 0; i < n; i++)
            for (int k = 0; k < 3; k++)
                direction[i][k] = right[i][k] + next / rho * direction[i][k];
        rho = next;
    }
    return NRW_OK;
}

/* √α times a uniform field. */
static void uniform(const nrw_world *world, nrw_vec3 field, rows out)
{
    for (size_t row = 0; row < world->n; row++) {
        const double d = root(world, row);
        out[row][0] = d * field.x;
        out[row][1] = d * field.y;
        out[row][2] = d * field.z;
    }
}

/* One part of m from (A² + w²) f = A √α `along` + w √α `behind`; false: it is zero. */
static nrw_status solve_part(nrw_world *world, int part, double w, nrw_vec3 along, nrw_vec3 behind,
                             nrw_errors *errors)
{
    nrw_mutual *mutual = world->mutual;
    const rows f = mutual->scratch[0], right = mutual->scratch[1], other = mutual->scratch[2];
    const rows moments = mutual->parts[part];
    const size_t n = world->n;
    mutual->used[part] = nrw_vec3_norm(along) > 0.0 || w * nrw_vec3_norm(behind) > 0.0;
    memset(moments, 0, n * sizeof *moments);
    if (!mutual->used[part])
        return NRW_OK;
    uniform(world, along, other);
    apply(world, other, right);
    uniform(world, behind, other);
    add(n, right, w, other);
    const nrw_status status = conjugate_gradients(world, w, right, f, errors);
    for (size_t row = 0; row < n && status == NRW_OK; row++) {
        const uint32_t id = world->ids[world->contacts.order[row]];
        for (int k = 0; k < 3; k++)
            mutual->kept[part][id][k] = moments[row][k] = root(world, row) * f[row][k];
    }
    return status;
}

/* --- torques and forces ------------------------------------------------------- */

static nrw_vec3 part_of(const nrw_mutual *mutual, int part, size_t row)
{
    const double *m = mutual->parts[part][row];
    return (nrw_vec3){m[0], m[1], m[2]};
}

/* m × τ dF/dt, F = m/α the field that the moment follows: what the lag behind the local
 * field gives; w = ωτ. */
static nrw_vec3 lag_torque(const nrw_world *world, size_t row, double w)
{
    const nrw_mutual *mutual = world->mutual;
    const nrw_vec3 c = part_of(mutual, NRW_MUTUAL_COS, row);
    const nrw_vec3 q = part_of(mutual, NRW_MUTUAL_SIN, row);
    const double per = w / (world->body.slope_fAm2_mT * (double)world->row_moment[row]);
    if (isnan(mutual->phase_rad))
        return nrw_vec3_scale(nrw_vec3_cross(c, q), per);
    const double cosine = cos(mutual->phase_rad), sine = sin(mutual->phase_rad);
    const nrw_vec3 now =
        nrw_vec3_add(part_of(mutual, NRW_MUTUAL_STEADY, row),
                     nrw_vec3_add(nrw_vec3_scale(c, cosine), nrw_vec3_scale(q, sine)));
    const nrw_vec3 rate = nrw_vec3_add(nrw_vec3_scale(c, -sine), nrw_vec3_scale(q, cosine));
    return nrw_vec3_scale(nrw_vec3_cross(now, rate), per);
}

nrw_status nrw_mutual_solve(nrw_world *world, const nrw_excitation *excitation, nrw_errors *errors)
{
    const nrw_field *drive = &excitation->drive;
    const double w = 2.0 * NRW_PI * drive->frequency_Hz * world->body.relaxation_s;
    const nrw_vec3 none = {0.0, 0.0, 0.0};
    world->mutual->phase_rad = excitation->phase_rad;
    nrw_status status = solve_part(world, NRW_MUTUAL_STEADY, 0.0, drive->steady, none, errors);
    /* (A + iw)(c − iq) = C − iQ */
    if (status == NRW_OK)
        status = solve_part(world, NRW_MUTUAL_COS, w, drive->cos, nrw_vec3_scale(drive->sin, -1.0),
                            errors);
    if (status == NRW_OK)
        status = solve_part(world, NRW_MUTUAL_SIN, w, drive->sin, drive->cos, errors);
    for (size_t row = 0; row < world->n && status == NRW_OK; row++)
        nrw_own_moments_spin(world, row, lag_torque(world, row, w));
    return status;
}

/* Forces of moments by row, each Σ weight × part. */
static void forces_of(nrw_world *world, const double weights[NRW_MUTUAL_PARTS])
{
    const nrw_mutual *mutual = world->mutual;
    for (size_t row = 0; row < world->n; row++) {
        double m[3] = {0.0, 0.0, 0.0};
        for (int part = 0; part < NRW_MUTUAL_PARTS; part++)
            for (int k = 0; k < 3; k++)
                m[k] += weights[part] * mutual->parts[part][row][k];
        world->own_mx[row] = (float)m[0];
        world->own_my[row] = (float)m[1];
        world->own_mz[row] = (float)m[2];
    }
    nrw_kernels_get()->own_moments(&world->task, 0, world->n);
    world->n_pair_interactions += (uint64_t)world->n * (world->n - 1);
}

void nrw_mutual_forces(nrw_world *world)
{
    nrw_mutual *mutual = world->mutual;
    nrw_pair_task *task = &world->task;
    const size_t n = world->n;
    if (!isnan(mutual->phase_rad)) {
        const double now[NRW_MUTUAL_PARTS] = {1.0, cos(mutual->phase_rad), sin(mutual->phase_rad)};
        forces_of(world, now);
        return;
    }
    memset(mutual->sum_x, 0, 3 * world->padded * sizeof(float));
    for (int part = 0; part < NRW_MUTUAL_PARTS; part++) {
        double weights[NRW_MUTUAL_PARTS] = {0.0, 0.0, 0.0};
        weights[part] = part == NRW_MUTUAL_STEADY ? 1.0 : sqrt(0.5);
        if (!mutual->used[part])
            continue;
        forces_of(world, weights);
        for (size_t row = 0; row < n; row++) {
            mutual->sum_x[row] += task->fx[row];
            mutual->sum_y[row] += task->fy[row];
            mutual->sum_z[row] += task->fz[row];
        }
    }
    memcpy(task->fx, mutual->sum_x, n * sizeof(float));
    memcpy(task->fy, mutual->sum_y, n * sizeof(float));
    memcpy(task->fz, mutual->sum_z, n * sizeof(float));
}

nrw_vec3 nrw_mutual_moment(const nrw_world *world, uint32_t id, double phase_rad)
{
    const double weights[NRW_MUTUAL_PARTS] = {1.0, cos(phase_rad), sin(phase_rad)};
    double m[3] = {0.0, 0.0, 0.0};
    for (int part = 0; part < NRW_MUTUAL_PARTS; part++)
        for (int k = 0; k < 3; k++)
            m[k] += weights[part] * world->mutual->kept[part][id][k];
    return (nrw_vec3){m[0], m[1], m[2]};
}
