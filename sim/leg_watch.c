#include "leg_watch.h"

#include <math.h>

/* A swarm's speed from one frame to the next is noisy and swings with a wobbling
 * heading; over 2 s it is what carries the swarm. */
#define SPEED_OVER_S 2.0
#define FRAME_TOLERANCE_S 1e-9

void nrw_leg_watch_begin(nrw_leg_watch *watch, nrw_world *world)
{
    *watch = (nrw_leg_watch){.seen = {NAN, NAN, NAN, NAN, NAN, NAN},
                             .from_s = NAN,
                             .from_x_um = NAN,
                             .from_y_um = NAN,
                             .overlap_before = world->largest_overlap};
    world->largest_overlap = 0.0;
}

/* Share of the area that the particles cover in the ellipse of equal second moments,
 * which is that of centres: a diameter is added to both axes. */
static double area_fraction(const nrw_world *world, const nrw_morphology *seen)
{
    const double d = world->body.diameter_um;
    return (double)world->n * d * d / ((seen->major_um + d) * (seen->minor_um + d));
}

static void note_speed(nrw_leg_watch *watch, double t, const nrw_morphology *seen)
{
    const double passed = t - watch->from_s;
    if (passed >= SPEED_OVER_S - FRAME_TOLERANCE_S) {
        const double way = hypot(seen->x_um - watch->from_x_um, seen->y_um - watch->from_y_um);
        watch->seen.fastest_um_s = fmax(watch->seen.fastest_um_s, way / passed);
    } else if (passed >= 0.0) {
        return;
    }
    watch->from_s = t;
    watch->from_x_um = seen->x_um;
    watch->from_y_um = seen->y_um;
}

void nrw_leg_watch_frame(nrw_leg_watch *watch, const nrw_world *world, const nrw_morphology *seen)
{
    if (world->n == 0)
        return;
    double highest = -INFINITY;
    for (size_t i = 0; i < world->n; i++)
        highest = fmax(highest, world->z[i] + (double)world->radius[i]);
    nrw_leg_seen *all = &watch->seen;
    all->highest_um = fmax(all->highest_um, highest);
    all->area_fraction = fmax(all->area_fraction, area_fraction(world, seen));
    all->rear_um = fmin(all->rear_um, seen->tail_um);
    all->front_um = fmax(all->front_um, seen->front_um);
    note_speed(watch, world->time_s, seen);
}

nrw_leg_seen nrw_leg_watch_end(nrw_leg_watch *watch, nrw_world *world)
{
    watch->seen.largest_overlap = world->largest_overlap;
    world->largest_overlap = fmax(world->largest_overlap, watch->overlap_before);
    return watch->seen;
}

/* fmax and fmin take the number beside a NAN. */
nrw_leg_seen nrw_leg_seen_merge(nrw_leg_seen a, nrw_leg_seen b)
{
    return (nrw_leg_seen){.fastest_um_s = fmax(a.fastest_um_s, b.fastest_um_s),
                          .highest_um = fmax(a.highest_um, b.highest_um),
                          .area_fraction = fmax(a.area_fraction, b.area_fraction),
                          .rear_um = fmin(a.rear_um, b.rear_um),
                          .front_um = fmax(a.front_um, b.front_um),
                          .largest_overlap = fmax(a.largest_overlap, b.largest_overlap)};
}
