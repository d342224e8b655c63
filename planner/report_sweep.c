/* The report of a sweep: state maps over the grid of settings. */
#include "report_parts.h"

#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "report_scale.h"
#include "state.h"
#include "svg.h"

/* --- the grid ---------------------------------------------------------------------- */

/* sweep.csv as panels: the last key across, the one before it upward, a panel for
 * each setting of the others and each way. Rows are ordered with the last key the
 * fastest, and both ways, up first, for each point. */
typedef struct state_map {
    const nrw_sweep *sweep;
    nrw_csv_table table;
    size_t n_ways, nx, ny, n_panels;
} state_map;

static bool take_map(const nrw_report *report, state_map *map)
{
    const nrw_sweep *sweep = map->sweep = &report->in->scenario->sweep;
    if (!sweep->present || sweep->n_keys == 0 ||
        !nrw_report_table(report, "sweep.csv", &map->table))
        return false;
    const char *way = nrw_csv_field(&map->table, 1, nrw_csv_column(&map->table, "way"));
    size_t n = sweep->n_keys, n_points = 1;
    for (size_t k = 0; k < n; k++)
        n_points *= sweep->keys[k].n_values;
    map->n_ways = strcmp(way, "alone") == 0 ? 1 : 2;
    map->nx = sweep->keys[n - 1].n_values;
    map->ny = n > 1 ? sweep->keys[n - 2].n_values : 1;
    map->n_panels = n_points / (map->nx * map->ny) * map->n_ways;
    if (map->table.n_records - 1 == n_points * map->n_ways)
        return true;
    nrw_csv_table_clear(&map->table);
    return false;
}

/* Record of a cell; panels count the ways fastest. */
static size_t record_of(const state_map *map, size_t panel, size_t x, size_t y)
{
    size_t group = panel / map->n_ways, way = panel % map->n_ways;
    size_t point = (group * map->ny + y) * map->nx + x;
    return point * map->n_ways + way + 1;
}

static double cell_value(const state_map *map, size_t record, const char *column)
{
    return nrw_csv_value(&map->table, record, nrw_csv_column(&map->table, column));
}

static const char *cell_state(const state_map *map, size_t record)
{
    return nrw_csv_field(&map->table, record, nrw_csv_column(&map->table, "state"));
}

/* "tilt_deg" as "tilt, °". */
static void key_label(const char *key, char *text, size_t size)
{
    static const struct {
        const char *end, *unit;
    } units[] = {{"_deg", "°"}, {"_Hz", "Hz"}, {"_mT", "mT"}, {"_s", "s"}, {"_um", "µm"}};
    size_t length = strlen(key);
    const char *unit = "";
    for (size_t i = 0; i < sizeof units / sizeof *units; i++) {
        size_t end = strlen(units[i].end);
        if (length > end && strcmp(key + length - end, units[i].end) == 0) {
            unit = units[i].unit;
            length -= end;
            break;
        }
    }
    (void)snprintf(text, size, "%.*s%s%s", (int)length, key, *unit ? ", " : "", unit);
    for (char *at = text; *at; at++)
        if (*at == '_' || *at == '.')
            *at = ' ';
}

/* --- cells --------------------------------------------------------------------------- */

enum {
    WIDTH = 460,
    LEFT = 64,
    RIGHT = 10,
    TOP = 30,
    BOTTOM = 52,
    ROW = 40,
    MOST_ACROSS = 40,
    MOST_PANELS = 24
};

typedef struct metric {
    const char *column, *title, *unit;
    nrw_scale scale;
    double low, high; /* of the scale; NAN: of the data */
} metric;

/* Twelve colours for the states: what holds together in blues and greens, what
 * doesn't in warm ones; each cell also has its word. */
static const char *state_colour(const char *name)
{
    static const char *const colours[NRW_N_STATES] = {
        [NRW_STATE_UNCLASSIFIED] = "#e8e8e8", [NRW_STATE_FROZEN] = "#9a9a9a",
        [NRW_STATE_VORTEX] = "#56b4e9",       [NRW_STATE_ROLLING] = "#0072b2",
        [NRW_STATE_PLATE] = "#009e73",        [NRW_STATE_FILE] = "#8fd18a",
        [NRW_STATE_RIBBON] = "#b6a6e0",       [NRW_STATE_TORN] = "#f0e442",
        [NRW_STATE_SHEETS] = "#e69f00",       [NRW_STATE_CHAINS] = "#d55e00",
        [NRW_STATE_CLUMPS] = "#cc79a7",       [NRW_STATE_SCATTERED] = "#5a2d0c"};
    for (int s = 0; s < NRW_N_STATES; s++)
        if (strcmp(name, nrw_state_name((nrw_state)s)) == 0)
            return colours[s];
    return "#ffffff";
}

static double cell_width(const state_map *map)
{
    return (double)(WIDTH - LEFT - RIGHT) / (double)map->nx;
}

static bool not_run(const state_map *map, size_t record)
{
    return !(cell_value(map, record, "repeats") > 0);
}

/* A cell that was not run, for whatever reason: crossed out. */
static void put_void(nrw_markup *out, double x, double y, double wide)
{
    nrw_markup_put(out,
                   "<rect class='void' x='%c' y='%c' width='%c' height='%d'/><path class='void' "
                   "d='M%c %cl%c %dm0 %dl%c %d'/>",
                   x, y, wide - 1.5, ROW - 2, x + 4, y + 4, wide - 9.5, ROW - 10, -(ROW - 10),
                   9.5 - wide, ROW - 10);
}

/* A colour, a text on it, and where repeats disagree a corner and how many agree. */
static void put_cell(nrw_markup *out, const state_map *map, size_t record, const char *colour,
                     const char *text, double x, double y)
{
    double wide = cell_width(map);
    const char *ink = nrw_scale_is_dark(colour) ? "#fff" : "#111";
    double repeats = cell_value(map, record, "repeats");
    double agreement = cell_value(map, record, "agreement");
    bool split = agreement < 1;
    nrw_markup_put(out, "<rect class='cell' x='%c' y='%c' width='%c' height='%d' fill='%r'/>", x, y,
                   wide - 1.5, ROW - 2, colour);
    if (split)
        nrw_markup_put(out, "<path d='M%c %ch-11l11 11z' fill='%r'/>", x + wide - 1.5, y, ink);
    if (nrw_svg_text_width(text) < wide + 4)
        nrw_markup_put(out, "<text class='cell-text' x='%c' y='%c' style='fill:%r'>%s</text>",
                       x + (wide - 1.5) / 2, y + (split ? 17 : 23), ink, text);
    if (split && wide > 40)
        nrw_markup_put(out, "<text class='cell-text' x='%c' y='%c' style='fill:%r'>%n of %n</text>",
                       x + (wide - 1.5) / 2, y + 32, ink, round(agreement * repeats), repeats);
}

static void put_state_cell(nrw_markup *out, const state_map *map, size_t record, double x, double y)
{
    const char *name = cell_state(map, record);
    const char *word = strcmp(name, nrw_state_name(NRW_STATE_UNCLASSIFIED)) == 0 ? "?" : name;
    char text[16];
    bool fits = nrw_svg_text_width(word) < cell_width(map) + 4;
    (void)snprintf(text, sizeof text, fits ? "%.15s" : "%.3s", word);
    put_cell(out, map, record, state_colour(name), text, x, y);
}

static void put_metric_cell(nrw_markup *out, const state_map *map, const metric *what,
                            size_t record, double x, double y)
{
    char colour[8], text[NRW_FIGURE_SIZE];
    double value = cell_value(map, record, what->column);
    if (isnan(value)) {
        put_void(out, x, y, cell_width(map));
        return;
    }
    nrw_scale_colour(what->scale, (value - what->low) / (what->high - what->low), colour);
    /* two digits: cells are narrow */
    double power = fabs(value) > 0 ? pow(10, floor(log10(fabs(value))) - 1) : 1;
    put_cell(out, map, record, colour, nrw_figure_text(round(value / power) * power, text), x, y);
}

/* --- panels ---------------------------------------------------------------------------- */

static void put_axes(nrw_markup *out, const state_map *map)
{
    const nrw_sweep *sweep = map->sweep;
    const nrw_sweep_key *across = &sweep->keys[sweep->n_keys - 1];
    double wide = cell_width(map), bottom = TOP + ROW * (double)map->ny;
    char label[96];
    nrw_markup_put(out, "<g class='axis'>");
    for (size_t x = 0; x < map->nx; x++)
        if (wide > 26 || x % 4 == 0)
            nrw_markup_put(out, "<text x='%c' y='%c' text-anchor='middle'>%n</text>",
                           LEFT + wide * ((double)x + 0.5), bottom + 16, across->values[x]);
    key_label(across->key, label, sizeof label);
    nrw_markup_put(out, "<text x='%d' y='%c' text-anchor='end'>%s</text>", WIDTH - RIGHT,
                   bottom + 34, label);
    if (sweep->n_keys > 1) {
        const nrw_sweep_key *upward = &sweep->keys[sweep->n_keys - 2];
        for (size_t y = 0; y < map->ny; y++)
            nrw_markup_put(out, "<text x='%d' y='%c' text-anchor='end'>%n</text>", LEFT - 8,
                           bottom - ROW * ((double)y + 0.5) + 4, upward->values[y]);
        key_label(upward->key, label, sizeof label);
        nrw_markup_put(out, "<text x='2' y='%d'>%s</text>", TOP - 12, label);
    }
    nrw_markup_put(out, "</g>\n");
}

/* One heat map: of the states where `what` is NULL. */
static void put_heat(nrw_report *report, const state_map *map, size_t panel, const metric *what)
{
    nrw_markup *out = &report->out;
    char id[48], title[96];
    double height = TOP + BOTTOM + ROW * (double)map->ny;
    (void)snprintf(id, sizeof id, "map-%s-%zu", what ? what->column : "state", panel + 1);
    for (char *at = id; *at; at++)
        *at = *at == '_' ? '-' : *at;
    (void)snprintf(title, sizeof title, "%s over the grid", what ? what->title : "State");
    nrw_markup_put(out, "<figure>");
    nrw_svg_open(out, id, WIDTH, height, title,
                 "A cell for each setting of the drive, with its value in it; the table below has "
                 "the values.");
    for (size_t y = 0; y < map->ny; y++)
        for (size_t x = 0; x < map->nx; x++) {
            size_t record = record_of(map, panel, x, y);
            double left = LEFT + cell_width(map) * (double)x;
            double top = TOP + ROW * (double)(map->ny - 1 - y);
            if (not_run(map, record))
                put_void(out, left, top, cell_width(map));
            else if (what)
                put_metric_cell(out, map, what, record, left, top);
            else
                put_state_cell(out, map, record, left, top);
        }
    put_axes(out, map);
    nrw_svg_close(out);
}

static void put_state_key(nrw_report *report, const state_map *map)
{
    nrw_markup *out = &report->out;
    nrw_markup_put(out, "<ul class='key'>");
    for (int s = 0; s < NRW_N_STATES; s++) {
        const char *name = nrw_state_name((nrw_state)s);
        bool used = false;
        for (size_t r = 1; r < map->table.n_records && !used; r++)
            used = strcmp(cell_state(map, r), name) == 0;
        if (used)
            nrw_markup_put(out, "<li><i class='swatch' style='background:%r'></i>%r</li>",
                           state_colour(name), name);
    }
    nrw_markup_put(out, "</ul>");
}

static void put_scale_key(nrw_markup *out, const metric *what)
{
    nrw_markup_put(out, "<span class='scale-key'>%n", what->low);
    for (int i = 0; i < 10; i++) {
        char colour[8];
        nrw_scale_colour(what->scale, i / 9.0, colour);
        nrw_markup_put(out, "<i style='background:%r'></i>", colour);
    }
    nrw_markup_put(out, "%n%r%r</span>", what->high, *what->unit ? " " : "", what->unit);
}

static void put_panel_name(nrw_report *report, const state_map *map, size_t panel)
{
    const nrw_sweep *sweep = map->sweep;
    nrw_markup *out = &report->out;
    if (map->n_panels < 2)
        return;
    size_t point = panel / map->n_ways * map->nx * map->ny, per = map->nx * map->ny;
    nrw_markup_put(out, "<h3>");
    for (size_t k = sweep->n_keys > 2 ? sweep->n_keys - 2 : 0; k-- > 0;) {
        char label[96];
        const nrw_sweep_key *key = &sweep->keys[k];
        key_label(key->key, label, sizeof label);
        nrw_markup_put(out, "%s: %n; ", label, key->values[point / per % key->n_values]);
        per *= key->n_values;
    }
    if (map->n_ways == 2)
        nrw_markup_put(out, "%r", panel % 2 ? "on the way down" : "on the way up");
    nrw_markup_put(out, "</h3>\n");
}

/* Takes the range of the data where the scale has none of its own. */
static bool scale_metric(const state_map *map, metric *what)
{
    double low = INFINITY, high = -INFINITY;
    for (size_t r = 1; r < map->table.n_records; r++) {
        double value = cell_value(map, r, what->column);
        low = fmin(low, isnan(value) ? INFINITY : value);
        high = fmax(high, isnan(value) ? -INFINITY : value);
    }
    if (!(high >= low))
        return false;
    what->low = isnan(what->low) ? low : what->low;
    what->high = isnan(what->high) ? fmax(high, what->low + 1e-9) : what->high;
    return true;
}

static void put_panel(nrw_report *report, const state_map *map, size_t panel)
{
    static const metric metrics[] = {
        {"cohesion", "Cohesion: share of the largest cluster", "", NRW_SCALE_CIVIDIS, 0, 1},
        {"speed_um_s", "Speed of the swarm", "µm/s", NRW_SCALE_VIRIDIS, 0, NAN},
        {"aspect_ratio", "Aspect ratio seen from above", "", NRW_SCALE_VIRIDIS, 1, NAN},
        {"stacking", "Stacking: 1 in one layer", "", NRW_SCALE_VIRIDIS, 1, NAN},
        {"gather_time_s", "Time to gather before", "s", NRW_SCALE_CIVIDIS, 0, NAN}};
    nrw_markup *out = &report->out;
    put_panel_name(report, map, panel);
    nrw_markup_put(out, "<div class='pairs'>\n");
    put_heat(report, map, panel, NULL);
    nrw_markup_put(out, "<figcaption>State of the swarm.");
    put_state_key(report, map);
    nrw_markup_put(out, "</figcaption></figure>\n");
    for (size_t m = 0; m < sizeof metrics / sizeof *metrics; m++) {
        metric what = metrics[m];
        if (!scale_metric(map, &what))
            continue;
        put_heat(report, map, panel, &what);
        nrw_markup_put(out, "<figcaption>%r. ", what.title);
        put_scale_key(out, &what);
        nrw_markup_put(out, "</figcaption></figure>\n");
    }
    nrw_markup_put(out, "</div>\n");
}

/* --- the table -------------------------------------------------------------------------- */

static void put_rows(nrw_report *report, const state_map *map)
{
    enum { MOST_ROWS = 2000, FIXED = 9 };
    static const char *const heads[] = {"Setting",     "Way",          "State",
                                        "Agreement",   "Repeats",      "Cohesion",
                                        "Speed, µm/s", "Aspect ratio", "Stacking"};
    static const char *const columns[] = {"agreement",  "repeats",      "cohesion",
                                          "speed_um_s", "aspect_ratio", "stacking"};
    nrw_markup *out = &report->out;
    size_t n = map->table.n_records - 1;
    nrw_report_data_begin(report,
                          n > MOST_ROWS ? "the first points (all of them are in sweep.csv)"
                                        : "points (more columns are in sweep.csv)",
                          FIXED, heads);
    for (size_t r = 1; r <= n && r <= MOST_ROWS; r++) {
        nrw_markup_put(out, "<tr><th scope='row'>");
        for (size_t k = 0; k < map->sweep->n_keys; k++)
            nrw_markup_put(out, "%r%s %n", k ? ", " : "", map->sweep->keys[k].key,
                           cell_value(map, r, map->sweep->keys[k].key));
        nrw_markup_put(out, "</th><td>%s</td><td>%s</td>",
                       nrw_csv_field(&map->table, r, nrw_csv_column(&map->table, "way")),
                       cell_state(map, r));
        for (size_t c = 0; c < sizeof columns / sizeof *columns; c++)
            nrw_markup_put(out, c ? "<td>%n</td>" : "<td>%p</td>", cell_value(map, r, columns[c]));
        nrw_markup_put(out, "</tr>\n");
    }
    nrw_report_data_end(report);
}

void nrw_report_sweep_maps(nrw_report *report)
{
    state_map map;
    memset(&map, 0, sizeof map);
    if (!take_map(report, &map))
        return;
    nrw_report_section(report, "maps", "State maps");
    nrw_markup_put(
        &report->out,
        "<p>A cell is one setting of the drive. A dark or light corner marks settings at "
        "which repeats disagree, with how many agree; crossed cells were not run or "
        "show nothing to measure.</p>\n");
    if (map.nx > MOST_ACROSS || map.ny > MOST_ACROSS)
        nrw_markup_put(&report->out, "<p>The grid is too large to draw here: see sweep.csv.</p>\n");
    else
        for (size_t panel = 0; panel < map.n_panels && panel < MOST_PANELS; panel++)
            put_panel(report, &map, panel);
    if (map.n_panels > MOST_PANELS)
        nrw_markup_put(&report->out,
                       "<p>The first %d of %z groups are drawn; all of them are in "
                       "sweep.csv.</p>\n",
                       MOST_PANELS, map.n_panels);
    put_rows(report, &map);
    nrw_report_section_end(report);
    nrw_csv_table_clear(&map.table);
}
