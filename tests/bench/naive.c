/* The pair forces as they are written first: particles as structs of doubles, a
 * neighbour list from cells, one pair after the other. It is also the reference that
 * every contender's forces are held against. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "bench.h"

typedef struct particle {
    double at[3];
    double moment;
    double force[3];
    double listed_at[3]; /* when the list was made */
} particle;

struct bench_naive {
    particle *particles; /* (n) */
    double (*result)[3]; /* (n) */
    size_t n;
    double tensor[NRW_N_TENSOR], core2, cutoff, skin;
    size_t *starts; /* (n + 1) of each particle's neighbours; NULL: all pairs */
    int *neighbours;
    size_t capacity;
    int *heads, *next; /* cells: first particle, next one in the cell */
    size_t n_cells;
    bool listed, half; /* half: each pair once */
};

/* The force on one by another; false: they are farther apart than the cutoff. */
static bool force_of(const bench_naive *naive, const particle *on, const particle *by,
                     double force[3])
{
    const double dx = on->at[0] - by->at[0], dy = on->at[1] - by->at[1];
    const double dz = on->at[2] - by->at[2];
    double r2 = dx * dx + dy * dy + dz * dz;
    if (r2 > naive->cutoff * naive->cutoff)
        return false;
    if (r2 < naive->core2)
        r2 = naive->core2;
    const double *m = naive->tensor;
    const double ax = m[NRW_XX] * dx + m[NRW_XY] * dy + m[NRW_XZ] * dz;
    const double ay = m[NRW_XY] * dx + m[NRW_YY] * dy + m[NRW_YZ] * dz;
    const double az = m[NRW_XZ] * dx + m[NRW_YZ] * dy + m[NRW_ZZ] * dz;
    const double along = ax * dx + ay * dy + az * dz;
    const double strength = on->moment * by->moment / (r2 * r2 * sqrt(r2));
    const double radial = m[NRW_XX] + m[NRW_YY] + m[NRW_ZZ] - 5.0 * along / r2;
    force[0] = strength * (2.0 * ax + radial * dx);
    force[1] = strength * (2.0 * ay + radial * dy);
    force[2] = strength * (2.0 * az + radial * dz);
    return true;
}

static void add_force(const bench_naive *naive, const particle *on, const particle *by,
                      double sum[3])
{
    double force[3];
    if (force_of(naive, on, by, force))
        for (int k = 0; k < 3; k++)
            sum[k] += force[k];
}

/* Each pair once: the force on the other is opposite. */
static void half_forces(bench_naive *naive)
{
    for (size_t i = 0; i < naive->n; i++)
        memset(naive->particles[i].force, 0, sizeof naive->particles[i].force);
    for (size_t i = 0; i < naive->n; i++) {
        particle *on = &naive->particles[i];
        for (size_t k = naive->starts[i]; k < naive->starts[i + 1]; k++) {
            particle *by = &naive->particles[naive->neighbours[k]];
            double force[3];
            if (!force_of(naive, on, by, force))
                continue;
            for (int axis = 0; axis < 3; axis++) {
                on->force[axis] += force[axis];
                by->force[axis] -= force[axis];
            }
        }
    }
}

void bench_naive_forces(bench_naive *naive)
{
    if (naive->half) {
        half_forces(naive);
        return;
    }
    for (size_t i = 0; i < naive->n; i++) {
        particle *on = &naive->particles[i];
        double sum[3] = {0.0, 0.0, 0.0};
        if (naive->starts) {
            for (size_t k = naive->starts[i]; k < naive->starts[i + 1]; k++)
                add_force(naive, on, &naive->particles[naive->neighbours[k]], sum);
        } else {
            for (size_t j = 0; j < naive->n; j++)
                if (j != i)
                    add_force(naive, on, &naive->particles[j], sum);
        }
        memcpy(on->force, sum, sizeof sum);
    }
}

/* --- the list -------------------------------------------------------------------- */

static double apart2(const particle *a, const particle *b)
{
    const double dx = a->at[0] - b->at[0], dy = a->at[1] - b->at[1], dz = a->at[2] - b->at[2];
    return dx * dx + dy * dy + dz * dz;
}

typedef struct cells {
    double low[2], size;
    int columns, rows;
} cells;

static cells cells_of(const bench_naive *naive)
{
    cells it = {{INFINITY, INFINITY}, naive->cutoff + naive->skin, 1, 1};
    double high[2] = {-INFINITY, -INFINITY};
    for (size_t i = 0; i < naive->n; i++)
        for (int k = 0; k < 2; k++) {
            it.low[k] = fmin(it.low[k], naive->particles[i].at[k]);
            high[k] = fmax(high[k], naive->particles[i].at[k]);
        }
    it.columns = (int)((high[0] - it.low[0]) / it.size) + 1;
    it.rows = (int)((high[1] - it.low[1]) / it.size) + 1;
    return it;
}

static bool fill_cells(bench_naive *naive, const cells *it)
{
    const size_t n_cells = (size_t)it->columns * (size_t)it->rows;
    if (n_cells > naive->n_cells) {
        int *heads = realloc(naive->heads, n_cells * sizeof *heads);
        if (!heads)
            return false;
        naive->heads = heads;
        naive->n_cells = n_cells;
    }
    for (size_t c = 0; c < n_cells; c++)
        naive->heads[c] = -1;
    for (size_t i = 0; i < naive->n; i++) {
        const double *at = naive->particles[i].at;
        const int column = (int)((at[0] - it->low[0]) / it->size);
        const int row = (int)((at[1] - it->low[1]) / it->size);
        const size_t cell = (size_t)row * (size_t)it->columns + (size_t)column;
        naive->next[i] = naive->heads[cell];
        naive->heads[cell] = (int)i;
    }
    return true;
}

static bool append(bench_naive *naive, size_t *used, int neighbour)
{
    if (*used == naive->capacity) {
        const size_t capacity = naive->capacity ? 2 * naive->capacity : 1024;
        int *neighbours = realloc(naive->neighbours, capacity * sizeof *neighbours);
        if (!neighbours)
            return false;
        naive->neighbours = neighbours;
        naive->capacity = capacity;
    }
    naive->neighbours[(*used)++] = neighbour;
    return true;
}

static bool list_one(bench_naive *naive, const cells *it, size_t i, size_t *used)
{
    const particle *on = &naive->particles[i];
    const int column = (int)((on->at[0] - it->low[0]) / it->size);
    const int row = (int)((on->at[1] - it->low[1]) / it->size);
    for (int r = row > 0 ? row - 1 : 0; r <= row + 1 && r < it->rows; r++)
        for (int c = column > 0 ? column - 1 : 0; c <= column + 1 && c < it->columns; c++) {
            int j = naive->heads[(size_t)r * (size_t)it->columns + (size_t)c];
            for (; j >= 0; j = naive->next[j])
                if ((naive->half ? (size_t)j > i : (size_t)j != i) &&
                    apart2(on, &naive->particles[j]) < it->size * it->size &&
                    !append(naive, used, j))
                    return false;
        }
    return true;
}

static bool make_list(bench_naive *naive)
{
    const cells it = cells_of(naive);
    size_t used = 0;
    if (!fill_cells(naive, &it))
        return false;
    for (size_t i = 0; i < naive->n; i++) {
        naive->starts[i] = used;
        if (!list_one(naive, &it, i, &used))
            return false;
        memcpy(naive->particles[i].listed_at, naive->particles[i].at, sizeof(double[3]));
    }
    naive->starts[naive->n] = used;
    naive->listed = true;
    return true;
}

bool bench_naive_refresh(bench_naive *naive)
{
    if (!naive->starts)
        return false;
    bool moved = !naive->listed;
    for (size_t i = 0; i < naive->n && !moved; i++) {
        const particle *it = &naive->particles[i];
        const double dx = it->at[0] - it->listed_at[0], dy = it->at[1] - it->listed_at[1];
        const double dz = it->at[2] - it->listed_at[2];
        moved = dx * dx + dy * dy + dz * dz > 0.25 * naive->skin * naive->skin;
    }
    return moved && make_list(naive);
}

/* --- making ---------------------------------------------------------------------- */

bench_naive *bench_naive_create(const bench_swarm *swarm, double cutoff_um, double skin_um,
                                bool half)
{
    bench_naive *naive = calloc(1, sizeof *naive);
    if (!naive)
        return NULL;
    naive->n = swarm->n;
    naive->cutoff = cutoff_um;
    naive->skin = skin_um;
    naive->half = half;
    naive->core2 = swarm->core2;
    memcpy(naive->tensor, swarm->tensor, sizeof naive->tensor);
    naive->particles = calloc(naive->n, sizeof *naive->particles);
    naive->result = calloc(naive->n, sizeof *naive->result);
    naive->next = calloc(naive->n, sizeof *naive->next);
    if (isfinite(cutoff_um))
        naive->starts = calloc(naive->n + 1, sizeof *naive->starts);
    if (!naive->particles || !naive->result || !naive->next ||
        (isfinite(cutoff_um) && !naive->starts)) {
        bench_naive_destroy(naive);
        return NULL;
    }
    for (size_t i = 0; i < naive->n; i++) {
        particle *it = &naive->particles[i];
        it->at[0] = (double)swarm->x[i];
        it->at[1] = (double)swarm->y[i];
        it->at[2] = (double)swarm->z[i];
        it->moment = (double)swarm->moment[i];
    }
    (void)bench_naive_refresh(naive);
    return naive;
}

void bench_naive_destroy(bench_naive *naive)
{
    if (!naive)
        return;
    free(naive->particles);
    free(naive->result);
    free(naive->starts);
    free(naive->neighbours);
    free(naive->heads);
    free(naive->next);
    free(naive);
}

void bench_naive_place(bench_naive *naive, size_t n, const double (*at_um)[3])
{
    for (size_t i = 0; i < n; i++)
        memcpy(naive->particles[i].at, at_um[i], sizeof naive->particles[i].at);
}

const double (*bench_naive_result(const bench_naive *naive))[3]
{
    for (size_t i = 0; i < naive->n; i++)
        memcpy(naive->result[i], naive->particles[i].force, sizeof naive->result[i]);
    return (const double(*)[3])naive->result;
}

double bench_naive_pairs(const bench_naive *naive)
{
    double pairs = 0.0;
    for (size_t i = 0; i < naive->n; i++)
        for (size_t j = 0; j < i; j++)
            if (apart2(&naive->particles[i], &naive->particles[j]) <= naive->cutoff * naive->cutoff)
                pairs += 2.0;
    return pairs;
}
