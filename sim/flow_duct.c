#include "flow_duct.h"

#include <math.h>
#include <stddef.h>

#include "units.h"

/* Odd terms of a profile at most; the tail is then below 1/(4 (2·64)²) of the
 * series' scale. */
enum { MAX_TERMS = 64 };
/* A term this small beside the first one ends a series. */
#define SMALL_TERM 1e-9

double nrw_tube_resistance(double length_um, double radius_um, double viscosity_Pa_s)
{
    return 8.0 * viscosity_Pa_s * length_um / (NRW_PI * pow(radius_um, 4.0));
}

double nrw_plates_resistance(double length_um, double width_um, double depth_um,
                             double viscosity_Pa_s)
{
    return 12.0 * viscosity_Pa_s * length_um / (width_um * pow(depth_um, 3.0));
}

double nrw_duct_factor(double aspect)
{
    /* Σ 1/n⁵ over odd n is 31 ζ(5)/32; what tanh takes off falls as e^{-nπ aspect}. */
    const double all = 31.0 / 32.0 * 1.0369277551433699263;
    double less = 0.0;
    for (int n = 13; n >= 1; n -= 2)
        less += 2.0 / (exp(n * NRW_PI * aspect) + 1.0) / pow(n, 5.0);
    return 1.0 - 192.0 / (pow(NRW_PI, 5.0) * aspect) * (all - less);
}

double nrw_duct_conductance_um4(double width_um, double depth_um)
{
    double wide = fmax(width_um, depth_um), thin = fmin(width_um, depth_um);
    return wide * thin * thin * thin / 12.0 * nrw_duct_factor(wide / thin);
}

double nrw_duct_resistance(double length_um, double width_um, double depth_um,
                           double viscosity_Pa_s)
{
    return viscosity_Pa_s * length_um / nrw_duct_conductance_um4(width_um, depth_um);
}

/* ∫ ds/C over a stretch in which the width changes little: eight points. */
static double stretch(double length, double from, double to, double depth)
{
    static const double at[4] = {0.18343464249564980, 0.52553240991632899, 0.79666647741362674,
                                 0.96028985649753623};
    static const double weight[4] = {0.36268378337836198, 0.31370664587788729, 0.22238103445337447,
                                     0.10122853629037626};
    double sum = 0.0, middle = 0.5 * (from + to), half = 0.5 * (to - from);
    for (int i = 0; i < 4; i++)
        sum += weight[i] * (1.0 / nrw_duct_conductance_um4(middle + half * at[i], depth) +
                            1.0 / nrw_duct_conductance_um4(middle - half * at[i], depth));
    return 0.5 * length * sum;
}

double nrw_duct_taper_resistance(double length_um, double width_from_um, double width_to_um,
                                 double depth_um, double viscosity_Pa_s)
{
    double ratio = width_to_um / width_from_um;
    int n = 1 + (int)(fabs(log(ratio)) / log(2.0));
    double sum = 0.0, from = width_from_um, before = 0.0;
    for (int i = 1; i <= n; i++) {
        double to = i == n ? width_to_um : width_from_um * pow(ratio, (double)i / n);
        double share = i == n ? 1.0 : (to - width_from_um) / (width_to_um - width_from_um);
        sum += stretch(length_um * (share - before), from, to, depth_um);
        from = to;
        before = share;
    }
    return viscosity_Pa_s * sum;
}

/* --- profiles ------------------------------------------------------------------ */

/* One term after the other of the series over odd n across the shorter side `thin`
 * (t from one wall), with the decay along the longer side `wide` (s from its
 * middle): cosh(nπs/thin)/cosh(nπ wide/2thin) by its two exponentials, and the same
 * with sinh. */
typedef struct series {
    double decay[2], decay_step[2]; /* e^{-nπ(wide/2 -+ s)/thin} */
    double both, both_step;         /* e^{-nπ wide/thin} */
    int n;
} series;

static series series_start(double thin, double wide, double s)
{
    double k = NRW_PI / thin;
    series at = {.n = 1};
    for (int side = 0; side < 2; side++) {
        at.decay[side] = exp(-k * (0.5 * wide + (side ? s : -s)));
        at.decay_step[side] = at.decay[side] * at.decay[side];
    }
    at.both = exp(-k * wide);
    at.both_step = at.both * at.both;
    return at;
}

static void series_next(series *at)
{
    at->decay[0] *= at->decay_step[0];
    at->decay[1] *= at->decay_step[1];
    at->both *= at->both_step;
    at->n += 2;
}

static double series_cosh(const series *at)
{
    return (at->decay[0] + at->decay[1]) / (1.0 + at->both);
}

static double series_sinh(const series *at)
{
    return (at->decay[0] - at->decay[1]) / (1.0 + at->both);
}

/* Velocity over G/η at t across and s along; slopes by t and s. */
static double profile(double thin, double wide, double t, double s, double slope[2])
{
    double angle = NRW_PI * t / thin, k = NRW_PI / thin;
    /* sin nθ and cos nθ go from one odd n to the next by a turn of 2θ. */
    double sine = sin(angle), cosine = cos(angle);
    double turn_sine = 2.0 * sine * cosine, turn_cosine = 1.0 - 2.0 * sine * sine;
    double sum = 0.0, by_t = 0.0, by_s = 0.0;
    series at = series_start(thin, wide, s);
    for (int term = 0; term < MAX_TERMS; term++) {
        double n = at.n, cube = 1.0 / (n * n * n), c = series_cosh(&at);
        sum += cube * c * sine;
        by_t += n * cube * c * cosine;
        by_s += n * cube * series_sinh(&at) * sine;
        if (n * cube * c < SMALL_TERM)
            break;
        double next = sine * turn_cosine + cosine * turn_sine;
        cosine = cosine * turn_cosine - sine * turn_sine;
        sine = next;
        series_next(&at);
    }
    double scale = 4.0 * thin * thin / (NRW_PI * NRW_PI * NRW_PI);
    slope[0] = 0.5 * thin - t - scale * k * by_t;
    slope[1] = -scale * k * by_s;
    return 0.5 * t * (thin - t) - scale * sum;
}

double nrw_duct_profile_um2(double width_um, double depth_um, double y_um, double z_um,
                            double slope[2])
{
    double slopes[2] = {0.0, 0.0}, value = 0.0;
    if (fabs(y_um) < 0.5 * width_um && z_um > 0.0 && z_um < depth_um) {
        if (depth_um <= width_um) {
            double of[2];
            value = profile(depth_um, width_um, z_um, y_um, of);
            slopes[0] = of[1];
            slopes[1] = of[0];
        } else {
            value =
                profile(width_um, depth_um, y_um + 0.5 * width_um, z_um - 0.5 * depth_um, slopes);
        }
    }
    if (slope) {
        slope[0] = slopes[0];
        slope[1] = slopes[1];
    }
    return fmax(value, 0.0);
}

/* Depth is the shorter side: Σ of ∫ sin(nπz/h) dz = 2h/(nπ). */
static double integral_of_shallow(double width, double depth, double y)
{
    double sum = 0.0;
    series at = series_start(depth, width, y);
    for (int term = 0; term < MAX_TERMS; term++) {
        double n = at.n, part = series_cosh(&at) / (n * n * n * n);
        sum += part;
        if (part < SMALL_TERM)
            break;
        series_next(&at);
    }
    double cube = depth * depth * depth;
    return cube / 12.0 - 8.0 * cube / pow(NRW_PI, 4.0) * sum;
}

/* Depth is the longer side: ∫ cosh = (2/k) sinh, so tanh(nπ depth/2width). */
static double integral_of_deep(double width, double depth, double y)
{
    double t = y + 0.5 * width, sum = 0.0;
    for (int term = 0; term < MAX_TERMS; term++) {
        double n = 2 * term + 1, part = 1.0 / (n * n * n * n);
        sum += part * sin(n * NRW_PI * t / width) * tanh(n * NRW_PI * depth / (2.0 * width));
        if (part < SMALL_TERM)
            break;
    }
    return 0.5 * t * (width - t) * depth - 8.0 * width * width * width / pow(NRW_PI, 4.0) * sum;
}

double nrw_duct_depth_integral_um3(double width_um, double depth_um, double y_um)
{
    if (!(fabs(y_um) < 0.5 * width_um))
        return 0.0;
    double value = depth_um <= width_um ? integral_of_shallow(width_um, depth_um, y_um)
                                        : integral_of_deep(width_um, depth_um, y_um);
    return fmax(value, 0.0);
}

/* --- figures --------------------------------------------------------------------- */

double nrw_tube_centre_velocity_um_s(double flow_um3_s, double radius_um)
{
    return 2.0 * flow_um3_s / (NRW_PI * radius_um * radius_um);
}

double nrw_tube_wall_shear_per_s(double flow_um3_s, double radius_um)
{
    return 4.0 * flow_um3_s / (NRW_PI * pow(radius_um, 3.0));
}

double nrw_plates_wall_shear_per_s(double flow_um3_s, double width_um, double depth_um)
{
    return 6.0 * flow_um3_s / (width_um * depth_um * depth_um);
}

double nrw_reynolds_number(double length_um, double velocity_um_s, double density_kg_m3,
                           double viscosity_Pa_s)
{
    return density_kg_m3 * (velocity_um_s * 1e-6) * (length_um * 1e-6) / viscosity_Pa_s;
}

double nrw_sphere_relaxation_s(double radius_um, double density_kg_m3, double viscosity_Pa_s)
{
    double radius_m = radius_um * 1e-6;
    return 2.0 * density_kg_m3 * radius_m * radius_m / (9.0 * viscosity_Pa_s);
}

double nrw_womersley_number(double depth_um, double frequency_Hz, double density_kg_m3,
                            double viscosity_Pa_s)
{
    return 0.5 * depth_um * 1e-6 *
           sqrt(2.0 * NRW_PI * frequency_Hz * density_kg_m3 / viscosity_Pa_s);
}
