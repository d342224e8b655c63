/* The far field's expansions, docs/physics.md (6.9)-(6.13); compiled once per instruction
 * set with NRW_KERNEL_SUFFIX set. far_field.h tells what for.
 *
 * Everything comes from G = 1/r, which is harmonic: of its derivatives only those with at
 * most one along z are kept, 2n + 1 of order n, and those with two or more follow from
 * ∂zz = −∂xx − ∂yy. The same takes sources' moments and local expansions to 2n + 1 terms
 * of each order. */
#include <string.h>

#include "block_tree.h"
#include "kernel.h"
#include "kernel_name.h"
#include "lanes.h"

nrw_far_kernel NRW_KERNEL(nrw_far_gather_);
nrw_far_kernel NRW_KERNEL(nrw_far_across_dipoles_);
nrw_far_kernel NRW_KERNEL(nrw_far_across_flow_);
nrw_far_kernel NRW_KERNEL(nrw_far_across_both_);
nrw_far_kernel NRW_KERNEL(nrw_far_across_response_);
nrw_far_kernel NRW_KERNEL(nrw_far_spread_);
nrw_far_kernel NRW_KERNEL(nrw_far_dipoles_);
nrw_far_kernel NRW_KERNEL(nrw_far_flow_);
nrw_far_kernel NRW_KERNEL(nrw_far_response_);

enum {
    ORDER = NRW_FAR_ORDER,                        /* of local expansions; moments go to one less */
    FULL = 35,                                    /* terms up to ORDER, all of them */
    POLYNOMIAL = 20,                              /* terms up to ORDER - 1, all of them */
    EVEN_MOMENTS = 2,                             /* which the flow's third terms take, see below */
    FLOW_DEEPEST = ORDER - 1 + EVEN_MOMENTS,      /* of derivatives */
    DEEPEST = ORDER + 2,                          /* the dipoles': the tensor M takes two */
    N_DEEP = 1 + 3 * DEEPEST * (DEEPEST + 1) / 2, /* with up to two along z */
    N_IMAGE = 1 + 3 * FLOW_DEEPEST * (FLOW_DEEPEST + 1) / 2,
    N_DERIVATIVES = 1 + 3 * ORDER * (ORDER + 1) / 2
};

/* Potentials of the local expansions, all that (6.10) takes: V_x + V'_x, V_y + V'_y, W − W' and
 * Q', primed the mirror images'; and the dipoles', which is the first where there is no flow.
 * Three are the responses'. */
enum { POTENTIAL_VX, POTENTIAL_VY, POTENTIAL_W, POTENTIAL_Q, POTENTIAL_DIPOLE };

/* Where the term x^a y^b z^c stands: among those with c <= 1, with c <= 2, among all. */
static inline int thin_at(int a, int b, int c)
{
    const int n = a + b + c;
    return n * n + (c ? n + 1 + b : b);
}

static inline int deep_at(int a, int b, int c)
{
    const int n = a + b + c, begin = n ? 1 + 3 * n * (n - 1) / 2 : 0;
    return begin + (c == 0 ? b : c == 1 ? n + 1 + b : 2 * n + 1 + b);
}

static inline int full_at(int a, int b, int c)
{
    const int n = a + b + c, off = b + c;
    return n * (n + 1) * (n + 2) / 6 + off * (off + 1) / 2 + c;
}

/* --- moments ---------------------------------------------------------------- */

/* Moments Σ w (−t)^k/k! of four kinds of sources, as rows of four. */
typedef float four __attribute__((vector_size(16)));

/* Terms with two or three along z go to those along x and y: harmonic sources. `all` is
 * in the order of full_at up to 3. */
static inline void make_thin(const four all[POLYNOMIAL], four thin[NRW_FAR_MOMENTS])
{
    NRW_EACH (n, 0, ORDER - 1)
        NRW_EACH (c, 0, n < 1 ? n : 1)
            NRW_EACH (b, 0, n - c)
                thin[thin_at(n - b - c, b, c)] = all[full_at(n - b - c, b, c)];
    NRW_EACH (n, 2, ORDER - 1)
        NRW_EACH (c, 2, n)
            NRW_EACH (b, 0, n - c) {
                const int a = n - b - c;
                const four m = all[full_at(a, b, c)];
                thin[thin_at(a + 2, b, c - 2)] -= m;
                thin[thin_at(a, b + 2, c - 2)] -= m;
            }
}

static inline four *moments_of(const nrw_far_task *task, size_t node)
{
    return (four *)(void *)(task->moments + node * 4 * NRW_FAR_MOMENTS);
}

/* s^k/k! up to order 3, in the order of full_at. */
#define POWERS(type, s, one, out)                                                                  \
    do {                                                                                           \
        (out)[0] = (one);                                                                          \
        NRW_EACH (n_, 1, ORDER - 1)                                                                \
            NRW_EACH (c_, 0, n_)                                                                   \
                NRW_EACH (b_, 0, n_ - c_) {                                                        \
                    const int a_ = n_ - b_ - c_;                                                   \
                    const float less_ = 1.0f / (float)(a_ ? a_ : b_ ? b_ : c_);                    \
                    const type part_ = a_   ? (out)[full_at(a_ - 1, b_, c_)] * (s)[0]              \
                                       : b_ ? (out)[full_at(a_, b_ - 1, c_)] * (s)[1]              \
                                            : (out)[full_at(a_, b_, c_ - 1)] * (s)[2];             \
                    (out)[full_at(a_, b_, c_)] = part_ * less_;                                    \
                }                                                                                  \
    } while (0)

static void gather_block(const nrw_far_task *task, size_t node)
{
    const size_t block = task->nodes[node].first;
    _Alignas(64) float sums[4 * POLYNOMIAL] = {0.0f};
    for (size_t i = block * NRW_LANES; i < (block + 1) * NRW_LANES; i += NRW_WIDTH) {
        const nrw_lanes t[3] = {-lanes_load(task->x + i), -lanes_load(task->y + i),
                                lanes_all(task->centre_z[node]) - lanes_load(task->z + i)};
        nrw_lanes powers[POLYNOMIAL];
        POWERS(nrw_lanes, t, lanes_all(1.0f), powers);
        const nrw_lanes w[4] = {lanes_load(task->moment + i), lanes_load(task->qx + i),
                                lanes_load(task->qy + i), lanes_load(task->tz + i)};
        for (int k = 0; k < POLYNOMIAL; k++) {
            float part[4];
            lanes_sum4(w[0] * powers[k], w[1] * powers[k], w[2] * powers[k], w[3] * powers[k],
                       part);
            for (int charge = 0; charge < 4; charge++)
                sums[4 * k + charge] += part[charge];
        }
    }
    make_thin((const four *)(const void *)sums, moments_of(task, node));
}

/* A parent's moments from its children's. */
static void gather_children(const nrw_far_task *task, size_t node)
{
    four all[POLYNOMIAL];
    memset(all, 0, sizeof all);
    const uint32_t children[2] = {task->nodes[node].left, task->nodes[node].right};
    for (int which = 0; which < 2; which++) {
        const uint32_t child = children[which];
        const float s[3] = {task->centre_x[node] - task->centre_x[child],
                            task->centre_y[node] - task->centre_y[child],
                            task->centre_z[node] - task->centre_z[child]};
        float powers[POLYNOMIAL];
        POWERS(float, s, 1.0f, powers);
        const four *from = moments_of(task, child);
        NRW_EACH (n, 0, ORDER - 1)
            NRW_EACH (c, 0, n < 1 ? n : 1)
                NRW_EACH (b, 0, n - c) {
                    const int a = n - b - c;
                    const four m = from[thin_at(a, b, c)];
                    NRW_EACH (j, 0, ORDER - n - 1)
                        NRW_EACH (jc, 0, j)
                            NRW_EACH (jb, 0, j - jc) {
                                const int ja = j - jb - jc;
                                all[full_at(a + ja, b + jb, c + jc)] +=
                                    m * powers[full_at(ja, jb, jc)];
                            }
                }
    }
    make_thin(all, moments_of(task, node));
}

void NRW_KERNEL(nrw_far_gather_)(const nrw_far_task *task)
{
    for (size_t node = task->n_nodes; node-- > 0;)
        if (task->nodes[node].n_blocks == 1)
            gather_block(task, node);
        else
            gather_children(task, node);
    /* the node that stands for none */
    memset(moments_of(task, task->n_nodes), 0, sizeof(four) * NRW_FAR_MOMENTS);
}

/* --- across ----------------------------------------------------------------- */

/* Derivatives of 1/r up to an order, with up to two along z (Duan & Krasny 2001):
 * n r² D_k = −(2n − 1) Σ k_i r_i D_{k−e_i} − (n − 1) Σ k_i (k_i − 1) D_{k−2e_i}. */
static inline void derivatives(const nrw_lanes r[3], const int order, nrw_lanes *d)
{
    const nrw_lanes inverse =
        lanes_rsqrt(lanes_fma(r[0], r[0], lanes_fma(r[1], r[1], r[2] * r[2])));
    const nrw_lanes h = inverse * inverse;
    const nrw_lanes g[3] = {r[0] * h, r[1] * h, r[2] * h};
    d[0] = inverse;
    NRW_EACH (n, 1, order) {
        const float first = -(float)(2 * n - 1) / (float)n, second = -(float)(n - 1) / (float)n;
        const nrw_lanes h2 = lanes_all(second) * h;
        const nrw_lanes g1[3] = {lanes_all(first) * g[0], lanes_all(first) * g[1],
                                 lanes_all(first) * g[2]};
        NRW_EACH (c, 0, 1)
            NRW_EACH (b, 0, n - c) {
                const int a = n - b - c;
                nrw_lanes sum = lanes_all(0.0f), twice = sum;
                if (a > 0)
                    sum = lanes_all((float)a) * g1[0] * d[deep_at(a - 1, b, c)];
                if (b > 0)
                    sum = lanes_fma(lanes_all((float)b) * g1[1], d[deep_at(a, b - 1, c)], sum);
                if (c > 0)
                    sum = lanes_fma(g1[2], d[deep_at(a, b, 0)], sum);
                if (a > 1)
                    twice = lanes_all((float)(a * (a - 1))) * d[deep_at(a - 2, b, c)];
                if (b > 1)
                    twice =
                        lanes_fma(lanes_all((float)(b * (b - 1))), d[deep_at(a, b - 2, c)], twice);
                d[deep_at(a, b, c)] = lanes_fma(h2, twice, sum);
            }
        NRW_EACH (b, 0, n - 2)
            d[deep_at(n - 2 - b, b, 2)] =
                -d[deep_at(n - b, b, 0)] - d[deep_at(n - 2 - b, b + 2, 0)];
    }
}

/* Derivatives of ∂ab G from those of G: two orders fewer. `factors` of xx, xy, yy, xz, yz. */
static inline void contract(const nrw_lanes *d, const nrw_lanes factors[5], nrw_lanes *u)
{
    NRW_EACH (n, 0, ORDER) {
        NRW_EACH (c, 0, n < 1 ? n : 1)
            NRW_EACH (b, 0, n - c) {
                const int a = n - b - c;
                nrw_lanes sum = factors[0] * d[deep_at(a + 2, b, c)];
                sum = lanes_fma(factors[1], d[deep_at(a + 1, b + 1, c)], sum);
                sum = lanes_fma(factors[2], d[deep_at(a, b + 2, c)], sum);
                sum = lanes_fma(factors[3], d[deep_at(a + 1, b, c + 1)], sum);
                u[deep_at(a, b, c)] = lanes_fma(factors[4], d[deep_at(a, b + 1, c + 1)], sum);
            }
        NRW_EACH (b, 0, n - 2)
            u[deep_at(n - 2 - b, b, 2)] =
                -u[deep_at(n - b, b, 0)] - u[deep_at(n - 2 - b, b + 2, 0)];
    }
}

enum { ACROSS_DIPOLES = 1, ACROSS_FLOW = 2, ACROSS_RESPONSE = 4 };

/* Moments of the sources and derivatives between the centres, for a vector of nodes. */
typedef struct across_work {
    nrw_lanes moments[NRW_FAR_MOMENTS][4];
    nrw_lanes divergence[NRW_FAR_LOCALS]; /* moments of Q, by thin_at, from order 1 on */
    nrw_lanes direct[N_DEEP], image[N_IMAGE], dipole[3][N_DERIVATIVES];
    nrw_lanes both[N_IMAGE], apart[N_IMAGE]; /* direct + image, direct − image */
    nrw_lanes sums[NRW_FAR_LOCALS][NRW_FAR_POTENTIALS];
} across_work;

/* A moment and a derivative of what has no image. */
static inline void add_direct(const across_work *work, int moment, int at, nrw_lanes *sums,
                              const int what)
{
    const nrw_lanes m = work->moments[moment][0];
    if (what & ACROSS_DIPOLES) {
        nrw_lanes *sum = sums + (what & ACROSS_FLOW ? POTENTIAL_DIPOLE : 0);
        *sum = lanes_fma(m, work->dipole[0][at], *sum);
    }
    for (int p = 0; p < 3 && what & ACROSS_RESPONSE; p++)
        sums[p] = lanes_fma(m, work->dipole[p][at], sums[p]);
}

/* Of the flow; `flipped`: the image's moment has the other sign. */
static inline void add_flow(const across_work *work, int moment, int at, nrw_lanes *sums,
                            bool flipped)
{
    const nrw_lanes *m = work->moments[moment];
    const nrw_lanes plus = flipped ? work->apart[at] : work->both[at];
    const nrw_lanes minus = flipped ? work->both[at] : work->apart[at];
    sums[POTENTIAL_VX] = lanes_fma(m[1], plus, sums[POTENTIAL_VX]);
    sums[POTENTIAL_VY] = lanes_fma(m[2], plus, sums[POTENTIAL_VY]);
    sums[POTENTIAL_W] = lanes_fma(m[3], minus, sums[POTENTIAL_W]);
}

/* Products of the term x^a y^b z^c with moments: orders add up to ORDER at most. The flow takes
 * one more product, of second moments with third terms: they and the latter's slopes are even
 * about the centres, and without it all of a swarm's particles would miss the same part of the
 * flow. */
static inline void add_term(const across_work *work, const int a, const int b, const int c,
                            nrw_lanes *sums, const int what)
{
    const int n = a + b + c, more = n == ORDER - 1 ? EVEN_MOMENTS : ORDER - n;
    NRW_EACH (kc, 0, 1)
        NRW_EACH (k, kc, more)
            NRW_EACH (kb, 0, k - kc) {
                const int ka = k - kb - kc, at = deep_at(a + ka, b + kb, c + kc);
                if (k <= ORDER - n)
                    add_direct(work, thin_at(ka, kb, kc), at, sums, what);
                if (what & ACROSS_FLOW)
                    add_flow(work, thin_at(ka, kb, kc), at, sums, kc == 1);
            }
}

/* The same of Q', whose moments and terms are those of V_x and V_y one order up and down. */
static inline void add_divergence(const across_work *work, const int a, const int b, const int c,
                                  nrw_lanes *sums)
{
    const int n = a + b + c, more = n == ORDER - 2 ? EVEN_MOMENTS + 1 : ORDER - n;
    nrw_lanes sum = sums[POTENTIAL_Q];
    NRW_EACH (kc, 0, 1)
        NRW_EACH (k, 1, more)
            NRW_EACH (kb, 0, k - kc) {
                const int ka = k - kb - kc;
                const nrw_lanes m = work->divergence[thin_at(ka, kb, kc)];
                const nrw_lanes d = work->image[deep_at(a + ka, b + kb, c + kc)];
                if (ka + kb > 0)
                    sum = kc == 1 ? lanes_less(m, d, sum) : lanes_fma(m, d, sum);
            }
    sums[POTENTIAL_Q] = sum;
}

static inline void add_terms(across_work *work, const int what)
{
    NRW_EACH (n, 0, ORDER)
        NRW_EACH (c, 0, n < 1 ? n : 1)
            NRW_EACH (b, 0, n - c) {
                const int a = n - b - c;
                nrw_lanes *const kept = work->sums[thin_at(a, b, c)];
                nrw_lanes sums[POTENTIAL_DIPOLE + 1];
                for (int p = 0; p <= POTENTIAL_DIPOLE; p++)
                    sums[p] = kept[p];
                if (n > 0)
                    add_term(work, a, b, c, sums, what);
                if (n < ORDER && what & ACROSS_FLOW)
                    add_divergence(work, a, b, c, sums);
                for (int p = 0; p <= POTENTIAL_DIPOLE; p++)
                    kept[p] = sums[p];
            }
}

/* Of the flow: sums and differences with the image's derivatives, and the moments of Q. */
static inline void take_images(const nrw_lanes image[3], across_work *work)
{
    derivatives(image, FLOW_DEEPEST, work->image);
    for (int k = 0; k < N_IMAGE; k++) {
        work->both[k] = work->direct[k] + work->image[k];
        work->apart[k] = work->direct[k] - work->image[k];
    }
    NRW_EACH (n, 1, ORDER)
        NRW_EACH (c, 0, 1)
            NRW_EACH (b, 0, n - c) {
                const int a = n - b - c;
                nrw_lanes sum = lanes_all(0.0f);
                if (a > 0)
                    sum = sum + work->moments[thin_at(a - 1, b, c)][1];
                if (b > 0)
                    sum = sum + work->moments[thin_at(a, b - 1, c)][2];
                work->divergence[thin_at(a, b, c)] = sum;
            }
}

/* Moments of the sources and derivatives to the targets. */
static inline void take_sources(const nrw_far_task *task, const uint32_t *targets,
                                const uint32_t *sources, across_work *work, const int what)
{
    uint32_t places[NRW_WIDTH];
    float r[4][NRW_WIDTH];
    for (int lane = 0; lane < NRW_WIDTH; lane++) {
        const uint32_t to = targets[lane], from = sources[lane];
        places[lane] = from * 4 * NRW_FAR_MOMENTS;
        r[0][lane] = task->centre_x[to] - task->centre_x[from];
        r[1][lane] = task->centre_y[to] - task->centre_y[from];
        r[2][lane] = task->centre_z[to] - task->centre_z[from];
        r[3][lane] = task->centre_z[to] + task->centre_z[from];
    }
    for (size_t k = 0; k < NRW_FAR_MOMENTS; k++)
        lanes_gather4(task->moments + 4 * k, places, work->moments[k]);
    const nrw_lanes direct[3] = {lanes_load(r[0]), lanes_load(r[1]), lanes_load(r[2])};
    derivatives(direct, what & (ACROSS_DIPOLES | ACROSS_RESPONSE) ? DEEPEST : FLOW_DEEPEST,
                work->direct);
    if (what & ACROSS_FLOW) {
        const nrw_lanes image[3] = {direct[0], direct[1], lanes_load(r[3])};
        take_images(image, work);
    }
    const nrw_lanes zero = lanes_all(0.0f), third = lanes_all(1.0f / 3.0f);
    if (what & ACROSS_DIPOLES) {
        /* 3·µ0/4π·M of the kernels' tensor, over 3 for ∇∂∂(1/r); without M_zz */
        const float *m = task->tensor;
        const nrw_lanes factors[5] = {third * (m[NRW_XX] - m[NRW_ZZ]), third * (2.0f * m[NRW_XY]),
                                      third * (m[NRW_YY] - m[NRW_ZZ]), third * (2.0f * m[NRW_XZ]),
                                      third * (2.0f * m[NRW_YZ])};
        contract(work->direct, factors, work->dipole[0]);
    }
    if (what & ACROSS_RESPONSE) {
        const nrw_lanes xx[5] = {third, zero, zero, zero, zero};
        const nrw_lanes yy[5] = {zero, zero, third, zero, zero};
        const nrw_lanes xy[5] = {zero, third, zero, zero, zero};
        contract(work->direct, xx, work->dipole[0]);
        contract(work->direct, yy, work->dipole[1]);
        contract(work->direct, xy, work->dipole[2]);
    }
}

/* Sums to the targets' local expansions, potentials side by side. */
static inline void store_locals(const nrw_far_task *task, const uint32_t *targets,
                                const across_work *work)
{
    _Alignas(64) float rows[4 * NRW_LANES];
    for (size_t out = 0; out < NRW_FAR_LOCALS; out++)
        for (size_t p = 0; p < NRW_FAR_POTENTIALS; p += 4) {
            lanes_scatter4(rows, 0, work->sums[out] + p);
            for (size_t lane = 0; lane < NRW_WIDTH; lane++)
                memcpy(task->locals +
                           ((size_t)targets[lane] * NRW_FAR_LOCALS + out) * NRW_FAR_POTENTIALS + p,
                       rows + nrw_four_of(lane), 4 * sizeof(float));
        }
}

static inline void across(const nrw_far_task *task, const int what)
{
    across_work work;
    for (size_t chunk = 0; chunk < task->n_chunks; chunk++)
        for (size_t lane = 0; lane < NRW_LANES; lane += NRW_WIDTH) {
            const uint32_t *targets = task->targets + chunk * NRW_LANES + lane;
            memset(work.sums, 0, sizeof work.sums);
            for (size_t slot = task->starts[chunk]; slot < task->starts[chunk + 1];
                 slot += NRW_LANES) {
                take_sources(task, targets, task->sources + slot + lane, &work, what);
                add_terms(&work, what);
            }
            store_locals(task, targets, &work);
        }
}

void NRW_KERNEL(nrw_far_across_dipoles_)(const nrw_far_task *task)
{
    across(task, ACROSS_DIPOLES);
}

void NRW_KERNEL(nrw_far_across_flow_)(const nrw_far_task *task)
{
    across(task, ACROSS_FLOW);
}

void NRW_KERNEL(nrw_far_across_both_)(const nrw_far_task *task)
{
    across(task, ACROSS_DIPOLES | ACROSS_FLOW);
}

void NRW_KERNEL(nrw_far_across_response_)(const nrw_far_task *task)
{
    across(task, ACROSS_RESPONSE);
}

/* --- down ------------------------------------------------------------------- */

/* Local expansions with all terms, of the eight potentials side by side. */
typedef float eight __attribute__((vector_size(4 * NRW_FAR_POTENTIALS)));

static inline void make_full(const float *thin, eight full[FULL])
{
    const eight *from = (const eight *)(const void *)thin;
    NRW_EACH (n, 0, ORDER)
        NRW_EACH (c, 0, n)
            NRW_EACH (b, 0, n - c) {
                const int a = n - b - c;
                full[full_at(a, b, c)] =
                    c <= 1 ? from[thin_at(a, b, c)]
                           : -full[full_at(a + 2, b, c - 2)] - full[full_at(a, b + 2, c - 2)];
            }
}

static inline float *locals_of(const nrw_far_task *task, size_t node)
{
    return task->locals + node * NRW_FAR_LOCALS * NRW_FAR_POTENTIALS;
}

/* Every node's expansion about its children's centres is added to theirs. */
void NRW_KERNEL(nrw_far_spread_)(const nrw_far_task *task)
{
    for (size_t node = 0; node < task->n_nodes; node++) {
        if (task->nodes[node].n_blocks == 1)
            continue;
        eight full[FULL];
        make_full(locals_of(task, node), full);
        const uint32_t children[2] = {task->nodes[node].left, task->nodes[node].right};
        for (int which = 0; which < 2; which++) {
            const uint32_t child = children[which];
            const float s[3] = {task->centre_x[child] - task->centre_x[node],
                                task->centre_y[child] - task->centre_y[node],
                                task->centre_z[child] - task->centre_z[node]};
            float powers[POLYNOMIAL];
            POWERS(float, s, 1.0f, powers);
            eight *to = (eight *)(void *)locals_of(task, child);
            /* of order 0 only Q' is wanted, which has no more than ORDER − 1 */
            NRW_EACH (n, 0, ORDER)
                NRW_EACH (c, 0, n < 1 ? n : 1)
                    NRW_EACH (b, 0, n - c) {
                        const int a = n - b - c;
                        eight sum = to[thin_at(a, b, c)];
                        NRW_EACH (j, 0, ORDER - n - (n == 0))
                            NRW_EACH (jc, 0, j)
                                NRW_EACH (jb, 0, j - jc) {
                                    const int ja = j - jb - jc;
                                    sum += full[full_at(a + ja, b + jb, c + jc)] *
                                           powers[full_at(ja, jb, jc)];
                                }
                        to[thin_at(a, b, c)] = sum;
                    }
        }
    }
}

/* Value of a polynomial of `terms` terms at a vector of particles. */
static inline nrw_lanes value(const float *coefficients, const nrw_lanes *powers, const int terms)
{
    nrw_lanes even = lanes_all(coefficients[0]), odd = lanes_all(0.0f);
    for (int k = 1; k + 1 < terms; k += 2) {
        odd = lanes_fma(lanes_all(coefficients[k]), powers[k], odd);
        even = lanes_fma(lanes_all(coefficients[k + 1]), powers[k + 1], even);
    }
    if (terms % 2 == 0)
        odd = lanes_fma(lanes_all(coefficients[terms - 1]), powers[terms - 1], odd);
    return even + odd;
}

static inline void powers_of(const nrw_far_task *task, size_t node, size_t i,
                             nrw_lanes powers[POLYNOMIAL])
{
    const nrw_lanes s[3] = {lanes_load(task->x + i), lanes_load(task->y + i),
                            lanes_load(task->z + i) - lanes_all(task->centre_z[node])};
    POWERS(nrw_lanes, s, lanes_all(1.0f), powers);
}

/* Gradient of potential p as three polynomials. */
static inline void gradient(const eight full[FULL], int p, float out[3][POLYNOMIAL])
{
    NRW_EACH (n, 0, ORDER - 1)
        NRW_EACH (c, 0, n)
            NRW_EACH (b, 0, n - c) {
                const int a = n - b - c, at = full_at(a, b, c);
                out[0][at] = full[full_at(a + 1, b, c)][p];
                out[1][at] = full[full_at(a, b + 1, c)][p];
                out[2][at] = full[full_at(a, b, c + 1)][p];
            }
}

void NRW_KERNEL(nrw_far_dipoles_)(const nrw_far_task *task)
{
    float *const out[3] = {task->fx, task->fy, task->fz};
    for (size_t node = 0; node < task->n_nodes; node++) {
        if (task->nodes[node].n_blocks > 1)
            continue;
        eight full[FULL];
        float slopes[3][POLYNOMIAL];
        make_full(locals_of(task, node), full);
        gradient(full, task->dipole_potential, slopes);
        const size_t first = (size_t)task->nodes[node].first * NRW_LANES;
        for (size_t i = first; i < first + NRW_LANES; i += NRW_WIDTH) {
            nrw_lanes powers[POLYNOMIAL];
            powers_of(task, node, i, powers);
            const nrw_lanes own = lanes_load(task->moment + i);
            for (int axis = 0; axis < 3; axis++)
                lanes_store(out[axis] + i, lanes_fma(own, value(slopes[axis], powers, POLYNOMIAL),
                                                     lanes_load(out[axis] + i)));
        }
    }
}

/* Polynomials of the flow: u = steady + z × rising, z the height above the floor. */
static inline void flow_polynomials(const eight full[FULL], float faxen_third,
                                    float steady[3][POLYNOMIAL], float rising[3][10])
{
    NRW_EACH (n, 0, ORDER - 1)
        NRW_EACH (c, 0, n)
            NRW_EACH (b, 0, n - c) {
                const int a = n - b - c, at = full_at(a, b, c);
                const eight dx = full[full_at(a + 1, b, c)], dy = full[full_at(a, b + 1, c)];
                const eight dz = full[full_at(a, b, c + 1)];
                steady[0][at] = dy[POTENTIAL_W] - dz[POTENTIAL_VX];
                steady[1][at] = -dx[POTENTIAL_W] - dz[POTENTIAL_VY];
                steady[2][at] = dx[POTENTIAL_VX] + dy[POTENTIAL_VY] - 2.0f * full[at][POTENTIAL_Q];
                if (n < ORDER - 2) {
                    steady[0][at] += faxen_third * full[full_at(a + 1, b, c + 1)][POTENTIAL_Q];
                    steady[1][at] += faxen_third * full[full_at(a, b + 1, c + 1)][POTENTIAL_Q];
                    steady[2][at] += faxen_third * full[full_at(a, b, c + 2)][POTENTIAL_Q];
                }
                if (n < ORDER - 1) {
                    rising[0][at] = 2.0f * dx[POTENTIAL_Q];
                    rising[1][at] = 2.0f * dy[POTENTIAL_Q];
                    rising[2][at] = 2.0f * dz[POTENTIAL_Q];
                }
            }
}

void NRW_KERNEL(nrw_far_flow_)(const nrw_far_task *task)
{
    float *const out[3] = {task->ux, task->uy, task->uz};
    for (size_t node = 0; node < task->n_nodes; node++) {
        if (task->nodes[node].n_blocks > 1)
            continue;
        eight full[FULL];
        float steady[3][POLYNOMIAL], rising[3][10];
        make_full(locals_of(task, node), full);
        flow_polynomials(full, 2.0f / 3.0f * task->radius2, steady, rising);
        const size_t first = (size_t)task->nodes[node].first * NRW_LANES;
        for (size_t i = first; i < first + NRW_LANES; i += NRW_WIDTH) {
            nrw_lanes powers[POLYNOMIAL];
            powers_of(task, node, i, powers);
            const nrw_lanes z = lanes_load(task->z + i);
            for (int axis = 0; axis < 3; axis++)
                lanes_store(out[axis] + i, lanes_load(out[axis] + i) +
                                               lanes_fma(z, value(rising[axis], powers, 10),
                                                         value(steady[axis], powers, POLYNOMIAL)));
        }
    }
}

/* The ten sums of pair_lanes.h from the slopes of ∂xx, ∂yy and ∂xy; where they stand in
 * nrw_pair_task.response, and the eight that follow from them. */
static inline void add_responses(const nrw_far_task *task, size_t i, const nrw_lanes own,
                                 const nrw_lanes slopes[3][3])
{
    NRW_EACH (c, 0, 3 - 1) {
        const nrw_lanes xx = own * slopes[0][c], yy = own * slopes[1][c], xy = own * slopes[2][c];
        /* M_xy stands for both M_xy and M_yx, M_xz and M_yz too; ∂zz = −∂xx − ∂yy */
        const nrw_lanes twice = lanes_all(2.0f) * own;
        nrw_lanes xz = slopes[0][2], yz = slopes[2][2];
        if (c == 1) {
            xz = slopes[2][2];
            yz = slopes[1][2];
        } else if (c == 2) {
            xz = -slopes[0][0] - slopes[1][0];
            yz = -slopes[0][1] - slopes[1][1];
        }
        const nrw_lanes sums[NRW_N_TENSOR] = {xx, xy + xy, twice * xz, yy, twice * yz, -xx - yy};
        for (int k = 0; k < NRW_N_TENSOR; k++) {
            float *to = task->response[3 * k + c] + i;
            lanes_store(to, lanes_load(to) + sums[k]);
        }
    }
}

void NRW_KERNEL(nrw_far_response_)(const nrw_far_task *task)
{
    for (size_t node = 0; node < task->n_nodes; node++) {
        if (task->nodes[node].n_blocks > 1)
            continue;
        eight full[FULL];
        float polynomials[3][3][POLYNOMIAL];
        make_full(locals_of(task, node), full);
        for (int p = 0; p < 3; p++)
            gradient(full, p, polynomials[p]);
        const size_t first = (size_t)task->nodes[node].first * NRW_LANES;
        for (size_t i = first; i < first + NRW_LANES; i += NRW_WIDTH) {
            nrw_lanes powers[POLYNOMIAL], slopes[3][3];
            powers_of(task, node, i, powers);
            for (int p = 0; p < 3; p++)
                for (int axis = 0; axis < 3; axis++)
                    slopes[p][axis] = value(polynomials[p][axis], powers, POLYNOMIAL);
            add_responses(task, i, lanes_load(task->moment + i), (const nrw_lanes(*)[3])slopes);
        }
    }
}
