/* Maps from pictures: the same map drawn and given as vessels agree; frames, parts,
 * nodes; what is wrong with a picture is said at its place. */
#include <criterion/criterion.h>
#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "drawn_map.h"
#include "mask.h"
#include "random.h"
#include "temporary_folder.h"
#include "units.h"

/* --- one map, drawn and given ------------------------------------------------------------ */

#define PIXEL 1.3

typedef struct pair {
    char folder[256];
    nrw_scenario *given, *drawn;
    nrw_channel *given_channel, *drawn_channel;
} pair;

/* Gives a map as vessels, draws it, and reads the drawing with the same nodes. */
static pair make_pair(const char *nodes, const char *vessels, const char *places, bool soft)
{
    pair p;
    char block[4096], path[512];
    temporary_folder_make(p.folder);
    (void)snprintf(block, sizeof block, "%s%s", nodes, vessels);
    char *text = drawn_yaml(block, places);
    p.given = drawn_scenario(text, p.folder);
    free(text);
    p.given_channel = drawn_channel_of(p.given);
    double origin[2];
    nrw_picture picture = drawn_channel(p.given_channel, PIXEL, soft, origin);
    drawn_write_pgm(&picture, path_join(path, p.folder, "map.pgm"));
    nrw_picture_clear(&picture);
    (void)snprintf(block, sizeof block,
                   "%s  mask: {file: map.pgm, pixel_um: %.17g, origin_um: [%.17g, %.17g]}\n", nodes,
                   PIXEL, origin[0], origin[1]);
    text = drawn_yaml(block, places);
    p.drawn = drawn_scenario(text, p.folder);
    free(text);
    p.drawn_channel = drawn_channel_of(p.drawn);
    return p;
}

static void clear_pair(pair *p)
{
    nrw_channel_destroy(p->given_channel);
    nrw_channel_destroy(p->drawn_channel);
    nrw_scenario_destroy(p->given);
    nrw_scenario_destroy(p->drawn);
    temporary_folder_remove(p->folder);
}

/* Largest and mean square difference of the distances within 6 µm of the walls. */
static void compare_distances(const pair *p, double *worst, double *typical)
{
    double bounds[4], squares = 0;
    int n = 0;
    nrw_channel_bounds(p->given_channel, bounds);
    *worst = 0;
    for (uint32_t i = 0; i < 40000; i++) {
        double x = bounds[0] + nrw_uniform(1, NRW_STREAM_START, i, 0) * (bounds[2] - bounds[0]);
        double y = bounds[1] + nrw_uniform(1, NRW_STREAM_START, i, 1) * (bounds[3] - bounds[1]);
        double given = nrw_channel_distance_um(p->given_channel, x, y, NULL);
        if (fabs(given) > 6)
            continue;
        double off = fabs(nrw_channel_distance_um(p->drawn_channel, x, y, NULL) - given);
        *worst = fmax(*worst, off);
        squares += off * off;
        n++;
    }
    cr_assert_gt(n, 1000);
    *typical = sqrt(squares / n);
}

static const char GATE_NODES[] = "  nodes:\n"
                                 "    inlet:   {at_um: [-200, 0]}\n"
                                 "    release: {at_um: [0, 0]}\n"
                                 "    mouth:   {at_um: [400, 0]}\n"
                                 "    end:     {at_um: [900, 40]}\n"
                                 "    outlet:  {at_um: [1100, 60]}\n";
static const char GATE_VESSELS[] =
    "  vessels:\n"
    "    - {from: inlet, to: release, width_um: 220}\n"
    "    - {from: release, to: mouth, width_um: 220}\n"
    "    - {from: mouth, to: end, via_um: [[500, 8]], width_um: [[0, 220], [0.3, 16], [0.5, 16], "
    "[0.8, 220]]}\n"
    "    - {from: end, to: outlet, width_um: 220}\n";
static const char GATE_PLACES[] = "release: {node: release, radius_um: 34}\n"
                                  "target: {node: end, radius_um: 90}\n";

Test(mask, a_drawn_map_has_the_walls_of_the_same_vessels)
{
    for (int soft = 0; soft < 2; soft++) {
        pair p = make_pair(GATE_NODES, GATE_VESSELS, GATE_PLACES, soft);
        double worst, typical;
        compare_distances(&p, &worst, &typical);
        /* Black and white pixels know a wall to half a pixel, corners are rounded over
         * one more; grey ones to a tenth. */
        cr_assert_lt(worst, (soft ? 0.7 : 1.0) * PIXEL, "%s: %g", soft ? "soft" : "hard", worst);
        cr_assert_lt(typical, (soft ? 0.06 : 0.3) * PIXEL, "%s: %g", soft ? "soft" : "hard",
                     typical);
        clear_pair(&p);
    }
}

Test(mask, a_drawn_map_has_the_route_of_the_same_vessels)
{
    for (int soft = 0; soft < 2; soft++) {
        pair p = make_pair(GATE_NODES, GATE_VESSELS, GATE_PLACES, soft);
        double given = nrw_channel_route_length_um(p.given_channel);
        double drawn = nrw_channel_route_length_um(p.drawn_channel);
        cr_assert(fabs(given - drawn) < 2 * PIXEL, "%g against %g", drawn, given);
        given = nrw_channel_narrowest_um(p.given_channel, NULL);
        drawn = nrw_channel_narrowest_um(p.drawn_channel, NULL);
        cr_assert(fabs(given - drawn) < 0.5 * PIXEL, "%g against %g", drawn, given);
        size_t n_given, n_drawn;
        const nrw_throat *a = nrw_channel_throats(p.given_channel, &n_given);
        const nrw_throat *b = nrw_channel_throats(p.drawn_channel, &n_drawn);
        cr_assert_eq(n_given, 1);
        cr_assert_eq(n_drawn, 1);
        cr_assert(fabs(a->entry_um - b->entry_um) < 2 * PIXEL, "%g, %g", a->entry_um, b->entry_um);
        cr_assert(fabs(a->exit_um - b->exit_um) < 2 * PIXEL, "%g, %g", a->exit_um, b->exit_um);
        /* widths all along, but for the steep ends of the tapers and the bends */
        for (double s = 0; s < given; s += 10) {
            double wide = nrw_channel_route_width_um(p.given_channel, s);
            double got = nrw_channel_route_width_um(p.drawn_channel, s);
            cr_assert(fabs(wide - got) < 2 * PIXEL + 0.02 * wide, "at %g: %g against %g", s, got,
                      wide);
        }
        for (int i = 0; i < 4; i++)
            cr_assert(fabs(nrw_channel_route_node_um(p.given_channel, i) -
                           nrw_channel_route_node_um(p.drawn_channel, i)) < 2 * PIXEL);
        clear_pair(&p);
    }
}

static const char FORK_NODES[] = "  nodes:\n"
                                 "    inlet: {at_um: [-300, 0]}\n"
                                 "    fork:  {at_um: [0, 0]}\n"
                                 "    left:  {at_um: [300, 200]}\n"
                                 "    right: {at_um: [350, -150]}\n"
                                 "    join:  {at_um: [600, 60]}\n"
                                 "    out:   {at_um: [900, 60]}\n";
static const char FORK_VESSELS[] =
    "  vessels:\n"
    "    - {from: inlet, to: fork, width_um: 80}\n"
    "    - {from: fork, to: left, width_um: 50}\n"
    "    - {from: fork, to: right, width_um: [[0, 60], [0.5, 20], [1, 60]]}\n"
    "    - {from: left, to: join, width_um: 50}\n"
    "    - {from: right, to: join, width_um: 60}\n"
    "    - {from: join, to: out, width_um: 90}\n";
static const char FORK_PLACES[] = "release: {at_um: [-200, 0], radius_um: 34}\n"
                                  "target: {node: out, radius_um: 30}\n";

static size_t n_vessels_at(const nrw_map *map, int node)
{
    size_t n = 0;
    for (size_t v = 0; v < map->n_vessels; v++)
        n += (size_t)(map->vessels[v].from == node) + (size_t)(map->vessels[v].to == node);
    return n;
}

Test(mask, branches_meet_where_the_vessels_do)
{
    pair p = make_pair(FORK_NODES, FORK_VESSELS, FORK_PLACES, false);
    const nrw_map *map = &p.drawn->map;
    /* the six nodes are all on the lines, and there are no others */
    cr_assert_eq(map->n_nodes, 6);
    cr_assert_eq(map->n_vessels, 6);
    for (int i = 0; i < 6; i++) {
        cr_assert_eq(n_vessels_at(map, i), n_vessels_at(&p.given->map, i), "%s",
                     map->nodes[i].name);
        cr_assert_eq(map->nodes[i].at_um[0], p.given->map.nodes[i].at_um[0]);
    }
    double given = nrw_channel_route_length_um(p.given_channel);
    double drawn = nrw_channel_route_length_um(p.drawn_channel);
    cr_assert(fabs(given - drawn) < 3 * PIXEL, "%g against %g", drawn, given);
    cr_assert(nrw_channel_route_has_node(p.drawn_channel, 2) ==
              nrw_channel_route_has_node(p.given_channel, 2));
    clear_pair(&p);
}

Test(mask, without_nodes_the_lines_name_their_own)
{
    pair p = make_pair(FORK_NODES, FORK_VESSELS,
                       "release: {at_um: [-200, 0], radius_um: 34}\n"
                       "target: {at_um: [850, 60], radius_um: 30}\n",
                       true);
    nrw_picture picture;
    char path[512], fault[256];
    size_t size;
    char *bytes = file_bytes(path_join(path, p.folder, "map.pgm"), &size);
    cr_assert_eq(nrw_picture_parse(bytes, size, &picture, fault, sizeof fault), NRW_OK);
    free(bytes);
    nrw_map map = {.has_floor = true};
    nrw_mask_request request = {
        .frame = p.drawn->map.mask->frame, .threshold = 0.5, .release_um = {-200, 0}};
    cr_assert_eq(nrw_mask_extract(&picture, &request, &map, fault, sizeof fault), NRW_OK);
    nrw_picture_clear(&picture);
    cr_assert_eq(map.n_nodes, 4);
    cr_assert_eq(map.n_vessels, 4);
    int ends = 0, junctions = 0;
    for (size_t i = 0; i < map.n_nodes; i++) {
        ends += strncmp(map.nodes[i].name, "end ", 4) == 0;
        junctions += strncmp(map.nodes[i].name, "junction ", 9) == 0;
        if (strncmp(map.nodes[i].name, "junction ", 9) == 0)
            cr_assert(
                fmin(hypot(map.nodes[i].at_um[0], map.nodes[i].at_um[1]),
                     hypot(map.nodes[i].at_um[0] - 600, map.nodes[i].at_um[1] - 60)) < 2 * PIXEL,
                "%s at %g, %g", map.nodes[i].name, map.nodes[i].at_um[0], map.nodes[i].at_um[1]);
    }
    cr_assert_eq(ends, 2);
    cr_assert_eq(junctions, 2);
    nrw_scenario *holder = calloc(1, sizeof *holder); /* to free the map */
    holder->map = map;
    nrw_scenario_destroy(holder);
    clear_pair(&p);
}

/* --- frames -------------------------------------------------------------------------------- */

/* An L whose foot points to the right, five pixels thick. */
static const char *const L_SHAPE[] = {
    "##############################", "#.....########################",
    "#.....########################", "#.....########################",
    "#.....########################", "#.....########################",
    "#.....########################", "#.....########################",
    "#.....########################", "#.....########################",
    "#.....########################", "#.....########################",
    "#.....########################", "#.....########################",
    "#............................#", "#............................#",
    "#............................#", "#............................#",
    "#............................#", "##############################",
};
enum { L_WIDTH = 30, L_HEIGHT = 20 };

/* The L of 2 µm pixels as a channel. */
static nrw_channel *l_channel(const char *frame, const char *places, nrw_scenario **scenario)
{
    char folder[256], path[512], block[512];
    temporary_folder_make(folder);
    nrw_picture picture = drawn_text(L_SHAPE, L_HEIGHT);
    drawn_write_pgm(&picture, path_join(path, folder, "l.pgm"));
    nrw_picture_clear(&picture);
    (void)snprintf(block, sizeof block, "  mask: {file: l.pgm, pixel_um: 2%s}\n", frame);
    char *text = drawn_yaml(block, places);
    *scenario = drawn_scenario(text, folder);
    free(text);
    temporary_folder_remove(folder);
    return drawn_channel_of(*scenario);
}

typedef struct frame_case {
    const char *keys;
    /* release in the upright's top, target in the foot's right end, µm */
    double top[2], foot[2];
} frame_case;

/* Upright's top: pixel (3.5, 17); foot's end: (27, 3.5), times 2 µm. */
static const frame_case FRAMES[] = {
    {"", {7, 34}, {54, 7}},
    {", flip: none, rotate_deg: 0, origin_um: [0, 0]", {7, 34}, {54, 7}},
    {", origin_um: [100, -50]", {107, -16}, {154, -43}},
    {", flip: x", {60 - 7, 34}, {60 - 54, 7}},
    {", flip: horizontal", {60 - 7, 34}, {60 - 54, 7}},
    {", flip: y", {7, 40 - 34}, {54, 40 - 7}},
    {", flip: vertical", {7, 40 - 34}, {54, 40 - 7}},
    {", flip: both", {60 - 7, 40 - 34}, {60 - 54, 40 - 7}},
    {", rotate_deg: 90", {-34, 7}, {-7, 54}},
    {", rotate_deg: 180", {-7, -34}, {-54, -7}},
    {", rotate_deg: -90", {34, -7}, {7, -54}},
    {", rotate_deg: 270", {34, -7}, {7, -54}},
    /* mirrored first, then turned about the origin, which is where the corner lies */
    {", flip: x, rotate_deg: 90, origin_um: [5, 6]", {5 - 34, 6 + 53}, {5 - 7, 6 + 6}},
    {", rotate_deg: 30",
     {7 * 0.8660254037844386 - 34 * 0.5, 7 * 0.5 + 34 * 0.8660254037844386},
     {54 * 0.8660254037844386 - 7 * 0.5, 54 * 0.5 + 7 * 0.8660254037844386}},
};

Test(mask, pictures_lie_where_their_frame_says)
{
    for (size_t i = 0; i < sizeof FRAMES / sizeof *FRAMES; i++) {
        const frame_case *f = &FRAMES[i];
        char places[256];
        (void)snprintf(places, sizeof places,
                       "release: {at_um: [%.17g, %.17g], radius_um: 3}\n"
                       "target: {at_um: [%.17g, %.17g], radius_um: 3}\n",
                       f->top[0], f->top[1], f->foot[0], f->foot[1]);
        nrw_scenario *scenario;
        nrw_channel *channel = l_channel(f->keys, places, &scenario);
        /* 5 pixels of 2 µm across: 5 µm from the walls, and from the ends' as well */
        double top = nrw_channel_distance_exact_um(channel, f->top[0], f->top[1]);
        double foot = nrw_channel_distance_exact_um(channel, f->foot[0], f->foot[1]);
        cr_assert(fabs(top - 4) < 1.01 && fabs(foot - 4) < 1.01, "'%s': %g, %g", f->keys, top,
                  foot);
        /* the corner opposite to the L's is wall: point reflection of its own corner */
        double size = hypot(f->top[0] - f->foot[0], f->top[1] - f->foot[1]);
        cr_assert(size > 50);
        cr_assert(nrw_channel_distance_exact_um(channel, 0.5 * (f->top[0] + f->foot[0]),
                                                0.5 * (f->top[1] + f->foot[1])) < -5,
                  "'%s'", f->keys);
        size_t n;
        double twice = 0;
        const nrw_wall_segment *walls = nrw_channel_outline(channel, &n);
        for (size_t k = 0; k < n; k++)
            twice += walls[k].a_um[0] * walls[k].b_um[1] - walls[k].a_um[1] * walls[k].b_um[0];
        /* fluid to the left, whatever was mirrored; 205 pixels less their rounded corners */
        cr_assert(fabs(0.5 * twice - 4 * 205) < 4 * 5, "'%s': %g", f->keys, 0.5 * twice);
        nrw_channel_destroy(channel);
        nrw_scenario_destroy(scenario);
    }
}

Test(mask, there_and_back_again)
{
    nrw_mask_frame frame = {41, 23, 1.7, {-12, 7}, true, false, 37};
    for (int k = 0; k < 8; k++, frame.flip_y = k & 1, frame.flip_x = k & 2) {
        double at[2] = {11.25, 3.5}, um[2], px[2];
        nrw_mask_to_um(&frame, at, um);
        nrw_mask_to_px(&frame, um, px);
        cr_assert(hypot(px[0] - at[0], px[1] - at[1]) < 1e-12);
    }
}

/* --- parts --------------------------------------------------------------------------------- */

static const char *const PARTS[] = {
    "##############################", "#............................#",
    "#............................#", "#............................#",
    "#............................#", "##############################",
    "##############################", "#.......#....................#",
    "#.......#....................#", "#.......#....................#",
    "#.......######################", "########......................",
    "########......................", "########......................",
    "##############################",
};
enum { PARTS_HEIGHT = 15 };

static nrw_map extract(const char *const lines[], size_t n_lines, double threshold, double x,
                       double y)
{
    nrw_picture picture = drawn_text(lines, n_lines);
    nrw_map map = {.has_floor = true};
    nrw_mask_request request = {
        .frame = {.pixel_um = 1}, .threshold = threshold, .release_um = {x, y}};
    char fault[256] = "";
    cr_assert_eq(nrw_mask_extract(&picture, &request, &map, fault, sizeof fault), NRW_OK, "%s",
                 fault);
    nrw_picture_clear(&picture);
    return map;
}

static double area_of(const nrw_mask *mask)
{
    double twice = 0;
    for (size_t k = 0; k < mask->n_loops; k++)
        for (size_t i = mask->firsts[k]; i < mask->firsts[k + 1]; i++) {
            const double *a = mask->points_um[i];
            const double *b =
                mask->points_um[i + 1 < mask->firsts[k + 1] ? i + 1 : mask->firsts[k]];
            twice += a[0] * b[1] - a[1] * b[0];
        }
    return 0.5 * twice;
}

static void clear_map(nrw_map *map)
{
    nrw_scenario *holder = calloc(1, sizeof *holder);
    holder->map = *map;
    nrw_scenario_destroy(holder);
}

Test(mask, only_what_is_connected_to_the_release_is_the_map)
{
    /* the bar at the top: 28 x 4 pixels, its corners rounded; the two boxes below touch
     * by a corner at most, which joins nothing: 7 x 4, and 20 x 3 with 22 x 3. A corner
     * loses 0.9 of a pixel. */
    static const double parts[][3] = {{10, 12, 112}, {4, 6, 28}, {20, 6.5, 60}, {20, 2.5, 66}};
    for (size_t i = 0; i < sizeof parts / sizeof *parts; i++) {
        nrw_map map = extract(PARTS, PARTS_HEIGHT, 0.5, parts[i][0], parts[i][1]);
        cr_assert_eq(map.mask->n_loops, 1);
        cr_assert(fabs(area_of(map.mask) - parts[i][2]) < 5, "%g of %g", area_of(map.mask),
                  parts[i][2]);
        clear_map(&map);
    }
}

Test(mask, fluid_at_the_pictures_edge_ends_there)
{
    nrw_map map = extract(PARTS, PARTS_HEIGHT, 0.5, 20, 2.5);
    double right = -INFINITY;
    for (size_t i = 0; i < map.mask->firsts[1]; i++)
        right = fmax(right, map.mask->points_um[i][0]);
    /* three pixels high: the rounding of its two corners takes a fifth of one off */
    cr_assert(fabs(right - 30) < 0.25, "%g", right);
    clear_map(&map);
}

static const char *const GREY[] = {
    "############", "############", "#..........#", "#..........#", "#..........#",
    "#..........#", "#..........#", "#3333333333#", "############", "############",
};

Test(mask, the_threshold_says_what_is_fluid)
{
    nrw_map half = extract(GREY, 10, 0.5, 5, 5), low = extract(GREY, 10, 0.25, 5, 5);
    /* grey of 0.3 puts a wall into its pixel above 0.25, and just below the white ones
     * at 0.5; a grey edge moves the wall by less than a pixel */
    double without = area_of(half.mask), with = area_of(low.mask);
    cr_assert(without > 48 && without < 55, "%g", without);
    cr_assert(with > without + 3 && with < 60, "%g", with);
    clear_map(&half);
    clear_map(&low);
}

/* A square ring of corridors five pixels wide, round an island. */
Test(mask, an_island_leaves_two_ways)
{
    char rows[31][32];
    const char *lines[31];
    for (int j = 0; j < 31; j++) {
        for (int i = 0; i < 31; i++) {
            int edge = i < j ? i : j, far = 30 - (i > j ? i : j);
            edge = edge < far ? edge : far;
            rows[j][i] = edge >= 1 && edge <= 5 ? '.' : '#';
        }
        rows[j][31] = '\0';
        lines[j] = rows[j];
    }
    nrw_map map = extract(lines, 31, 0.5, 3, 15);
    cr_assert_eq(map.mask->n_loops, 2);
    cr_assert_eq(map.n_nodes, map.n_vessels);
    cr_assert_geq(map.n_vessels, 2);
    for (size_t i = 0; i < map.n_nodes; i++)
        cr_assert_eq(n_vessels_at(&map, (int)i), 2);
    for (size_t v = 0; v < map.n_vessels; v++)
        cr_assert(map.vessels[v].from != map.vessels[v].to);
    clear_map(&map);
}

Test(mask, a_blob_has_a_centreline_too)
{
    char rows[41][42];
    const char *lines[41];
    for (int j = 0; j < 41; j++) {
        for (int i = 0; i < 41; i++)
            rows[j][i] = hypot(i - 20, j - 20) < 17 ? '.' : '#';
        rows[j][41] = '\0';
        lines[j] = rows[j];
    }
    nrw_map map = extract(lines, 41, 0.5, 20, 20);
    cr_assert_geq(map.n_vessels, 1);
    cr_assert(fabs(area_of(map.mask) - NRW_PI * 17 * 17) < 25, "%g", area_of(map.mask));
    clear_map(&map);
}

/* --- nodes ------------------------------------------------------------------------------------ */

/* A straight corridor, 100 x 20 µm at 1 µm. */
static nrw_scenario *corridor(const char *nodes, const char *rest)
{
    char rows[30][112], folder[256], path[512], block[1024];
    const char *lines[30];
    for (int j = 0; j < 30; j++) {
        for (int i = 0; i < 110; i++)
            rows[j][i] = j >= 5 && j < 25 && i >= 5 && i < 105 ? '.' : '#';
        rows[j][110] = '\0';
        lines[j] = rows[j];
    }
    temporary_folder_make(folder);
    nrw_picture picture = drawn_text(lines, 30);
    drawn_write_pgm(&picture, path_join(path, folder, "c.pgm"));
    nrw_picture_clear(&picture);
    (void)snprintf(block, sizeof block, "%s  mask: {file: c.pgm, pixel_um: 1}\n", nodes);
    char *text = drawn_yaml(block, rest);
    nrw_scenario *scenario = drawn_scenario(text, folder);
    free(text);
    temporary_folder_remove(folder);
    return scenario;
}

Test(mask, nodes_join_the_line_that_they_are_near)
{
    nrw_scenario *scenario = corridor("  nodes: {a: {at_um: [5, 15]}, b: {at_um: [40, 16.5]}, "
                                      "aside: {at_um: [60, 20]}, c: {at_um: [105, 14.5]}}\n",
                                      "release: {node: b, radius_um: 8}\n"
                                      "target: {node: c, radius_um: 8}\n");
    const nrw_map *map = &scenario->map;
    cr_assert_eq(map->n_nodes, 4); /* both ends are a and c */
    cr_assert_eq(map->n_vessels, 2);
    cr_assert_eq(n_vessels_at(map, 0), 1);
    cr_assert_eq(n_vessels_at(map, 1), 2);
    cr_assert_eq(n_vessels_at(map, 2), 0); /* 5 µm beside a line of 20 µm */
    cr_assert_eq(n_vessels_at(map, 3), 1);
    nrw_channel *channel = drawn_channel_of(scenario);
    double wanted = hypot(65, 2); /* near enough: over one width aside */
    cr_assert(fabs(nrw_channel_route_length_um(channel) - wanted) < 0.5);
    cr_assert(fabs(nrw_channel_route_width_um(channel, 20) - 20) < 0.3);
    nrw_channel_destroy(channel);
    nrw_scenario_destroy(scenario);
}

Test(mask, an_inlet_before_the_end_cuts_the_rest_off)
{
    nrw_scenario *scenario =
        corridor("  nodes: {in: {at_um: [12, 15]}, out: {at_um: [103, 15]}}\n",
                 "release: {at_um: [30, 15], radius_um: 8}\n"
                 "target: {at_um: [80, 15], radius_um: 8}\n"
                 "flow: {inlets: [{node: in, rate_nl_min: 1}], outlets: [{node: out}]}\n");
    cr_assert_eq(scenario->map.n_nodes, 2);
    cr_assert_eq(scenario->map.n_vessels, 1);
    nrw_scenario_destroy(scenario);
}

/* --- what is wrong ------------------------------------------------------------------------------
 */

typedef struct fault_case {
    const char *file, *bytes, *keys, *key, *what;
} fault_case;

static const fault_case FAULTS[] = {
    {"m.pgm", "P5 4 4 255\n123", "", "channel.mask.file", "ends before its last pixel"},
    {"m.pgm", "P2 2 2 9\n9 9 9 10", "", "channel.mask.file", "brighter than its white"},
    {"m.pgm", "P2 2 2 0\n", "", "channel.mask.file", "white is not in"},
    {"m.pgm", "P2 99999 99999 255\n", "", "channel.mask.file", "more than 16384"},
    {"m.pgm", "P2 0 3 255\n", "", "channel.mask.file", "no pixels"},
    {"m.pgm", "P2 # nothing else", "", "channel.mask.file", "without width"},
    {"m.pgm", "P2 2 2 9 0 0 0 0", "", "channel.mask.file", "no fluid"},
    {"m.pgm", "GIF89a", "", "channel.mask.file", "neither a PGM nor a PNG"},
    {"m.pgm", "\x89PNG\r\n\x1a\nabc", "", "channel.mask.file", "no good PNG"},
    {"other.pgm", "P2 1 1 1 1", "", "channel.mask.file", "can't read 'm.pgm'"},
    {"m.pgm", "P2 1 1 1 1", ", flip: up", "channel.mask.flip", "is 'up'"},
    {"m.pgm", "P2 1 1 1 1", ", threshold: 0", "channel.mask.threshold", "out of range"},
    {"m.pgm", "P2 1 1 1 1", ", rotate_deg: 361", "channel.mask.rotate_deg", "out of range"},
    {"m.pgm", "P2 1 1 1 1", ", pixel: 3", "channel.mask.pixel", "unknown key"},
};

Test(mask, faults_are_told_at_their_place)
{
    for (size_t i = 0; i < sizeof FAULTS / sizeof *FAULTS; i++) {
        const fault_case *f = &FAULTS[i];
        char folder[256], path[512], block[256];
        temporary_folder_make(folder);
        file_write(path_join(path, folder, f->file), f->bytes);
        (void)snprintf(block, sizeof block, "  mask: {file: m.pgm, pixel_um: 1%s}\n", f->keys);
        char *text = drawn_yaml(block, "release: {at_um: [1, 1], radius_um: 2}\n"
                                       "target: {at_um: [1, 1], radius_um: 1}\n");
        nrw_errors errors;
        nrw_errors_init(&errors);
        nrw_scenario *scenario;
        (void)path_join(path, folder, "m.yaml");
        cr_assert_eq(nrw_scenario_parse(text, strlen(text), path, &scenario, &errors),
                     NRW_BAD_INPUT, "'%s'", f->bytes);
        cr_assert_eq(errors.n_items, 1);
        cr_assert_str_eq(errors.items[0].key, f->key);
        cr_assert(strstr(errors.items[0].what, f->what), "%s", errors.items[0].what);
        cr_assert_eq(errors.items[0].line, 10);
        nrw_errors_clear(&errors);
        free(text);
        temporary_folder_remove(folder);
    }
}
