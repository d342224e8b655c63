#include "stray.h"

#include <math.h>

/* Whether a row's particle has gone beyond `limit` since the list was made, against the means
 * of nrw_strayed_kernel, or will have after a substep like the last. */
static bool is_stray(const nrw_world *world, float means[2][3], size_t row, float limit)
{
    const float gone[3] = {world->start_x[row] + world->sum_x[row] - means[0][0],
                           world->start_y[row] + world->sum_y[row] - means[0][1],
                           world->start_z[row] + world->sum_z[row] - means[0][2]};
    const float last[3] = {world->solve.ux[row] - means[1][0], world->solve.uy[row] - means[1][1],
                           world->solve.uz[row] - means[1][2]};
    float square = 0.0f, next = 0.0f;
    for (int axis = 0; axis < 3; axis++) {
        square += gone[axis] * gone[axis];
        next += (gone[axis] + last[axis]) * (gone[axis] + last[axis]);
    }
    return !(square <= limit * limit && next <= limit * limit);
}

static bool is_listed(const nrw_contacts *contacts, size_t row, size_t other)
{
    const size_t chunk = row / NRW_LANES;
    const uint32_t partner = (uint32_t)nrw_four_of(other);
    for (size_t slot = contacts->starts[chunk] + row % NRW_LANES;
         slot < contacts->starts[chunk + 1]; slot += NRW_LANES)
        if (contacts->partner[slot] == partner)
            return true;
    return false;
}

/* Whether two touch now, or will after a substep like the last, and are not listed. */
static bool meets(const nrw_world *world, size_t row, size_t other)
{
    const nrw_contact_solve *solve = &world->solve;
    const double touch = (double)(world->row_radius[row] + world->row_radius[other]);
    const double now[3] = {(double)(world->px[row] - world->px[other]),
                           (double)(world->py[row] - world->py[other]),
                           (double)(world->pz[row] - world->pz[other])};
    const double last[3] = {(double)(solve->ux[row] - solve->ux[other]),
                            (double)(solve->uy[row] - solve->uy[other]),
                            (double)(solve->uz[row] - solve->uz[other])};
    double square = 0.0, next = 0.0;
    for (int axis = 0; axis < 3; axis++) {
        square += now[axis] * now[axis];
        next += (now[axis] + last[axis]) * (now[axis] + last[axis]);
    }
    return (square < touch * touch || next < touch * touch) &&
           !is_listed(&world->contacts, row, other);
}

/* Whether a row's particle meets one that is not listed, among the blocks of the contacts'
 * tree, in whose boxes others were when the list was made: nobody has come nearer than
 * `reach` since. */
static bool meets_in_blocks(nrw_world *world, size_t row, double reach)
{
    nrw_contacts *contacts = &world->contacts;
    const nrw_block_tree *tree = &contacts->tree;
    const uint32_t i = contacts->order[row];
    const double at[3] = {world->x[i] + (double)world->sum_x[row],
                          world->y[i] + (double)world->sum_y[row],
                          world->z[i] + (double)world->sum_z[row]};
    float place[3];
    for (int axis = 0; axis < 3; axis++)
        place[axis] = (float)(at[axis] - tree->origin_um[axis]);
    const size_t n =
        nrw_block_tree_near(tree, NULL, place, place, (float)reach, 0, contacts->near.blocks);
    for (size_t k = 0; k < n; k++) {
        const size_t first = (size_t)tree->nodes[contacts->near.blocks[k]].first * NRW_BLOCK;
        for (size_t at_row = first; at_row < first + NRW_BLOCK && at_row < tree->n; at_row++) {
            const size_t other = contacts->row_of[tree->order[at_row]];
            if (other != row && meets(world, row, other))
                return true;
        }
    }
    return false;
}

static bool meets_any(const nrw_world *world, size_t row)
{
    for (size_t other = 0; other < world->n; other++)
        if (other != row && meets(world, row, other))
            return true;
    return false;
}

bool nrw_stray_may_meet(nrw_world *world)
{
    const float a = world->largest_radius, limit = nrw_contacts_limit_um(a);
    const float *const last[3] = {world->solve.ux, world->solve.uy, world->solve.uz};
    float means[2][3], gone = 0.0f, *const groups = world->strayed;
    const float largest = nrw_kernels_get()->strayed(&world->rows, last, world->n, means, groups);
    const size_t n_groups = (world->n + NRW_CONTACT_GROUP - 1) / NRW_CONTACT_GROUP;
    for (size_t group = 0; group < n_groups; group++)
        gone = fmaxf(gone, groups[group]);
    if (gone <= limit)
        return false;
    /* blocks' boxes stand still: others have moved with the swarm as well as against it */
    const float drift =
        sqrtf(means[0][0] * means[0][0] + means[0][1] * means[0][1] + means[0][2] * means[0][2]);
    const double reach = (double)(2.0f * a + 2.0f * largest + gone + drift);
    for (size_t group = 0; group < n_groups; group++) {
        const size_t first = group * NRW_CONTACT_GROUP, end = first + NRW_CONTACT_GROUP;
        if (groups[group] <= limit)
            continue;
        for (size_t row = first; row < end && row < world->n; row++)
            if (is_stray(world, means, row, limit) &&
                (world->contacts.by_tree ? meets_in_blocks(world, row, reach)
                                         : meets_any(world, row)))
                return true;
    }
    return false;
}
