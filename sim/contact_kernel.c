/* The contact solve; compiled once per instruction set with NRW_KERNEL_SUFFIX set.
 *
 * Lanes are rows (particles); each adds up its own neighbours slot by slot, so no
 * sum crosses lanes and the bits don't depend on the width. Neighbours are read as
 * rows of four floats: four loads and a transposition cost half of a gather. */
#include <stdbool.h>

#include "kernel.h"
#include "kernel_name.h"
#include "slot_lanes.h"

nrw_stiffest_kernel NRW_KERNEL(nrw_contact_stiffest_);
nrw_begin_kernel NRW_KERNEL(nrw_contact_begin_);
nrw_reached_kernel NRW_KERNEL(nrw_contact_reached_);
nrw_sweep_kernel NRW_KERNEL(nrw_contact_first_sweep_);
nrw_sweep_kernel NRW_KERNEL(nrw_contact_sweep_);

/* Displacement of rows under contact forces f: mobility, then floor, ceiling and
 * side wall, each solved exactly for the row alone. */
static inline void displace(const nrw_contact_solve *solve, size_t row, const nrw_lanes f[3],
                            nrw_lanes u[3])
{
    const nrw_lanes zero = lanes_all(0.0f), k = lanes_all(solve->stiffness);
    const nrw_lanes move_xy = lanes_load(solve->move_xy + row);
    const nrw_lanes move_z = lanes_load(solve->move_z + row);
    u[0] = lanes_fma(move_xy, f[0], lanes_load(solve->free_x + row));
    u[1] = lanes_fma(move_xy, f[1], lanes_load(solve->free_y + row));
    u[2] = lanes_fma(move_z, f[2], lanes_load(solve->free_z + row));
    if (solve->floor_slope) {
        /* force0 − slope (u − z0), never negative */
        const nrw_lanes slope = lanes_load(solve->floor_slope + row);
        const nrw_lanes force = lanes_load(solve->floor_force + row) -
                                slope * (u[2] - lanes_load(solve->floor_z + row));
        u[2] = u[2] + move_z * lanes_max(zero, force) * lanes_load(solve->floor_give + row);
    }
    if (solve->ceiling) {
        const nrw_lanes above = lanes_max(zero, u[2] - lanes_load(solve->ceiling + row));
        u[2] = u[2] - above * (k * move_z) / lanes_fma(k, move_z, lanes_all(1.0f));
    }
    if (solve->wall_x) {
        const nrw_lanes wx = lanes_load(solve->wall_x + row), wy = lanes_load(solve->wall_y + row);
        const nrw_lanes over =
            lanes_max(zero, lanes_load(solve->wall_gap + row) - (wx * u[0] + wy * u[1])) *
            lanes_load(solve->wall_give + row);
        u[0] = lanes_fma(over, wx, u[0]);
        u[1] = lanes_fma(over, wy, u[1]);
    }
}

static inline void store_displacement(const nrw_contact_solve *solve, size_t row,
                                      const nrw_lanes u[3], float *place)
{
    lanes_store(solve->ux + row, u[0]);
    lanes_store(solve->uy + row, u[1]);
    lanes_store(solve->uz + row, u[2]);
    const nrw_lanes four[4] = {u[0], u[1], u[2], lanes_all(0.0f)};
    lanes_scatter4(place, row, four);
}

/* Last slot of a chunk at which two could touch, moving by up to `reach` µm each way. */
static inline uint32_t reached_end(const nrw_contact_rows *rows, size_t chunk, float reach)
{
    const nrw_lanes edge = lanes_all(-reach);
    uint32_t end = rows->starts[chunk + 1];
    for (; end > rows->starts[chunk]; end -= NRW_LANES)
        for (uint32_t lane = 0; lane < NRW_LANES; lane += NRW_WIDTH)
            if (lanes_bits(lanes_above(lanes_load(rows->gap + end - NRW_LANES + lane), edge)))
                return end;
    return end;
}

/* k Σ n nᵀ as a bound, of which mobility × step makes what a row's contacts are scaled by. */
static inline nrw_lanes crowd_of(const nrw_contact_solve *solve, size_t row)
{
    return lanes_all(solve->stiffness) * lanes_max(lanes_load(solve->crowd + row), lanes_all(1.0f));
}

nrw_peaks NRW_KERNEL(nrw_contact_stiffest_)(const nrw_contact_solve *solve)
{
    nrw_peaks_sum peaks = {0};
    const size_t n_rows = solve->rows.n_rows;
    for (size_t first = 0; first < n_rows; first += NRW_CONTACT_GROUP) {
        nrw_lanes stiff = lanes_all(0.0f);
        for (size_t row = first; row < n_rows && row < first + NRW_CONTACT_GROUP; row += NRW_WIDTH)
            stiff = lanes_max(stiff, crowd_of(solve, row) * lanes_load(solve->move_xy + row));
        nrw_peaks_add(&peaks, lanes_largest(stiff));
    }
    return nrw_peaks_of(&peaks);
}

float NRW_KERNEL(nrw_contact_begin_)(nrw_contact_solve *solve, size_t first, size_t last)
{
    const nrw_lanes k = lanes_all(solve->stiffness), zero = lanes_all(0.0f);
    nrw_lanes largest = zero;
    for (size_t row = first; row < last; row += NRW_WIDTH) {
        nrw_lanes f[3] = {k * lanes_load(solve->warm_x + row), k * lanes_load(solve->warm_y + row),
                          k * lanes_load(solve->warm_z + row)};
        nrw_lanes u[3];
        if (solve->excess_sum) {
            f[0] = f[0] + lanes_load(solve->drag_x + row);
            f[1] = f[1] + lanes_load(solve->drag_y + row);
            f[2] = f[2] + lanes_load(solve->drag_z + row);
        }
        displace(solve, row, f, u);
        store_displacement(solve, row, u, solve->place[0]);
        largest = lanes_max(largest, lanes_fma(u[0], u[0], lanes_fma(u[1], u[1], u[2] * u[2])));
        const nrw_lanes crowd = crowd_of(solve, row);
        const nrw_lanes four[4] = {crowd * lanes_load(solve->move_xy + row),
                                   crowd * lanes_load(solve->move_z + row), zero, zero};
        lanes_scatter4(solve->crowded, row, four);
        if (!solve->excess_sum)
            continue;
        const nrw_lanes drag =
            lanes_all(1.5f * solve->drag_scale) * lanes_load(solve->excess_sum + row);
        const nrw_lanes move_xy = lanes_load(solve->move_xy + row);
        const nrw_lanes move_z = lanes_load(solve->move_z + row), one = lanes_all(1.0f);
        lanes_store(solve->ease_xy + row, one / lanes_fma(move_xy, drag, one));
        lanes_store(solve->ease_z + row, one / lanes_fma(move_z, drag, one));
    }
    return lanes_largest(largest);
}

void NRW_KERNEL(nrw_contact_reached_)(nrw_contact_solve *solve, size_t first, size_t last,
                                      float reach)
{
    for (size_t chunk = first / NRW_LANES; chunk < last / NRW_LANES; chunk++)
        solve->ends[chunk] = reached_end(&solve->rows, chunk, reach);
}

/* A pair's step in the sweeps is gain/(1 + k Σ give), where `give` of each of the two
 * is its mobility along n times its crowd, the largest eigenvalue of Σ n nᵀ over its
 * neighbours: this bounds the whole matrix of the contact forces from above. */
static inline nrw_lanes give_of(const nrw_lanes crowded[2], nrw_lanes planar, nrw_lanes normal)
{
    return lanes_fma(crowded[0], planar, crowded[1] * normal);
}

/* Drag against sliding of rows, from what their neighbours' displacements ask for, joins their
 * forces. */
static inline void add_drag(const nrw_contact_solve *solve, size_t row, nrw_lanes scale,
                            const nrw_lanes pull[3], nrw_lanes f[3])
{
    float *const held[3] = {solve->drag_x + row, solve->drag_y + row, solve->drag_z + row};
    const nrw_lanes xy = lanes_load(solve->ease_xy + row);
    const nrw_lanes ease[3] = {xy, xy, lanes_load(solve->ease_z + row)};
    for (int axis = 0; axis < 3; axis++) {
        const nrw_lanes last = lanes_load(held[axis]);
        const nrw_lanes new =
            lanes_fma(ease[axis], lanes_fma(scale, pull[axis], lanes_all(0.0f) - last), last);
        lanes_store(held[axis], new);
        f[axis] = f[axis] + new;
    }
}

static inline float sweep(nrw_contact_solve *solve, const nrw_contact_sweep *how, size_t first_row,
                          size_t last_row, const bool first, const bool drag, const bool compact)
{
    const int from = how->from;
    const uint32_t *restrict starts = solve->rows.starts, *restrict ends = solve->ends;
    const uint32_t *restrict partner = solve->rows.partner;
    const float *restrict n_x = solve->rows.nx, *restrict n_y = solve->rows.ny;
    const float *restrict n_z = solve->rows.nz, *restrict gaps = solve->rows.gap;
    const int16_t *restrict short_x = solve->rows.short_n[0];
    const int16_t *restrict short_y = solve->rows.short_n[1];
    const int16_t *restrict short_z = solve->rows.short_n[2];
    uint16_t *restrict short_steps = solve->short_step;
    const float *restrict places = solve->place[from], *restrict crowded = solve->crowded;
    float *restrict steps = solve->step;
    /* the force before last makes room for the new one */
    float *restrict forces = solve->force[from], *restrict next = solve->force[1 - from];
    const nrw_lanes zero = lanes_all(0.0f), one = lanes_all(1.0f);
    const nrw_lanes k = lanes_all(solve->stiffness);
    /* compact directions and excesses come times NRW_UNIT: what is multiplied by one or two of
     * them is divided by as many */
    const float unit = compact ? NRW_UNIT : 1.0f;
    const nrw_lanes share = lanes_all(1.0f / unit), share2 = lanes_all(1.0f / (unit * unit));
    const nrw_lanes drag_scale =
        lanes_all(compact ? solve->drag_scale * solve->contact / unit : solve->drag_scale);
    const nrw_lanes gain = lanes_all(how->gain), momentum = lanes_all(how->momentum);
    nrw_lanes largest = zero;
    for (size_t row = first_row; row < last_row; row += NRW_WIDTH) {
        const size_t chunk = row / NRW_LANES, end = ends[chunk];
        const nrw_lanes u[3] = {lanes_load(solve->ux + row), lanes_load(solve->uy + row),
                                lanes_load(solve->uz + row)};
        nrw_lanes f[3] = {zero, zero, zero}, own[4] = {zero, zero, zero, zero};
        nrw_lanes pull[3] = {zero, zero, zero};
        if (first)
            lanes_gather4(crowded, solve->rows.self + row, own);
        for (size_t slot = starts[chunk] + row % NRW_LANES; slot < end; slot += NRW_LANES) {
            nrw_lanes other[4];
            lanes_gather4(places, partner + slot, other);
            const nrw_lanes nx =
                compact ? lanes_load_short(short_x + slot) : lanes_load(n_x + slot);
            const nrw_lanes ny =
                compact ? lanes_load_short(short_y + slot) : lanes_load(n_y + slot);
            const nrw_lanes nz =
                compact ? lanes_load_short(short_z + slot) : lanes_load(n_z + slot);
            const nrw_lanes gap = lanes_load(gaps + slot);
            const nrw_lanes d[3] = {other[0] - u[0], other[1] - u[1], other[2] - u[2]};
            const nrw_lanes closer = lanes_fma(nx, d[0], lanes_fma(ny, d[1], nz * d[2]));
            nrw_lanes old, last, step;
            if (first) {
                nrw_lanes their[4];
                lanes_gather4(crowded, partner + slot, their);
                const nrw_lanes normal = nz * nz, planar = lanes_fma(nx, nx, ny * ny);
                const nrw_lanes give =
                    give_of(own, planar, normal) + give_of(their, planar, normal);
                if (compact) {
                    step = one / lanes_fma(give, share2, one);
                    lanes_store_upper(short_steps + slot, step);
                } else {
                    step = one / (one + give);
                    lanes_store(steps + slot, step);
                }
                old = k * lanes_max(zero, gap);
                if (solve->held)
                    old = lanes_load(forces + slot);
                else
                    lanes_store(forces + slot, old);
                last = old;
            } else {
                old = lanes_load(forces + slot);
                last = lanes_load(next + slot);
                step = compact ? lanes_load_upper(short_steps + slot) : lanes_load(steps + slot);
            }
            nrw_lanes overlap = gap + closer;
            if (compact)
                overlap = lanes_fma(closer, share, gap);
            const nrw_lanes wanted = lanes_fma(k, overlap, zero - old);
            const nrw_lanes now = lanes_max(
                zero, lanes_fma(gain * step, wanted, lanes_fma(momentum, old - last, old)));
            lanes_store(next + slot, now);
            f[0] = lanes_fma(now, nx, f[0]);
            f[1] = lanes_fma(now, ny, f[1]);
            f[2] = lanes_fma(now, nz, f[2]);
            if (drag) {
                const nrw_lanes e = compact ? lanes_load_short(solve->short_excess + slot)
                                            : lanes_load(solve->excess + slot);
                const nrw_lanes apart = (compact ? zero - share2 : zero - one) * closer;
                pull[0] = lanes_fma(e, lanes_fma(apart, nx, d[0]), pull[0]);
                pull[1] = lanes_fma(e, lanes_fma(apart, ny, d[1]), pull[1]);
                pull[2] = lanes_fma(e, lanes_fma(apart, nz, d[2]), pull[2]);
            }
        }
        for (int axis = 0; axis < 3 && compact; axis++)
            f[axis] = share * f[axis];
        if (drag)
            add_drag(solve, row, drag_scale, pull, f);
        nrw_lanes moved[3];
        displace(solve, row, f, moved);
        for (int axis = 0; axis < 3; axis++) {
            const nrw_lanes change = moved[axis] - u[axis];
            largest = lanes_max(largest, lanes_max(change, zero - change));
        }
        store_displacement(solve, row, moved, solve->place[1 - from]);
    }
    return lanes_largest(largest);
}

static inline float sweep_as(nrw_contact_solve *solve, const nrw_contact_sweep *how,
                             size_t first_row, size_t last_row, const bool first)
{
    const bool drag = solve->excess_sum != NULL;
    if (slots_are_short(&solve->rows))
        return drag ? sweep(solve, how, first_row, last_row, first, true, true)
                    : sweep(solve, how, first_row, last_row, first, false, true);
    return drag ? sweep(solve, how, first_row, last_row, first, true, false)
                : sweep(solve, how, first_row, last_row, first, false, false);
}

float NRW_KERNEL(nrw_contact_first_sweep_)(nrw_contact_solve *solve, const nrw_contact_sweep *how,
                                           size_t first, size_t last)
{
    return sweep_as(solve, how, first, last, true);
}

float NRW_KERNEL(nrw_contact_sweep_)(nrw_contact_solve *solve, const nrw_contact_sweep *how,
                                     size_t first, size_t last)
{
    return sweep_as(solve, how, first, last, false);
}
