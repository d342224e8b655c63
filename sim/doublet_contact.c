/* Contacts of doublets: lobe against lobe, walls, floor and ceiling, all solved
 * together as unilateral springs on rigid bodies.
 *
 * Implicit Euler as in contact.h: overlaps are those of the places where the bodies
 * would go without contacts, forces those at the end of the step. Each spring is
 * solved exactly in turn with the others held (projected Gauss-Seidel; Cottle, Pang &
 * Stone 1992), in the order of the list, until no body moves. One after the other,
 * so that the bits don't depend on threads. */
#include <math.h>

#include "doublet_world.h"
#include "particle.h"

/* Lobes that come closer than this share of a lobe's radius are in the solve; what
 * contacts move must stay well below. */
#define MARGIN 0.5
/* Bodies are listed as near within this share of a diameter beyond touch, until one has
 * moved by the second against the mean: two steps of MOVE_MAX and the margin are left. */
#define SKIN 0.7
#define MOVED_MAX 0.1
/* Farther than so many screening lengths the floor's double layer is not felt. */
#define LAYER_REACH 30.0
/* A floor gap that is given, and roughness, are springs this much stiffer. */
#define HARD 100.0
/* The distance grid's slopes exceed 1 by less than this makes of a step, µm. */
#define WALL_ERROR_UM 0.02
/* Sweeps go on until none moves a lobe by more than this makes of the step, in
 * diameters a second. */
#define SWEEP_TOLERANCE 0.5

enum { SWEEPS_MOST = 200 };

/* --- the list ------------------------------------------------------------------ */

static double mean(size_t n, const double *values)
{
    double sum = 0.0;
    for (size_t i = 0; i < n; i++)
        sum += values[i];
    return sum / (double)n;
}

static bool is_old(const nrw_world *world)
{
    const nrw_doublets *d = world->doublets;
    const size_t n = world->n;
    const double mx = mean(n, world->x) - mean(n, d->ref_x);
    const double my = mean(n, world->y) - mean(n, d->ref_y);
    const double mz = mean(n, world->z) - mean(n, d->ref_z);
    const double limit = MOVED_MAX * world->body.diameter_um;
    bool old = !d->listed;
    for (size_t i = 0; i < n && !old; i++) {
        const double dx = world->x[i] - d->ref_x[i] - mx, dy = world->y[i] - d->ref_y[i] - my;
        const double dz = world->z[i] - d->ref_z[i] - mz;
        old = dx * dx + dy * dy + dz * dz > limit * limit;
    }
    return old;
}

static bool add_pairs(nrw_world *world, uint32_t i, double reach)
{
    nrw_doublets *d = world->doublets;
    nrw_cell_range ranges[NRW_CELL_BLOCK];
    const size_t n = nrw_cell_grid_around(&d->grid, world->x[i], world->y[i], world->z[i], ranges);
    for (size_t r = 0; r < n; r++)
        for (uint32_t item = ranges[r].begin; item < ranges[r].end; item++) {
            const uint32_t j = d->grid.items[item];
            const double dx = world->x[i] - world->x[j], dy = world->y[i] - world->y[j];
            const double dz = world->z[i] - world->z[j];
            if (j <= i || dx * dx + dy * dy + dz * dz > reach * reach)
                continue;
            if (d->n_pairs == d->pairs_capacity)
                return false;
            d->pairs[d->n_pairs][0] = i;
            d->pairs[d->n_pairs++][1] = j;
        }
    return true;
}

bool nrw_doublets_list(nrw_world *world)
{
    nrw_doublets *d = world->doublets;
    const size_t n = world->n;
    if (!is_old(world))
        return true;
    const nrw_doublet_shape *shape = &d->medium.shape;
    const double reach = 2.0 * (shape->lobe + shape->half) * (double)world->largest_radius +
                         SKIN * world->body.diameter_um;
    nrw_cell_grid_sort(&d->grid, n, world->x, world->y, world->z, reach);
    d->n_pairs = 0;
    for (uint32_t i = 0; i < n; i++) {
        if (!add_pairs(world, i, reach))
            return false;
        d->ref_x[i] = world->x[i];
        d->ref_y[i] = world->y[i];
        d->ref_z[i] = world->z[i];
    }
    d->listed = true;
    return true;
}

/* --- pairs of lobes -------------------------------------------------------------- */

typedef struct lobe_pair {
    nrw_vec3 n;          /* from the lobe of j to that of i */
    double touch, apart; /* µm */
    nrw_vec3 arm_i, arm_j;
} lobe_pair;

/* Lobes a of i and b of j (0, 1) at given middles and axes; false: farther apart than
 * touch by more than `within`. */
static bool lobes_meet(const nrw_doublets *d, const uint32_t pair[2], const nrw_vec3 middle[2],
                       const nrw_vec3 axis[2], int a, int b, double within, lobe_pair *meet)
{
    const nrw_doublet_shape *shape = &d->medium.shape;
    const double ri = d->bodies[pair[0]].radius, rj = d->bodies[pair[1]].radius;
    meet->arm_i = nrw_vec3_scale(axis[0], (a ? -1.0 : 1.0) * shape->half * ri);
    meet->arm_j = nrw_vec3_scale(axis[1], (b ? -1.0 : 1.0) * shape->half * rj);
    const nrw_vec3 r = {middle[0].x + meet->arm_i.x - middle[1].x - meet->arm_j.x,
                        middle[0].y + meet->arm_i.y - middle[1].y - meet->arm_j.y,
                        middle[0].z + meet->arm_i.z - middle[1].z - meet->arm_j.z};
    meet->touch = shape->lobe * (ri + rj);
    const double reach = meet->touch + within, r2 = nrw_vec3_dot(r, r);
    if (r2 > reach * reach)
        return false;
    meet->apart = sqrt(fmax(r2, 1e-24));
    meet->n = nrw_vec3_scale(r, 1.0 / meet->apart);
    return true;
}

/* Middles and axes of a listed pair, now. */
static void present(const nrw_world *world, const uint32_t pair[2], nrw_vec3 middle[2],
                    nrw_vec3 axis[2])
{
    for (int k = 0; k < 2; k++) {
        const uint32_t i = pair[k];
        middle[k] = (nrw_vec3){world->x[i], world->y[i], world->z[i]};
        axis[k] = world->doublets->axes[i];
    }
}

double nrw_doublets_overlap(const nrw_world *world)
{
    const nrw_doublets *d = world->doublets;
    double largest = 0.0;
    for (size_t p = 0; p < d->n_pairs; p++) {
        nrw_vec3 middle[2], axis[2];
        present(world, d->pairs[p], middle, axis);
        for (int k = 0; k < 4; k++) {
            lobe_pair meet;
            if (lobes_meet(d, d->pairs[p], middle, axis, k / 2, k % 2, 0.0, &meet))
                largest = fmax(largest, 1.0 - meet.apart / meet.touch);
        }
    }
    return largest;
}

/* --- brakes and friction ----------------------------------------------------------- */

/* (5.9) for lobes, as nrw_brake_law: value at touch, the distance beyond touch where it
 * ends, and its bend between. */
typedef struct brake_law {
    double contact, reach_um, bend;
} brake_law;

static brake_law brake_of(const nrw_world *world, double size2)
{
    const nrw_doublet_shape *shape = &world->doublets->medium.shape;
    const double d = world->body.diameter_um * shape->lobe, a = 0.5 * d;
    brake_law law = {0.0, 0.0, 0.0};
    if (!(world->brake_factor > 0.0) || !(size2 > 0.0))
        return law;
    /* half of the moment is in each lobe; coinciding contacts share the force */
    const double press = 0.15 * 0.25 * size2 / (d * d * d * d) / shape->contact_share;
    /* the double layer of lobes is that of spheres times the ratio of their sizes */
    const double gap = nrw_contact_gap_um(world->scenario, press / shape->lobe) / a;
    const double excess = nrw_contact_brake(gap), end = exp(-4.0 * 0.32);
    if (!(excess > 0.0))
        return law;
    law.contact = world->brake_factor * shape->contact_share * excess;
    law.reach_um = (end - gap) * a;
    law.bend = 0.56 * exp(2.4 * excess);
    return law;
}

static double brake_at(const brake_law *law, const lobe_pair *meet)
{
    const double x = fmin(1.0, fmax(0.0, meet->apart - meet->touch) / law->reach_um);
    return law->contact * (1.0 - x) / (1.0 + law->bend * x);
}

void nrw_doublets_brake(nrw_world *world, const nrw_excitation *excitation)
{
    nrw_doublets *d = world->doublets;
    const brake_law law = brake_of(world, excitation->size2);
    const double slide = world->scenario->model.contact_sliding ? 1.0 : 0.0;
    for (size_t i = 0; i < world->n; i++)
        d->bodies[i].brake = (nrw_sym3){0};
    for (size_t p = 0; law.contact > 0.0 && p < d->n_pairs; p++) {
        nrw_vec3 middle[2], axis[2];
        present(world, d->pairs[p], middle, axis);
        for (int k = 0; k < 4; k++) {
            lobe_pair meet;
            if (!lobes_meet(d, d->pairs[p], middle, axis, k / 2, k % 2, law.reach_um, &meet))
                continue;
            const double a = 0.5 * meet.touch, e = brake_at(&law, &meet);
            const double drag = 8.0 * NRW_PI * world->body.viscosity_Pa_s * a * a * a * e;
            const nrw_sym3 nn = nrw_sym3_outer(meet.n);
            const nrw_vec3 *va = &d->moved[2 * d->pairs[p][0] + (uint32_t)k / 2];
            const nrw_vec3 *vb = &d->moved[2 * d->pairs[p][1] + (uint32_t)k % 2];
            const nrw_vec3 slid = {va->x - vb->x, va->y - vb->y, va->z - vb->z};
            const nrw_vec3 torque =
                nrw_vec3_scale(nrw_vec3_cross(meet.n, slid), slide * 0.5 * drag / a);
            for (int side = 0; side < 2; side++) {
                nrw_doublet_body *body = &d->bodies[d->pairs[p][side]];
                nrw_sym3 *brake = &body->brake;
                body->torque = nrw_vec3_add(body->torque, torque);
                *brake = nrw_sym3_add_scaled(*brake, nn, -drag);
                brake->xx += drag;
                brake->yy += drag;
                brake->zz += drag;
            }
        }
    }
}

void nrw_doublets_rub(nrw_world *world, const nrw_excitation *excitation)
{
    nrw_doublets *d = world->doublets;
    const brake_law law = brake_of(world, excitation->size2);
    for (size_t p = 0; law.contact > 0.0 && p < d->n_pairs; p++) {
        nrw_vec3 middle[2], axis[2];
        present(world, d->pairs[p], middle, axis);
        nrw_doublet_body *i = &d->bodies[d->pairs[p][0]], *j = &d->bodies[d->pairs[p][1]];
        for (int k = 0; k < 4; k++) {
            lobe_pair meet;
            if (!lobes_meet(d, d->pairs[p], middle, axis, k / 2, k % 2, law.reach_um, &meet))
                continue;
            const double a = 0.5 * meet.touch, e = brake_at(&law, &meet);
            /* n points to i: the other way round from (5.10), so plus */
            const nrw_vec3 f =
                nrw_vec3_scale(nrw_vec3_cross(nrw_vec3_add(i->spin, j->spin), meet.n),
                               4.0 * NRW_PI * world->body.viscosity_Pa_s * a * a * e);
            i->force = nrw_vec3_add(i->force, f);
            i->torque = nrw_vec3_add(i->torque, nrw_vec3_cross(meet.arm_i, f));
            j->force = nrw_vec3_add(j->force, nrw_vec3_scale(f, -1.0));
            j->torque = nrw_vec3_add(j->torque, nrw_vec3_cross(f, meet.arm_j));
        }
    }
}

/* --- finding contacts -------------------------------------------------------------- */

static void direction(nrw_vec3 n, nrw_vec3 arm, double jacobian[6])
{
    const nrw_vec3 turn = nrw_vec3_cross(arm, n);
    const double values[6] = {n.x, n.y, n.z, turn.x, turn.y, turn.z};
    for (int k = 0; k < 6; k++)
        jacobian[k] = values[k];
}

/* w = G J, and J·w. */
static double answer(const nrw_mat6 *give, const double j[6], double w[6])
{
    double sum = 0.0;
    for (int r = 0; r < 6; r++) {
        w[r] = 0.0;
        for (int k = 0; k < 6; k++)
            w[r] += give->at[r][k] * j[k];
        sum += j[r] * w[r];
    }
    return sum;
}

/* A new contact with its answer computed; NULL: no room. */
static nrw_doublet_contact *new_contact(nrw_doublets *d, uint32_t i, nrw_vec3 n, nrw_vec3 arm,
                                        double *moves)
{
    if (d->n_contacts == d->contacts_capacity)
        return NULL;
    nrw_doublet_contact *c = &d->contacts[d->n_contacts++];
    c->i = i;
    c->j = NRW_DOUBLET_ALONE;
    c->force = c->least = 0.0;
    direction(n, arm, c->ji);
    *moves = answer(&d->bodies[i].give, c->ji, c->wi);
    return c;
}

static void set_spring(nrw_doublet_contact *c, double overlap, double stiffness, double moves)
{
    c->overlap = overlap;
    c->stiffness = stiffness;
    c->moves = moves;
    c->give = 1.0 / (1.0 + stiffness * moves);
}

/* How a lobe of body i went from the step's beginning to its predicted place. */
static nrw_vec3 went(const nrw_doublets *d, uint32_t i, int lobe, nrw_vec3 arm)
{
    const nrw_vec3 at = nrw_vec3_add(d->bodies[i].middle, arm);
    const size_t k = 2 * (size_t)i + (size_t)lobe;
    return (nrw_vec3){at.x - d->lobe_x[k], at.y - d->lobe_y[k], at.z - d->lobe_z[k]};
}

/* By how much two lobes overlapped at the step's beginning: the first guess of their
 * force, as what carried the load then. */
static double start_overlap(const nrw_doublets *d, const uint32_t pair[2], int a, int b,
                            double touch)
{
    const size_t i = 2 * (size_t)pair[0] + (size_t)a, j = 2 * (size_t)pair[1] + (size_t)b;
    const nrw_vec3 r = {d->lobe_x[i] - d->lobe_x[j], d->lobe_y[i] - d->lobe_y[j],
                        d->lobe_z[i] - d->lobe_z[j]};
    return fmax(0.0, touch - nrw_vec3_norm(r));
}

/* Drag against sliding past each other in the two directions across the line of lobes a
 * and b: the part of (5.10) that is not of the spins, on the lobes' centres. */
static bool add_slide(nrw_doublets *d, const uint32_t pair[2], int a, int b, const lobe_pair *meet,
                      double drag_per_step, double h)
{
    const nrw_vec3 x = {1.0, 0.0, 0.0}, y = {0.0, 1.0, 0.0};
    nrw_vec3 t[2];
    t[0] = nrw_vec3_cross(meet->n, fabs(meet->n.x) < 0.8 ? x : y);
    t[0] = nrw_vec3_scale(t[0], 1.0 / nrw_vec3_norm(t[0]));
    t[1] = nrw_vec3_cross(meet->n, t[0]);
    const nrw_vec3 slid = nrw_vec3_add(went(d, pair[0], a, meet->arm_i),
                                       nrw_vec3_scale(went(d, pair[1], b, meet->arm_j), -1.0));
    const nrw_vec3 before = nrw_vec3_add(d->moved[2 * pair[0] + (uint32_t)a],
                                         nrw_vec3_scale(d->moved[2 * pair[1] + (uint32_t)b], -1.0));
    for (int k = 0; k < 2; k++) {
        double moves;
        nrw_doublet_contact *c = new_contact(d, pair[0], t[k], meet->arm_i, &moves);
        if (!c)
            return false;
        c->j = pair[1];
        c->least = -INFINITY;
        direction(nrw_vec3_scale(t[k], -1.0), meet->arm_j, c->jj);
        moves += answer(&d->bodies[pair[1]].give, c->jj, c->wj);
        set_spring(c, -nrw_vec3_dot(slid, t[k]), drag_per_step, moves);
        c->force = -drag_per_step * h * nrw_vec3_dot(before, t[k]);
    }
    return true;
}

static bool add_lobe_contacts(nrw_world *world, const brake_law *law, double h)
{
    nrw_doublets *d = world->doublets;
    const nrw_doublet_shape *shape = &d->medium.shape;
    const double k = world->scenario->model.contact_stiffness_pN_um * shape->contact_share;
    const double margin = MARGIN * shape->lobe * world->body.radius_um;
    const bool slide = world->scenario->model.contact_sliding && law->contact > 0.0;
    for (size_t p = 0; p < d->n_pairs; p++) {
        const uint32_t i = d->pairs[p][0], j = d->pairs[p][1];
        const nrw_vec3 middle[2] = {d->bodies[i].middle, d->bodies[j].middle};
        const nrw_vec3 axis[2] = {d->bodies[i].axis, d->bodies[j].axis};
        for (int which = 0; which < 4; which++) {
            lobe_pair meet;
            if (!lobes_meet(d, d->pairs[p], middle, axis, which / 2, which % 2, margin, &meet))
                continue;
            double moves;
            nrw_doublet_contact *c = new_contact(d, i, meet.n, meet.arm_i, &moves);
            if (!c)
                return false;
            c->j = j;
            direction(nrw_vec3_scale(meet.n, -1.0), meet.arm_j, c->jj);
            moves += answer(&d->bodies[j].give, c->jj, c->wj);
            set_spring(c, meet.touch - meet.apart, k, moves);
            c->force = k * start_overlap(d, d->pairs[p], which / 2, which % 2, meet.touch);
            const double drag = 2.0 * NRW_PI * world->body.viscosity_Pa_s * meet.touch / h *
                                (slide ? brake_at(law, &meet) : 0.0);
            if (drag > 0.0 && !add_slide(d, d->pairs[p], which / 2, which % 2, &meet, drag, h))
                return false;
        }
    }
    return true;
}

/* Distance of lobe `lobe` of body i, at its predicted place, from the side walls;
 * looked up only where it may be near. */
static bool near_wall(nrw_world *world, size_t lobe, nrw_vec3 at, double within, double *distance,
                      double gradient[2])
{
    nrw_doublets *d = world->doublets;
    const double dx = at.x - d->seen_x[lobe], dy = at.y - d->seen_y[lobe];
    if (d->seen_wall[lobe] - sqrt(dx * dx + dy * dy) - WALL_ERROR_UM > within)
        return false;
    *distance = nrw_channel_distance_um(world->channel, at.x, at.y, gradient);
    d->seen_x[lobe] = at.x;
    d->seen_y[lobe] = at.y;
    d->seen_wall[lobe] = *distance;
    return *distance < within;
}

/* Solves w + ln w = l (Wright's omega function; Corless & Jeffrey 2002). */
static double wright_omega(double l)
{
    double w = l > 1.0 ? l - log(l) : exp(fmax(l, -700.0)) / (1.0 + exp(fmax(l, -700.0)));
    for (int k = 0; k < 4; k++)
        w *= (1.0 + l - log(w)) / (1.0 + w);
    return w;
}

/* The floor's double layer, solved for the lobe alone and linearised there (6.5), and
 * what is below the rest gap. */
static bool add_floor(nrw_world *world, uint32_t i, nrw_vec3 arm, double gap, double size)
{
    nrw_doublets *d = world->doublets;
    const nrw_body *body = &world->body;
    const bool given = !isnan(body->given_gap_um);
    const double rest = given ? body->given_gap_um : body->roughness_um, debye = body->debye_um;
    const nrw_vec3 up = {0.0, 0.0, 1.0};
    double moves;
    if (!given && gap < LAYER_REACH * debye) {
        nrw_doublet_contact *c = new_contact(d, i, up, arm, &moves);
        if (!c)
            return false;
        const double amplitude = d->layer_pN * size;
        const double w = wright_omega(log(moves * amplitude / debye) - gap / debye);
        const double force = w * debye / moves;
        /* force − slope (y − y0) with y0 = gap + w debye, slope = force/debye */
        set_spring(c, (w + 1.0) * debye, force / debye, moves);
        c->force = force;
    }
    if (gap < rest + MARGIN * d->medium.shape.lobe * body->radius_um) {
        nrw_doublet_contact *c = new_contact(d, i, up, arm, &moves);
        if (!c)
            return false;
        set_spring(c, rest - gap, HARD * world->scenario->model.contact_stiffness_pN_um, moves);
    }
    return true;
}

static bool add_walls(nrw_world *world, uint32_t i)
{
    nrw_doublets *d = world->doublets;
    const nrw_doublet_body *body = &d->bodies[i];
    const nrw_doublet_shape *shape = &d->medium.shape;
    const double lobe = shape->lobe * body->radius,
                 k = world->scenario->model.contact_stiffness_pN_um;
    const double size = body->radius / world->body.radius_um, near = (1.0 + MARGIN) * lobe;
    for (int side = 0; side < 2; side++) {
        const nrw_vec3 arm =
            nrw_vec3_scale(body->axis, (side ? -1.0 : 1.0) * shape->half * body->radius);
        const nrw_vec3 at = nrw_vec3_add(body->middle, arm);
        double gradient[2], distance, moves;
        if (!nrw_channel_is_open(world->channel) &&
            near_wall(world, 2 * i + (size_t)side, at, near, &distance, gradient)) {
            const nrw_vec3 inward = {gradient[0], gradient[1], 0.0};
            nrw_doublet_contact *c = new_contact(d, i, inward, arm, &moves);
            if (!c)
                return false;
            set_spring(c, lobe - distance, k * shape->floor_share, moves);
        }
        if (!world->body.has_floor)
            continue;
        if (!add_floor(world, i, arm, at.z - lobe, size))
            return false;
        if (at.z + near > world->scenario->map.depth_um) {
            nrw_doublet_contact *c = new_contact(d, i, (nrw_vec3){0.0, 0.0, -1.0}, arm, &moves);
            if (!c)
                return false;
            set_spring(c, at.z + lobe - world->scenario->map.depth_um, k * shape->floor_share,
                       moves);
        }
    }
    return true;
}

bool nrw_doublets_find_contacts(nrw_world *world, const nrw_excitation *excitation, double h_s)
{
    nrw_doublets *d = world->doublets;
    const brake_law law = brake_of(world, excitation->size2);
    d->n_contacts = 0;
    if (!add_lobe_contacts(world, &law, h_s))
        return false;
    for (uint32_t i = 0; i < world->n; i++)
        if (!add_walls(world, i))
            return false;
    return true;
}

/* --- solve -------------------------------------------------------------------------- */

static double dot6(const double a[6], const double b[6])
{
    return a[0] * b[0] + a[1] * b[1] + a[2] * b[2] + a[3] * b[3] + a[4] * b[4] + a[5] * b[5];
}

static void push(nrw_doublets *d, const nrw_doublet_contact *c, double force)
{
    double *ui = d->bodies[c->i].moved;
    double *uj = c->j == NRW_DOUBLET_ALONE ? NULL : d->bodies[c->j].moved;
    for (int k = 0; k < 6; k++)
        ui[k] += force * c->wi[k];
    for (int k = 0; uj && k < 6; k++)
        uj[k] += force * c->wj[k];
}

/* One spring with the others held; returns by how far it moved the lobes, at most. */
static double relax(nrw_doublets *d, nrw_doublet_contact *c)
{
    const double *ui = d->bodies[c->i].moved;
    const double *uj = c->j == NRW_DOUBLET_ALONE ? NULL : d->bodies[c->j].moved;
    const double apart = dot6(c->ji, ui) + (uj ? dot6(c->jj, uj) : 0.0);
    const double wanted = c->stiffness * (c->overlap - apart) - c->force;
    const double free = c->force + wanted * c->give;
    const double force = free > c->least ? free : c->least, change = force - c->force;
    c->force = force;
    push(d, c, change);
    return fabs(change) * c->moves;
}

void nrw_doublets_solve_contacts(nrw_world *world, double h_s)
{
    nrw_doublets *d = world->doublets;
    const double tolerance = SWEEP_TOLERANCE * world->body.diameter_um * h_s;
    for (size_t i = 0; i < world->n; i++)
        for (int k = 0; k < 6; k++)
            d->bodies[i].moved[k] = 0.0;
    for (size_t k = 0; k < d->n_contacts; k++)
        push(d, &d->contacts[k], d->contacts[k].force);
    double largest = INFINITY;
    for (int sweep = 0; sweep < SWEEPS_MOST && largest > tolerance; sweep++) {
        largest = 0.0;
        for (size_t k = 0; k < d->n_contacts; k++) {
            const double moved = relax(d, &d->contacts[k]);
            largest = moved > largest ? moved : largest;
        }
        world->n_sweeps++;
    }
}
