/* Who is close to whom, for the list of contact.h. */
#ifndef NRW_CONTACT_FIND_H
#define NRW_CONTACT_FIND_H

#include "contact.h"

/* Particle at a place of the search. */
static inline uint32_t nrw_contacts_particle(const nrw_contacts *contacts, size_t place)
{
    return contacts->by_tree ? contacts->tree.order[place] : (uint32_t)place;
}

/* Fills line: the places of contacts->tree in its own order, from NRW_CONTACT_WAVES_LEAST on
 * along the longer side of the swarm. `found` is scratch. */
void nrw_contacts_line_up(nrw_contacts *contacts);

/* Fills found, found_starts and by_tree: for every place, those within NRW_CONTACT_REACH
 * contact distances, the ones within NRW_CONTACT_SURE first, else in the order of the
 * places. False: some particle has more than NRW_CONTACT_MOST, or all together more than
 * there is room for. */
bool nrw_contacts_find(nrw_contacts *contacts, size_t n, const double *x, const double *y,
                       const double *z, const float *radius, float largest_radius);

#endif
