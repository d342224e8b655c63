/* Exact solutions for a sphere near a plane in bispherical coordinates.
 *
 * With v = x p/2η + Φ, where p and the three components of Φ are harmonic, each
 * is a series in n of cosh, sinh((n+½)ξ) times Legendre functions; no slip on
 * floor (ξ = 0) and sphere (ξ = α, cosh α = h/a) expresses all coefficients by
 * one sequence A_n, and continuity gives a three-term equation for A_n (O'Neill
 * 1964; Dean & O'Neill 1963). Force and torque follow from the monopole
 * and dipole of Φ, which reduce them to plain sums (docs/physics.md, eqs. 5.2-5.4). */
#include "mobility.h"

#include <math.h>

/* Terms decay as e^{-(2n+1)α}; this many for e^-42 at the smallest delta. */
enum { MAX_TERMS = 2048 };
static const double smallest_delta = 0x1p-14;

/* x coth x - 1 without cancellation near 0. */
static double x_coth_minus_1(double x)
{
    if (x < 0.1) {
        double x2 = x * x;
        return x2 * (1.0 / 3 -
                     x2 * (1.0 / 45 - x2 * (2.0 / 945 - x2 * (1.0 / 4725 - x2 * (2.0 / 93555)))));
    }
    return x / tanh(x) - 1.0;
}

/* cosh⁻¹(1 + delta) without cancellation. */
static double alpha_of_delta(double delta)
{
    return log1p(delta + sqrt(delta * (2.0 + delta)));
}

static int n_terms(double alpha)
{
    double n = 42.0 / (2.0 * alpha) + 10.0;
    return n < MAX_TERMS ? (int)n : MAX_TERMS;
}

/* The sequences that the two problems share, index n = 0...n_terms + 1. */
typedef struct bispherical {
    double alpha, sinh_alpha, coth_alpha, coth_excess; /* the last: coth α - 1 */
    int n_terms;
    double k[MAX_TERMS + 2];      /* (n+½) coth (n+½)α - coth α */
    double excess[MAX_TERMS + 2]; /* coth (n+½)α - 1 = 2/(e^{(2n+1)α} - 1) */
} bispherical;

static void bispherical_init(bispherical *b, double delta)
{
    double alpha = alpha_of_delta(delta);
    b->alpha = alpha;
    b->sinh_alpha = sqrt(delta * (2.0 + delta));
    b->coth_alpha = (1.0 + delta) / b->sinh_alpha;
    b->coth_excess = 2.0 / expm1(2.0 * alpha);
    b->n_terms = n_terms(alpha);
    double shared = x_coth_minus_1(alpha);
    for (int n = 0; n <= b->n_terms + 1; n++) {
        double x = (n + 0.5) * alpha;
        b->k[n] = (x_coth_minus_1(x) - shared) / alpha;
        b->excess[n] = 2.0 / expm1(2.0 * x);
    }
}

/* Right sides of the equation for A_n: translation along x with unit speed, and
 * rotation about y with unit rate and c = a sinh α = 1. */
static double rhs_translation(const bispherical *b, int n)
{
    return sqrt(2.0) * (2.0 * b->excess[n] - b->excess[n - 1] - b->excess[n + 1]);
}

static double rhs_rotation(const bispherical *b, int n)
{
    double m = 2.0 * n;
    double coths =
        ((m - 1) * (1.0 + b->excess[n - 1]) - (m + 3) * (1.0 + b->excess[n + 1])) / (m + 1);
    double rest = 4.0 * (2.0 * b->coth_alpha + m + 1) / ((m - 1) * (m + 3));
    return sqrt(2.0) * b->excess[n] * (coths - rest);
}

/* Solves for A_1...A_N (a[0] = a[N+1] = 0) of both problems by elimination. */
static void solve_sequences(const bispherical *b, double *translation, double *rotation)
{
    double upper[MAX_TERMS + 2] = {0}; /* eliminated super-diagonal */
    int last = b->n_terms;
    for (int n = 1; n <= last; n++) {
        double m = 2.0 * n;
        double low = (m - 1) * b->k[n - 1] - (m - 3) * b->k[n];
        double high = (m + 5) * b->k[n] - (m + 3) * b->k[n + 1];
        double below = low * (n - 1) / (m - 1);
        double above = high * (n + 2) / (m + 3);
        double pivot = -(low * n + high * (n + 1)) / (m + 1) - below * upper[n - 1];
        upper[n] = above / pivot;
        translation[n] = (rhs_translation(b, n) - below * translation[n - 1]) / pivot;
        rotation[n] = (rhs_rotation(b, n) - below * rotation[n - 1]) / pivot;
    }
    translation[last + 1] = rotation[last + 1] = 0;
    for (int n = last - 1; n >= 1; n--) {
        translation[n] -= upper[n] * translation[n + 1];
        rotation[n] -= upper[n] * rotation[n + 1];
    }
}

/* Part of E_n that the sequence gives: k_n [n(n-1)/(2n-1) A_{n-1} -
 * (n+1)(n+2)/(2n+3) A_{n+1}]. */
static double e_of_sequence(const bispherical *b, const double *a, int n)
{
    double m = 2.0 * n;
    double before = n > 0 ? n * (n - 1.0) / (m - 1) * a[n - 1] : 0;
    return b->k[n] * (before - (n + 1.0) * (n + 2.0) / (m + 3) * a[n + 1]);
}

static void sum_parallel(const bispherical *b, const double *translation, const double *rotation,
                         nrw_floor_resistance *r)
{
    const double root8 = 2.0 * sqrt(2.0);
    double force_t = 0, force_r = 0, torque_r = 0;
    for (int n = b->n_terms; n >= 0; n--) {
        double m = 2.0 * n;
        double den = (m - 1) * (m + 3);
        /* Order matters far from the floor, where coth α - 1 is all that is left at n = 0. */
        double poly = ((m + 1) * (2.0 * n * (n + 1.0) - 1) + 1.0) + b->coth_excess;
        force_t += root8 * b->excess[n] + e_of_sequence(b, translation, n);
        force_r += root8 * b->excess[n] * poly / den + e_of_sequence(b, rotation, n);
        torque_r += n * (n + 1.0) * rotation[n];
    }
    double s = b->sinh_alpha;
    r->Ft = sqrt(2.0) / 3.0 * s * force_t;
    r->Fr = -sqrt(2.0) / 3.0 * s * s * force_r;
    r->Tt = 0.75 * r->Fr; /* reciprocal theorem */
    /* Torque about the point of contact less height × force. */
    r->Tr = -s * s * s * sqrt(2.0) * (0.5 * torque_r + 0.25 * b->coth_alpha * force_r);
}

double nrw_floor_perpendicular_exact(double height_over_radius)
{
    /* Brenner 1961, with the exponentials divided out. */
    double alpha = alpha_of_delta(height_over_radius - 1.0);
    double s = sinh(alpha), s2 = sinh(2.0 * alpha), sum = 0;
    int last = (int)(42.0 / (2.0 * alpha)) + 10;
    for (int n = last; n >= 1; n--) {
        double m = 2.0 * n, x = (m + 1) * alpha;
        double decay = exp(-x);
        double half = -0.5 * expm1(-x); /* e^{-x/2} sinh(x/2) */
        double numerator = -expm1(-2.0 * x) + (m + 1) * s2 * decay;
        double denominator = 4.0 * half * half - (m + 1) * (m + 1) * s * s * decay;
        sum += n * (n + 1.0) / ((m - 1) * (m + 3)) * (numerator / denominator - 1.0);
    }
    return 4.0 / 3.0 * s * sum;
}

double nrw_floor_spin_exact(double height_over_radius)
{
    const double zeta_3 = 1.2020569031595942;
    double delta = height_over_radius - 1.0;
    if (delta <= 0)
        return zeta_3;
    if (delta < 1e-8) /* too many terms; the next ones of the expansion are δ² ln δ */
        return nrw_floor_resistance_lubrication(delta).Tz;
    double alpha = alpha_of_delta(delta);
    double s = sinh(alpha), sum = 0;
    int last = (int)(42.0 / (3.0 * alpha)) + 3;
    for (int n = last; n >= 1; n--) {
        double ratio = s / sinh(n * alpha);
        sum += ratio * ratio * ratio;
    }
    return sum;
}

nrw_floor_resistance nrw_floor_resistance_lubrication(double delta)
{
    double ln = log(delta);
    nrw_floor_resistance r;
    r.Ft = -8.0 / 15 * ln + 0.9588;
    r.Tt = -1.0 / 10 * ln - 0.1895;
    r.Fr = 4.0 / 3 * r.Tt;
    r.Tr = -2.0 / 5 * ln + 0.3817;
    r.Fz = 1.0 / delta - 1.0 / 5 * ln + 0.971264;
    r.Tz = 1.2020569031595942 + 0.5 * delta * ln + 0.444935 * delta;
    return r;
}

/* Below the smallest delta: the value there plus the growth of the leading terms. */
static nrw_floor_resistance continued(double delta)
{
    nrw_floor_resistance at = nrw_floor_resistance_exact(smallest_delta);
    nrw_floor_resistance from = nrw_floor_resistance_lubrication(smallest_delta);
    nrw_floor_resistance to = nrw_floor_resistance_lubrication(delta);
    return (nrw_floor_resistance){.Ft = at.Ft + (to.Ft - from.Ft),
                                  .Tt = at.Tt + (to.Tt - from.Tt),
                                  .Fr = at.Fr + (to.Fr - from.Fr),
                                  .Tr = at.Tr + (to.Tr - from.Tr),
                                  .Fz = at.Fz + (to.Fz - from.Fz),
                                  .Tz = at.Tz + (to.Tz - from.Tz)};
}

nrw_floor_resistance nrw_floor_resistance_exact(double delta)
{
    if (delta < smallest_delta)
        return continued(delta);
    nrw_floor_resistance r;
    bispherical b = {0};
    double translation[MAX_TERMS + 2] = {0}, rotation[MAX_TERMS + 2] = {0};
    bispherical_init(&b, delta);
    solve_sequences(&b, translation, rotation);
    sum_parallel(&b, translation, rotation, &r);
    r.Fz = nrw_floor_perpendicular_exact(1.0 + delta);
    r.Tz = nrw_floor_spin_exact(1.0 + delta);
    return r;
}
