/* The files of an export. */
#include <inttypes.h>
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include <nettle/sha2.h>

#include "csv.h"
#include "export_parts.h"
#include "npy.h"
#include "number.h"

#define DIGITS 8 /* of a column's peak that its values keep */
#define DECIMALS_MAX 15
#define PROGRESS_EVERY 65536
#define LINE_SIZE 4096
#define FILES_MAX 12

/* Names of the files written, for SHA256SUMS. */
typedef struct file_list {
    const char *names[FILES_MAX];
    int n;
} file_list;

/* --- decimals ---------------------------------------------------------------------- */

/* Decimals that keep DIGITS digits of a peak. */
static int decimals_for(double peak)
{
    if (!(peak > 0.0) || !isfinite(peak))
        return 0;
    const int above = (int)floor(log10(peak)) + 1;
    const int decimals = DIGITS - above;
    return decimals < 0 ? 0 : decimals > DECIMALS_MAX ? DECIMALS_MAX : decimals;
}

static char *put_text(char *at, const char *text)
{
    while (*text)
        *at++ = *text++;
    return at;
}

/* Writes a value rounded to `decimals`, trailing zeros left out; returns the end.
 * Many times quicker than printf, and the same in every locale. */
static char *put_fixed(char *at, double value, int decimals)
{
    uint64_t scale = 1;
    for (int i = 0; i < decimals; i++)
        scale *= 10;
    if (!(fabs(value) * (double)scale < 9e17)) { /* beyond a 64-bit integer */
        char text[NRW_NUMBER_SIZE];
        return put_text(at, nrw_number_text(value, text));
    }
    uint64_t whole = (uint64_t)llround(fabs(value) * (double)scale);
    if (value < 0.0 && whole > 0)
        *at++ = '-';
    char digits[24];
    int n = 0;
    do {
        digits[n++] = (char)('0' + whole % 10);
        whole /= 10;
    } while (whole > 0 || n <= decimals);
    int last = 0;
    while (last < decimals && digits[last] == '0')
        last++;
    for (int i = n - 1; i >= last; i--) {
        if (i == decimals - 1)
            *at++ = '.';
        *at++ = digits[i];
    }
    return at;
}

/* --- currents ----------------------------------------------------------------------- */

/* Column of each coil in currents.csv. A rig of axes has the contract's columns x,
 * y, z, the missing ones empty; other rigs have a column for each coil. */
typedef struct column_set {
    int n;
    int coil[NRW_COILS_MAX]; /* -1: none */
    char names[NRW_COILS_MAX][NRW_NAME_SIZE];
    int decimals_A[NRW_COILS_MAX], decimals_V[NRW_COILS_MAX];
    int decimals_mT;
} column_set;

static column_set columns_of(const nrw_export *export)
{
    static const char *const axes[] = {"x", "y", "z"};
    const nrw_rig_model *model = &export->model;
    column_set made;
    memset(&made, 0, sizeof made);
    const bool of_axes = export->config.scenario->rig.n_coils == 0;
    made.n = of_axes ? 3 : model->n_coils;
    for (int i = 0; i < made.n; i++) {
        const char *name = of_axes ? axes[i] : model->names[i];
        made.coil[i] = -1;
        (void)snprintf(made.names[i], sizeof made.names[i], "%s", name);
        for (int k = 0; k < model->n_coils; k++)
            if (strcmp(model->names[k], name) == 0)
                made.coil[i] = k;
        if (made.coil[i] < 0)
            continue;
        made.decimals_A[i] = decimals_for(export->peak_A[made.coil[i]]);
        made.decimals_V[i] = decimals_for(export->peak_V[made.coil[i]]);
    }
    made.decimals_mT = decimals_for(export->asked.field_mT);
    return made;
}

static void put_header(FILE *file, const column_set *columns)
{
    nrw_csv csv = {file, 0};
    static const char *const first[] = {"time_s", "leg", "x_mT", "y_mT", "z_mT"};
    for (size_t i = 0; i < sizeof first / sizeof *first; i++)
        nrw_csv_text(&csv, first[i]);
    for (int part = 0; part < 2; part++)
        for (int i = 0; i < columns->n; i++) {
            char name[NRW_NAME_SIZE + 4];
            (void)snprintf(name, sizeof name, "%s_%c", columns->names[i], part == 0 ? 'A' : 'V');
            nrw_csv_text(&csv, name);
        }
    nrw_csv_end_record(&csv);
}

/* A leg's name as a field of a record. */
static void quote(const char *name, char *field)
{
    const bool plain = !strpbrk(name, ",\"\r\n");
    if (!plain)
        *field++ = '"';
    for (; *name; name++) {
        if (*name == '"')
            *field++ = '"';
        *field++ = *name;
    }
    if (!plain)
        *field++ = '"';
    *field = '\0';
}

static void put_row(FILE *file, const column_set *columns, const nrw_wave_sample *sample,
                    const char *leg_field)
{
    char line[LINE_SIZE], *at = line, time[NRW_NUMBER_SIZE];
    at = put_text(at, nrw_number_text(sample->time_s, time));
    *at++ = ',';
    at = put_text(at, leg_field);
    for (int i = 0; i < 3; i++) {
        *at++ = ',';
        at = put_fixed(at, sample->field_mT[i], columns->decimals_mT);
    }
    for (int part = 0; part < 2; part++) {
        const double *values = part == 0 ? sample->current_A : sample->voltage_V;
        const int *decimals = part == 0 ? columns->decimals_A : columns->decimals_V;
        for (int i = 0; i < columns->n; i++) {
            *at++ = ',';
            if (columns->coil[i] >= 0)
                at = put_fixed(at, values[columns->coil[i]], decimals[i]);
        }
    }
    at = put_text(at, "\r\n");
    (void)fwrite(line, 1, (size_t)(at - line), file);
}

/* Open files of the second pass. */
typedef struct sampled_files {
    FILE *csv, *npy, *commands; /* commands: NULL where amplifiers need none */
    size_t data_offset;
} sampled_files;

static nrw_status put_samples(nrw_export *export, const sampled_files *files, nrw_errors *errors)
{
    const nrw_export_config *config = &export->config;
    const column_set columns = columns_of(export);
    const size_t n_coils = (size_t) export->model.n_coils;
    char leg_field[2 * NRW_NAME_SIZE + 3] = "";
    int leg = -1;
    size_t done = 0;
    nrw_wave_sample sample;
    put_header(files->csv, &columns);
    nrw_wave_rewind(export->wave);
    while (nrw_wave_next(export->wave, &sample)) {
        if (sample.leg != leg) {
            leg = sample.leg;
            quote(config->schedule->legs[leg].name, leg_field);
        }
        put_row(files->csv, &columns, &sample, leg_field);
        nrw_npy_put(files->npy, sample.current_A, n_coils);
        if (files->commands)
            nrw_npy_put(files->commands, sample.command_A, n_coils);
        if (++done % PROGRESS_EVERY == 0 && config->progress &&
            config->progress(config->progress_context, (double)done, (double)export->samples))
            return nrw_errors_add(errors, NRW_INTERRUPTED, NULL, "interrupted while writing");
    }
    return NRW_OK;
}

static nrw_status close_file(nrw_store *store, const char *name, FILE *file, nrw_status status,
                             nrw_errors *errors)
{
    if (!file)
        return status;
    const nrw_status closed = nrw_store_file_close(store, name, file, errors);
    return status == NRW_OK ? closed : status;
}

static nrw_status write_samples(nrw_export *export, nrw_store *store, file_list *list,
                                size_t *data_offset, nrw_errors *errors)
{
    sampled_files files = {NULL, NULL, NULL, 0};
    nrw_status status = nrw_store_file_open(store, "currents.csv", &files.csv, errors);
    if (status == NRW_OK)
        status = nrw_store_file_open(store, "currents.npy", &files.npy, errors);
    if (status == NRW_OK && export->rig.n_gains > 0)
        status = nrw_store_file_open(store, "commands.npy", &files.commands, errors);
    if (status == NRW_OK) {
        const size_t n_coils = (size_t) export->model.n_coils;
        *data_offset = nrw_npy_begin(files.npy, export->samples, n_coils);
        if (files.commands)
            (void)nrw_npy_begin(files.commands, export->samples, n_coils);
        status = put_samples(export, &files, errors);
    }
    list->names[list->n++] = "currents.csv";
    list->names[list->n++] = "currents.npy";
    if (files.commands)
        list->names[list->n++] = "commands.npy";
    status = close_file(store, "currents.csv", files.csv, status, errors);
    status = close_file(store, "currents.npy", files.npy, status, errors);
    return close_file(store, "commands.npy", files.commands, status, errors);
}

/* --- segments ------------------------------------------------------------------------ */

static void put_segment(nrw_csv *csv, const nrw_export *export, const nrw_segments *segments,
                        size_t index, nrw_segment_kind kind)
{
    const nrw_leg *leg = &export->config.schedule->legs[index];
    const nrw_leg_segments *made = &segments->legs[index];
    const bool loop = kind == NRW_SEGMENT_LOOP;
    nrw_csv_integer(csv, (int64_t)(index * NRW_N_SEGMENT_KINDS + kind));
    nrw_csv_text(csv, leg->name);
    nrw_csv_text(csv, nrw_segment_kind_name(kind));
    nrw_csv_integer(csv, (int64_t)made->first[kind]);
    nrw_csv_integer(csv, (int64_t)made->samples[kind]);
    if (loop && made->loops < 0)
        nrw_csv_text(csv, NULL);
    else
        nrw_csv_integer(csv, loop ? made->loops : 1);
    nrw_csv_number(csv, (double)made->samples[kind] / segments->sample_rate_Hz);
    nrw_csv_number(csv, made->frequency_Hz[0]);
    nrw_csv_number(csv, leg->drive.alternate_share > 0.0 ? made->frequency_Hz[1] : (double)NAN);
    nrw_csv_number(csv, made->largest_shift);
    nrw_csv_text(csv, nrw_export_is_fed_back(leg) ? "heading" : "map");
    nrw_csv_end_record(csv);
}

static nrw_status write_segments(const nrw_export *export, const nrw_segments *segments,
                                 nrw_store *store, file_list *list, size_t *offset,
                                 nrw_errors *errors)
{
    FILE *table = NULL, *data = NULL;
    const size_t n_coils = (size_t) export->model.n_coils;
    nrw_status status = nrw_store_file_open(store, "segments.csv", &table, errors);
    if (status == NRW_OK)
        status = nrw_store_file_open(store, "segments.npy", &data, errors);
    if (status == NRW_OK) {
        nrw_csv csv;
        nrw_csv_begin(&csv, table,
                      "segment,leg,kind,first_sample,samples,loops,duration_s,frequency_Hz,"
                      "other_frequency_Hz,largest_shift,frame");
        for (size_t i = 0; i < segments->n_legs; i++)
            for (int kind = 0; kind < NRW_N_SEGMENT_KINDS; kind++)
                put_segment(&csv, export, segments, i, (nrw_segment_kind)kind);
        *offset = nrw_npy_begin(data, segments->n_samples, 3 + n_coils);
        for (size_t i = 0; i < segments->n_samples; i++) {
            nrw_npy_put(data, &segments->field_mT[3 * i], 3);
            nrw_npy_put(data, &segments->current_A[i * n_coils], n_coils);
        }
    }
    list->names[list->n++] = "segments.csv";
    list->names[list->n++] = "segments.npy";
    status = close_file(store, "segments.csv", table, status, errors);
    return close_file(store, "segments.npy", data, status, errors);
}

/* --- checksums ----------------------------------------------------------------------- */

static nrw_status hash_file(const nrw_store *store, const char *name, char hex[65],
                            nrw_errors *errors)
{
    unsigned char buffer[65536], digest[SHA256_DIGEST_SIZE];
    const char *folder = nrw_store_path(store);
    const size_t size = strlen(folder) + strlen(name) + 2;
    char *path = malloc(size);
    if (!path)
        return nrw_errors_add(errors, NRW_NO_MEMORY, NULL, "out of memory");
    (void)snprintf(path, size, "%s/%s", folder, name);
    FILE *file = fopen(path, "rb");
    free(path);
    if (!file)
        return nrw_errors_add(errors, NRW_IO_FAILED, NULL, "can't read %s again", name);
    struct sha256_ctx context;
    sha256_init(&context);
    size_t n;
    while ((n = fread(buffer, 1, sizeof buffer, file)) > 0)
        sha256_update(&context, n, buffer);
    const bool failed = ferror(file) != 0;
    (void)fclose(file);
    sha256_digest(&context, sizeof digest, digest);
    for (size_t i = 0; i < sizeof digest; i++)
        (void)snprintf(hex + 2 * i, 3, "%02x", digest[i]);
    return failed ? nrw_errors_add(errors, NRW_IO_FAILED, NULL, "can't read %s again", name)
                  : NRW_OK;
}

static nrw_status write_checksums(nrw_store *store, const file_list *list, nrw_errors *errors)
{
    FILE *file = NULL;
    nrw_status status = nrw_store_file_open(store, "SHA256SUMS", &file, errors);
    for (int i = 0; i < list->n && status == NRW_OK; i++) {
        char hex[65] = "";
        status = hash_file(store, list->names[i], hex, errors);
        (void)fprintf(file, "%s  %s\n", hex, list->names[i]);
    }
    return close_file(store, "SHA256SUMS", file, status, errors);
}

/* --- all ------------------------------------------------------------------------------- */

/* Writes a text that was made, and frees it. */
static nrw_status write_text(nrw_store *store, const char *name, char *text, nrw_status status,
                             file_list *list, nrw_errors *errors)
{
    if (status == NRW_OK)
        status = nrw_store_put(store, name, text, strlen(text), errors);
    list->names[list->n++] = name;
    free(text);
    return status;
}

nrw_status nrw_export_write(nrw_export *export, nrw_store *store, nrw_errors *errors)
{
    file_list list = {.n = 0};
    size_t data_offset = 0, segments_offset = 0, size = 0;
    char *text = NULL;
    nrw_segments segments;
    nrw_status status = nrw_export_segments(export, &segments, errors);
    if (status != NRW_OK)
        return status;
    status = write_samples(export, store, &list, &data_offset, errors);
    if (status == NRW_OK)
        status = write_segments(export, &segments, store, &list, &segments_offset, errors);
    if (status == NRW_OK) {
        status = nrw_export_steps(export, &segments, &text, errors);
        status = write_text(store, "steps.json", text, status, &list, errors);
    }
    if (status == NRW_OK) {
        status = nrw_export_waveform_json(export, data_offset, segments_offset, &text, errors);
        status = write_text(store, "waveform.json", text, status, &list, errors);
    }
    if (status == NRW_OK) {
        status = nrw_export_card(export, &text, &size, errors);
        status = write_text(store, "bench-card.html", text, status, &list, errors);
    }
    nrw_segments_clear(&segments);
    return status == NRW_OK ? write_checksums(store, &list, errors) : status;
}
