#include "two_spheres.h"

#include <math.h>
#include <string.h>

/* Multipoles of order n after k reflections, and where their tail is taken over by its
 * law c/k 2^k. */
enum { ORDERS = 240 };

typedef struct multipoles {
    double p[ORDERS + 2][ORDERS + 1], q[ORDERS + 2][ORDERS + 1], v[ORDERS + 2][ORDERS + 1];
} multipoles;

static multipoles m;

static double after(const double (*series)[ORDERS + 1], int n, int k)
{
    return k < 0 ? 0.0 : series[n][k];
}

static void reflect(int n, int k)
{
    double p = 0.0, q = 0.0, v = 0.0;
    for (int s = 1; s <= k - n + 1; s++) {
        const double binomial = exp(lgamma(n + s + 1.0) - lgamma(n + 2.0) - lgamma(s));
        const double from_p = (2.0 * n + 1.0) / (2.0 * (n + 1.0)) *
                              (3.0 * (n + s) - (n * s + 1.0) * (2.0 * n * s - s - n + 2.0)) /
                              (s * (n + s) * (2.0 * s - 1.0));
        const double squares = 4.0 * n * n - 1.0;
        p += binomial *
             (from_p * after(m.p, s, k - s - n + 1) +
              n * (2.0 * n - 1.0) / (2.0 * (n + 1.0)) * after(m.p, s, k - s - n - 1) +
              n * squares / (2.0 * (n + 1.0) * (2.0 * s + 1.0)) * after(m.v, s, k - s - n - 1) -
              2.0 * squares / (3.0 * (n + 1.0)) * after(m.q, s, k - s - n));
        q += binomial * (s / (n + 1.0) * after(m.q, s, k - s - n - 1) -
                         1.5 / (n * s * (n + 1.0)) * after(m.p, s, k - s - n));
        v += binomial * after(m.p, s, k - s - n - 1);
    }
    m.p[n][k] = p;
    m.q[n][k] = q;
    m.v[n][k] = p + 2.0 * n / ((n + 1.0) * (2.0 * n + 3.0)) * v;
}

/* All multipoles from a sphere that moves (or turns) alone. */
static void make(int turns)
{
    memset(&m, 0, sizeof m);
    if (turns)
        m.q[1][0] = 1.0;
    else
        m.p[1][0] = m.v[1][0] = 1.0;
    for (int k = 1; k <= ORDERS; k++)
        for (int n = 1; n <= k + 1; n++)
            reflect(n, k);
}

static double sum(const double (*series)[ORDERS + 1], double r_over_a)
{
    double total = 0.0, power = 1.0;
    for (int k = 0; k <= ORDERS; k++, power /= r_over_a)
        total += series[1][k] * power;
    const double even = series[1][ORDERS] * ORDERS / exp2(ORDERS);
    const double odd = series[1][ORDERS - 1] * (ORDERS - 1) / exp2(ORDERS - 1);
    double share = pow(2.0 / r_over_a, ORDERS + 1);
    for (int k = ORDERS + 1; share > 1e-12; k++, share *= 2.0 / r_over_a)
        total += (k % 2 ? odd : even) * share / k;
    return total;
}

two_spheres two_spheres_of(double gap_over_radius)
{
    const double r = 2.0 + gap_over_radius;
    two_spheres result;
    make(0);
    result.move = sum(m.p, r);
    result.slide = -sum(m.q, r);
    make(1);
    result.turn = -sum(m.p, r);
    result.spin = sum(m.q, r);
    return result;
}

void two_spheres_free(double gap_over_radius, double *spin, double *orbit)
{
    const two_spheres r = two_spheres_of(gap_over_radius);
    const double speed = r.turn / r.move; /* U/aΩ */
    *spin = 1.0 / (r.spin - r.slide * speed);
    *orbit = *spin * speed / (1.0 + 0.5 * gap_over_radius);
}
