#include "drive_file.h"

#include <stdio.h>
#include <string.h>

#include "drive_key.h"
#include "scenario_file.h"
#include "yaml_number.h"

static const char *const MODES[] = {"rotating", "precessing", "oscillating", "steady",
                                    "off",      "general",    "sampled"};
static const char *const SENSES[] = {"left", "right"};
static const char *const AXES[] = {"along", "across", "vertical"};
static const char *const STEERS[] = {"centroid", "rear"};

enum { N_MODES = 7, N_SENSES = 2, N_AXES = 3, N_STEERS = 2, N_WORDS = 32 };

/* One drive being read. */
typedef struct reading {
    nrw_yaml_doc *doc;
    const nrw_map *map;
    const nrw_yaml_node *node;
    const nrw_yaml_node *vary;        /* keys that count as given; may be NULL */
    const nrw_drive_setting *outer;   /* of an alternate drive; NULL otherwise */
    const nrw_samples_source *source; /* NULL: no samples here */
    bool mode_known;
    nrw_drive_setting *setting;
} reading;

static const nrw_yaml_node *given(const reading *r, const char *key)
{
    return nrw_yaml_get(r->node, key);
}

/* --- keys ------------------------------------------------------------------- */

static size_t words_of_mode(unsigned modes, const char *words[N_WORDS])
{
    size_t n_keys, n = 0;
    const nrw_drive_key *keys = nrw_drive_keys(&n_keys);
    for (size_t i = 0; i < n_keys && n < N_WORDS; i++)
        if (keys[i].modes & modes)
            words[n++] = keys[i].key;
    return n;
}

static bool read_mode(reading *r)
{
    const nrw_yaml_node *node = given(r, "mode");
    nrw_drive_mode mode = r->outer ? r->outer->mode : NRW_DRIVE_ROTATING;
    r->mode_known = node || r->outer;
    if (node) {
        int choice = nrw_yaml_choice(r->doc, node, MODES, N_MODES);
        r->mode_known = choice >= 0;
        if (choice >= 0)
            mode = (nrw_drive_mode)choice;
    } else if (!r->outer)
        (void)nrw_yaml_error_missing(r->doc, r->node, "mode",
                                     "rotating, precessing, oscillating, steady, off, "
                                     "general or sampled");
    if (r->outer)
        *r->setting = nrw_drive_inherit(r->outer, mode);
    r->setting->mode = mode;
    return r->mode_known;
}

/* Whether the mode has the key; reports it otherwise. */
static bool key_allowed(reading *r, const nrw_yaml_node *node, const nrw_drive_key *key)
{
    const char *words[N_WORDS];
    unsigned mode = NRW_DRIVE_MODE_BIT(r->setting->mode);
    if (!key)
        return nrw_yaml_unknown_key(r->doc, node, words,
                                    words_of_mode(r->mode_known ? mode : ~0u, words));
    if (!r->mode_known || key->modes & mode)
        return true;
    char expected[384];
    nrw_yaml_expect_word("", words, words_of_mode(mode, words), expected, sizeof expected);
    return nrw_yaml_error_at_key(r->doc, node, expected, "is no key of mode '%s'",
                                 nrw_drive_mode_name(r->setting->mode));
}

static bool read_vector(reading *r, const nrw_yaml_node *node, const nrw_drive_key *key)
{
    double values[3] = {0.0, 0.0, 0.0};
    bool good = nrw_yaml_vector(r->doc, node, 3, 3, key->range, "[x, y, z] in mT", values, NULL);
    nrw_vec3 vector = {values[0], values[1], values[2]};
    memcpy((char *)r->setting + key->offset, &vector, sizeof vector);
    return good;
}

static bool read_keys(reading *r)
{
    bool good = true;
    for (const nrw_yaml_node *node = r->node->first; node; node = node->next) {
        const nrw_drive_key *key = nrw_drive_key_find(node->key);
        if (!key_allowed(r, node, key))
            good = false;
        else if (key->type == NRW_DRIVE_KEY_NUMBER) {
            void *place = (char *)r->setting + key->offset;
            good = nrw_yaml_number(r->doc, node, key->range, place) && good;
        } else if (key->type == NRW_DRIVE_KEY_VECTOR)
            good = read_vector(r, node, key) && good;
    }
    return good;
}

/* An alternate drive has what the outer one gives to it; frequency and field
 * may thus come from there, if its mode has them. */
static bool check_required(const reading *r)
{
    size_t n;
    bool good = true;
    const nrw_drive_key *keys = nrw_drive_keys(&n);
    for (size_t i = 0; i < n && r->mode_known; i++) {
        const nrw_drive_key *key = &keys[i];
        bool inherited = r->outer && key->modes & NRW_DRIVE_MODE_BIT(r->outer->mode);
        if (!(key->required & NRW_DRIVE_MODE_BIT(r->setting->mode)) || given(r, key->key) ||
            inherited || nrw_yaml_get(r->vary, key->key))
            continue;
        char expected[96];
        (void)snprintf(expected, sizeof expected, "mode '%s' needs it",
                       nrw_drive_mode_name(r->setting->mode));
        good = nrw_yaml_error_missing(r->doc, r->node, key->key, expected);
    }
    return good;
}

/* --- single modes ----------------------------------------------------------- */

static bool read_sense(reading *r)
{
    const nrw_yaml_node *node = given(r, "sense");
    bool rolling = r->setting->mode == NRW_DRIVE_ROTATING && r->setting->tilt_deg >= 90.0;
    bool good = true;
    if (node && r->setting->mode == NRW_DRIVE_ROTATING) {
        int choice = nrw_yaml_choice(r->doc, node, SENSES, N_SENSES);
        good = choice >= 0;
        r->setting->sense = choice == 1 ? NRW_SENSE_RIGHT : NRW_SENSE_LEFT;
        if (rolling)
            good = nrw_yaml_error_at_key(r->doc, node, "leave it out",
                                         "means nothing at a tilt of 90 degrees");
    }
    /* At 90 degrees both turn alike: one of them stands for both. */
    if (rolling)
        r->setting->sense = NRW_SENSE_LEFT;
    return good;
}

static bool read_axis(reading *r)
{
    const nrw_yaml_node *node = given(r, "axis");
    if (!node || r->setting->mode != NRW_DRIVE_PRECESSING)
        return true;
    int choice = nrw_yaml_choice(r->doc, node, AXES, N_AXES);
    if (choice >= 0)
        r->setting->axis = (nrw_cone_axis)choice;
    return choice >= 0;
}

static bool is_zero(nrw_vec3 v)
{
    return !(v.x * v.x + v.y * v.y + v.z * v.z > 0.0);
}

static bool check_general(const reading *r)
{
    const nrw_drive_setting *setting = r->setting;
    if (!r->mode_known || setting->mode != NRW_DRIVE_GENERAL)
        return true;
    bool inherits = r->outer && r->outer->mode == NRW_DRIVE_GENERAL;
    if (!inherits && !given(r, "steady_mT") && !given(r, "cos_mT") && !given(r, "sin_mT"))
        return nrw_yaml_error_at_key(r->doc, r->node, "steady_mT, cos_mT or sin_mT",
                                     "mode 'general' has no field");
    bool periodic = !is_zero(setting->cos_mT) || !is_zero(setting->sin_mT);
    if (periodic && !(setting->frequency_Hz > 0.0) && !given(r, "frequency_Hz") &&
        !nrw_yaml_get(r->vary, "frequency_Hz"))
        return nrw_yaml_error_missing(r->doc, r->node, "frequency_Hz",
                                      "mode 'general' needs it with cos_mT or sin_mT");
    return true;
}

/* The file is opened last, and only for a drive that is good so far. */
static bool read_samples(reading *r, bool good)
{
    const nrw_yaml_node *mode = given(r, "mode"), *file = given(r, "file");
    const nrw_yaml_node *rate = given(r, "sample_rate_Hz");
    if (!r->mode_known || r->setting->mode != NRW_DRIVE_SAMPLED)
        return true;
    if (r->outer || !r->source)
        return nrw_yaml_error(r->doc, mode ? mode : r->node, "a mode with a heading",
                              r->outer ? "mode 'sampled' can't be half of an alternation"
                                       : "samples can only be played by a leg of a schedule");
    if (rate && !nrw_yaml_number(r->doc, rate, (nrw_yaml_range)NRW_ABOVE_TO(0.0, 1e8),
                                 &r->setting->sample_rate_Hz))
        good = false;
    if (!file || !nrw_yaml_text(r->doc, file, "the path of a CSV or .npy file"))
        return false;
    if (good)
        r->setting->samples =
            r->source->open(r->source->context, r->doc, file, r->setting->sample_rate_Hz);
    return r->setting->samples;
}

/* --- heading, steering, wobble ---------------------------------------------- */

static bool read_heading_name(reading *r, const nrw_yaml_node *node)
{
    nrw_drive_setting *setting = r->setting;
    if (strcmp(node->text, "centreline") == 0) {
        setting->heading_kind = NRW_HEADING_CENTRELINE;
        return true;
    }
    if (!nrw_scenario_read_node(r->doc, node, r->map, &setting->heading_node,
                                setting->heading_name))
        return false;
    setting->heading_kind = NRW_HEADING_NODE;
    return true;
}

static bool read_heading(reading *r)
{
    const nrw_yaml_node *node = given(r, "heading");
    double ignored;
    if (!node)
        return true;
    /* The vectors of 'general' stand in the map's frame; an alternate drive may
     * inherit the heading, though. */
    if (r->mode_known && r->setting->mode == NRW_DRIVE_GENERAL &&
        (r->outer || !given(r, "alternate")))
        return nrw_yaml_error_at_key(r->doc, node, "vectors in the map's frame",
                                     "is no key of mode 'general'");
    if (node->kind != NRW_YAML_SCALAR || !*node->text)
        return nrw_yaml_error(r->doc, node, "degrees, a node's name or centreline",
                              "is no heading");
    r->setting->heading_kind = NRW_HEADING_FIXED;
    r->setting->heading_deg = 0.0;
    r->setting->heading_node = -1;
    r->setting->heading_name[0] = '\0';
    if (node->plain && nrw_yaml_number_read(node->text, &ignored) != NRW_YAML_NOT_A_NUMBER)
        return nrw_yaml_number(r->doc, node, (nrw_yaml_range)NRW_HEADING_DEGREES,
                               &r->setting->heading_deg);
    return read_heading_name(r, node);
}

static bool read_steer(reading *r)
{
    const nrw_yaml_node *node = given(r, "steer_by");
    if (!node)
        return true;
    int choice = nrw_yaml_choice(r->doc, node, STEERS, N_STEERS);
    r->setting->steer_by_rear = choice == 1;
    return choice >= 0;
}

static bool read_wobble(reading *r)
{
    static const nrw_yaml_field fields[] = {
        NRW_REQUIRED("deg", NRW_YAML_DOUBLE, nrw_drive_setting, wobble_deg, NRW_WOBBLE_DEGREES),
        NRW_OPTIONAL("period_s", NRW_YAML_DOUBLE, nrw_drive_setting, wobble_period_s,
                     NRW_WOBBLE_PERIODS),
    };
    const nrw_yaml_node *node = given(r, "wobble");
    if (!node)
        return true;
    r->setting->wobble_deg = 0.0;
    r->setting->wobble_period_s = 0.0;
    if (!nrw_yaml_fields(r->doc, node, fields, 2, r->setting))
        return false;
    const nrw_yaml_node *period = nrw_yaml_get(node, "period_s");
    bool varied = nrw_yaml_get(r->vary, "wobble.period_s");
    if (!(r->setting->wobble_deg > 0.0) || r->setting->wobble_period_s > 0.0 || varied)
        return true;
    if (!period)
        return nrw_yaml_error_missing(r->doc, node, "period_s", "a number in s above 0");
    return nrw_yaml_error(r->doc, period, "a number in s above 0", "a wobble can't have period 0");
}

/* --- whole drives ------------------------------------------------------------ */

static bool read_setting(reading *r)
{
    if (!nrw_yaml_is_map(r->doc, r->node))
        return false;
    bool good = read_mode(r);
    good = read_keys(r) && good;
    good = check_required(r) && good;
    good = read_sense(r) && good;
    good = read_axis(r) && good;
    good = check_general(r) && good;
    good = read_heading(r) && good;
    good = read_steer(r) && good;
    good = read_wobble(r) && good;
    return read_samples(r, good) && good;
}

static bool read_alternate(const reading *outer, const nrw_yaml_node *node, nrw_drive *drive)
{
    static const nrw_yaml_field fields[] = {
        NRW_REQUIRED("share", NRW_YAML_DOUBLE, nrw_drive, alternate_share, NRW_ALTERNATE_SHARES),
        NRW_REQUIRED("period_s", NRW_YAML_DOUBLE, nrw_drive, alternate_period_s,
                     NRW_ALTERNATE_PERIODS),
        NRW_REQUIRED_OTHER("drive"),
    };
    bool good = nrw_yaml_fields(outer->doc, node, fields, 3, drive);
    const nrw_yaml_node *inner = nrw_yaml_get(node, "drive");
    if (!inner)
        return false;
    const nrw_yaml_node *nested = nrw_yaml_get(inner, "alternate");
    if (nested)
        good = nrw_yaml_error_at_key(outer->doc, nested, "two drives in turn",
                                     "an alternate inside an alternate is not supported");
    if (!outer->mode_known && !nrw_yaml_get(inner, "mode"))
        return false; /* nobody can tell which keys it has */
    reading r = {.doc = outer->doc,
                 .map = outer->map,
                 .node = inner,
                 .outer = &drive->main,
                 .setting = &drive->other};
    return read_setting(&r) && good;
}

bool nrw_drive_read(nrw_yaml_doc *doc, const nrw_yaml_node *node, const nrw_map *map,
                    const nrw_yaml_node *vary, const nrw_samples_source *source, nrw_drive *drive)
{
    memset(drive, 0, sizeof *drive);
    drive->main = nrw_drive_setting_defaults();
    drive->other = nrw_drive_setting_defaults();
    reading r = {.doc = doc,
                 .map = map,
                 .node = node,
                 .vary = vary,
                 .source = source,
                 .setting = &drive->main};
    bool good = read_setting(&r);
    const nrw_yaml_node *alternate = nrw_yaml_get(node, "alternate");
    if (alternate && r.setting->mode != NRW_DRIVE_SAMPLED)
        good = read_alternate(&r, alternate, drive) && good;
    return good;
}

/* The value at a path of keys inside a drive, or the innermost around it. */
static const nrw_yaml_node *node_at(const nrw_yaml_node *node, const char *path)
{
    while (*path) {
        char key[NRW_NAME_SIZE];
        const size_t length = strcspn(path, ".");
        (void)snprintf(key, sizeof key, "%.*s", (int)length, path);
        const nrw_yaml_node *child = nrw_yaml_get(node, key);
        if (!child)
            break;
        node = child;
        path += length + (path[length] == '.');
    }
    return node;
}

bool nrw_drive_check_lag(nrw_yaml_doc *doc, const nrw_yaml_node *node, const nrw_drive *drive,
                         const nrw_particles *particles)
{
    double time_s;
    const char *key = particles->kind == NRW_MOMENT_INDUCED
                          ? nrw_drive_too_quick(drive, particles->relaxation_time_s, &time_s)
                          : NULL;
    return !key ||
           nrw_yaml_error(doc, node_at(node, key),
                          "ten times particles.magnetics.relaxation_time_s at least",
                          "%s of %.3g s is too quick for moments that take %.3g s to follow "
                          "(their lag behind slow changes of the drive is not modelled)",
                          key, time_s, particles->relaxation_time_s);
}

/* --- writing ----------------------------------------------------------------- */

static bool same_number(double a, double b)
{
    return a >= b && a <= b;
}

static bool same_vector(nrw_vec3 a, nrw_vec3 b)
{
    return same_number(a.x, b.x) && same_number(a.y, b.y) && same_number(a.z, b.z);
}

static void write_value(nrw_yaml_out *out, const nrw_drive_key *key,
                        const nrw_drive_setting *setting, const nrw_drive_setting *base,
                        bool required)
{
    const void *place = (const char *)setting + key->offset;
    const void *base_place = (const char *)base + key->offset;
    if (key->type == NRW_DRIVE_KEY_NUMBER) {
        double value, base_value;
        memcpy(&value, place, sizeof value);
        memcpy(&base_value, base_place, sizeof base_value);
        if (required || !same_number(value, base_value))
            nrw_yaml_out_pair(out, key->key, value);
        return;
    }
    nrw_vec3 value, base_value;
    memcpy(&value, place, sizeof value);
    memcpy(&base_value, base_place, sizeof base_value);
    if (!required && same_vector(value, base_value))
        return;
    nrw_yaml_out_key(out, key->key);
    nrw_yaml_out_begin_list(out, true);
    nrw_yaml_out_number(out, value.x);
    nrw_yaml_out_number(out, value.y);
    nrw_yaml_out_number(out, value.z);
    nrw_yaml_out_end_list(out);
}

static void write_heading(nrw_yaml_out *out, const nrw_drive_setting *setting,
                          const nrw_drive_setting *base)
{
    bool same = setting->heading_kind == base->heading_kind &&
                same_number(setting->heading_deg, base->heading_deg) &&
                strcmp(setting->heading_name, base->heading_name) == 0;
    if (same)
        return;
    if (setting->heading_kind == NRW_HEADING_FIXED)
        nrw_yaml_out_pair(out, "heading", setting->heading_deg);
    else
        nrw_yaml_out_word(out, "heading",
                          setting->heading_kind == NRW_HEADING_NODE ? setting->heading_name
                                                                    : "centreline");
}

static void write_steer_and_wobble(nrw_yaml_out *out, const nrw_drive_setting *setting,
                                   const nrw_drive_setting *base)
{
    if (setting->steer_by_rear != base->steer_by_rear)
        nrw_yaml_out_word(out, "steer_by", STEERS[setting->steer_by_rear]);
    if (same_number(setting->wobble_deg, base->wobble_deg) &&
        same_number(setting->wobble_period_s, base->wobble_period_s))
        return;
    nrw_yaml_out_key(out, "wobble");
    nrw_yaml_out_begin_map(out, true);
    nrw_yaml_out_pair(out, "deg", setting->wobble_deg);
    nrw_yaml_out_pair(out, "period_s", setting->wobble_period_s);
    nrw_yaml_out_end_map(out);
}

static void write_samples(nrw_yaml_out *out, const char *key, const nrw_drive_setting *setting)
{
    if (strcmp(key, "file") == 0 && setting->samples)
        nrw_yaml_out_word(out, key, setting->samples->file);
    else if (strcmp(key, "sample_rate_Hz") == 0 && setting->sample_rate_Hz > 0.0)
        nrw_yaml_out_pair(out, key, setting->sample_rate_Hz);
}

/* Keys of the setting that differ from `base`, what a reader would assume; of an
 * outer drive also the required ones. `alternates`: another drive may inherit. */
static void write_setting(nrw_yaml_out *out, const nrw_drive_setting *setting,
                          const nrw_drive_setting *base, bool inner, bool alternates)
{
    size_t n;
    unsigned mode = NRW_DRIVE_MODE_BIT(setting->mode);
    const nrw_drive_key *keys = nrw_drive_keys(&n);
    bool rolling = setting->mode == NRW_DRIVE_ROTATING && setting->tilt_deg >= 90.0;
    for (size_t i = 0; i < n; i++) {
        const nrw_drive_key *key = &keys[i];
        bool required = !inner && key->required & mode;
        if (!(key->modes & mode))
            continue;
        if (setting->mode == NRW_DRIVE_SAMPLED)
            write_samples(out, key->key, setting);
        else if (key->type != NRW_DRIVE_KEY_OTHER)
            write_value(out, key, setting, base, required);
        else if (strcmp(key->key, "sense") == 0 && setting->sense != base->sense && !rolling)
            nrw_yaml_out_word(out, "sense", SENSES[setting->sense]);
        else if (strcmp(key->key, "axis") == 0 && (required || setting->axis != base->axis))
            nrw_yaml_out_word(out, "axis", AXES[setting->axis]);
        else if (strcmp(key->key, "heading") == 0 &&
                 (setting->mode != NRW_DRIVE_GENERAL || alternates))
            write_heading(out, setting, base);
    }
    write_steer_and_wobble(out, setting, base);
}

void nrw_drive_write(nrw_yaml_out *out, const nrw_drive *drive)
{
    const nrw_drive_setting defaults = nrw_drive_setting_defaults();
    nrw_yaml_out_begin_map(out, true);
    nrw_yaml_out_word(out, "mode", nrw_drive_mode_name(drive->main.mode));
    write_setting(out, &drive->main, &defaults, false, drive->alternate_share > 0.0);
    if (drive->alternate_share > 0.0) {
        const nrw_drive_setting base = nrw_drive_inherit(&drive->main, drive->other.mode);
        nrw_yaml_out_key(out, "alternate");
        nrw_yaml_out_begin_map(out, true);
        nrw_yaml_out_pair(out, "share", drive->alternate_share);
        nrw_yaml_out_pair(out, "period_s", drive->alternate_period_s);
        nrw_yaml_out_key(out, "drive");
        nrw_yaml_out_begin_map(out, true);
        if (drive->other.mode != drive->main.mode)
            nrw_yaml_out_word(out, "mode", nrw_drive_mode_name(drive->other.mode));
        write_setting(out, &drive->other, &base, true, false);
        nrw_yaml_out_end_map(out);
        nrw_yaml_out_end_map(out);
    }
    nrw_yaml_out_end_map(out);
}
