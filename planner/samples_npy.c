#include "samples_npy.h"

#include <errno.h>
#include <math.h>
#include <stdarg.h>
#include <stdint.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include <jansson.h>

#include "../sim/samples_file.h"

#define HEADER_MAX 65536
#define FIELD_MAX_MT 1e4
#define RATE_MAX_HZ 1e8
#define PATH_MAX_SIZE 4096

typedef struct npy_reading {
    FILE *stream;
    size_t n_rows, n_columns;
    int bytes; /* 4 or 8 a number */
    char *fault;
    size_t fault_size;
} npy_reading;

static nrw_status bad(npy_reading *r, const char *what, ...) __attribute__((format(printf, 2, 3)));

static nrw_status bad(npy_reading *r, const char *what, ...)
{
    va_list arguments;
    va_start(arguments, what);
    (void)vsnprintf(r->fault, r->fault_size, what, arguments);
    va_end(arguments);
    return NRW_BAD_INPUT;
}

/* --- the header ----------------------------------------------------------------- */

/* Text behind 'KEY': in the header's dictionary, spaces skipped; "" where it is not. */
static const char *value_of(const char *header, const char *key)
{
    char quoted[40];
    (void)snprintf(quoted, sizeof quoted, "'%s':", key);
    const char *at = strstr(header, quoted);
    if (!at)
        return "";
    at += strlen(quoted);
    return at + strspn(at, " ");
}

static nrw_status parse_header(npy_reading *r, const char *header)
{
    const char *type = value_of(header, "descr"), *order = value_of(header, "fortran_order");
    const char *shape = value_of(header, "shape");
    r->bytes = strncmp(type, "'<f4'", 5) == 0 ? 4 : strncmp(type, "'<f8'", 5) == 0 ? 8 : 0;
    if (r->bytes == 0)
        return bad(r, "holds numbers of another type than '<f4' and '<f8'");
    if (strncmp(order, "False", 5) != 0)
        return bad(r, "is not stored row after row");
    char *end = NULL;
    const unsigned long long rows = *shape == '(' ? strtoull(shape + 1, &end, 10) : 0;
    if (!end || *end != ',')
        return bad(r, "has no shape (samples, coils)");
    const unsigned long long columns = strtoull(end + 1, &end, 10);
    if (*end != ')' || columns == 0)
        return bad(r, "has no shape (samples, coils)");
    if (rows < 2 || rows > NRW_SAMPLES_MAX)
        return bad(r, "holds %llu samples; 2 to %zu can be played", rows, NRW_SAMPLES_MAX);
    r->n_rows = (size_t)rows;
    r->n_columns = columns > NRW_COILS_MAX ? NRW_COILS_MAX + 1 : (size_t)columns;
    return NRW_OK;
}

static nrw_status read_header(npy_reading *r)
{
    unsigned char start[12];
    static const unsigned char magic[6] = {0x93, 'N', 'U', 'M', 'P', 'Y'};
    if (fread(start, 1, 10, r->stream) != 10 || memcmp(start, magic, sizeof magic) != 0)
        return bad(r, "is no .npy file");
    size_t size = (size_t)start[8] | (size_t)start[9] << 8;
    if (start[6] > 1) { /* versions 2 and 3 have four bytes */
        if (fread(start + 10, 1, 2, r->stream) != 2)
            return bad(r, "ends in its header");
        size |= (size_t)start[10] << 16 | (size_t)start[11] << 24;
    }
    if (size > HEADER_MAX)
        return bad(r, "has a header of %zu bytes", size);
    char *header = malloc(size + 1);
    if (!header)
        return NRW_NO_MEMORY;
    const size_t got = fread(header, 1, size, r->stream);
    header[got] = '\0';
    const nrw_status status = got == size ? parse_header(r, header) : bad(r, "ends in its header");
    free(header);
    return status;
}

/* --- the rate ------------------------------------------------------------------- */

static nrw_status rate_beside(npy_reading *r, const char *path, double *rate_Hz)
{
    char beside[PATH_MAX_SIZE];
    const char *slash = strrchr(path, '/');
    const int folder = slash ? (int)(slash - path) + 1 : 0;
    const int length = snprintf(beside, sizeof beside, "%.*swaveform.json", folder, path);
    json_error_t ignored;
    json_t *root =
        length > 0 && (size_t)length < sizeof beside ? json_load_file(beside, 0, &ignored) : NULL;
    *rate_Hz = json_number_value(json_object_get(root, "sample_rate_Hz"));
    json_decref(root);
    if (!(*rate_Hz > 0.0) || *rate_Hz > RATE_MAX_HZ)
        return bad(r, "has no sample rate: there is no waveform.json beside it that tells one");
    return NRW_OK;
}

/* --- the numbers ---------------------------------------------------------------- */

static double number_at(const unsigned char *bytes, int size)
{
    uint64_t bits = 0;
    for (int i = 0; i < size; i++)
        bits |= (uint64_t)bytes[i] << (8 * i);
    if (size == 8) {
        double value;
        memcpy(&value, &bits, sizeof value);
        return value;
    }
    const uint32_t half = (uint32_t)bits;
    float value;
    memcpy(&value, &half, sizeof value);
    return (double)value;
}

static nrw_status read_rows(npy_reading *r, const nrw_rig_model *model, float (*field_mT)[3])
{
    unsigned char row[8 * NRW_COILS_MAX];
    const size_t size = (size_t)r->bytes * r->n_columns;
    for (size_t k = 0; k < r->n_rows; k++) {
        double currents[NRW_COILS_MAX] = {0.0}, field[3];
        if (fread(row, 1, size, r->stream) != size)
            return bad(r, "can't be read: %s", ferror(r->stream) ? strerror(errno) : "it ends");
        for (size_t i = 0; i < r->n_columns; i++)
            currents[i] = number_at(row + (size_t)r->bytes * i, r->bytes);
        nrw_rig_field_mT(model, currents, field);
        for (int i = 0; i < 3; i++) {
            if (!(fabs(field[i]) <= FIELD_MAX_MT))
                return bad(r, "sample %zu: the currents give %g mT, beyond ±%g", k + 1, field[i],
                           FIELD_MAX_MT);
            field_mT[k][i] = (float)field[i];
        }
    }
    return NRW_OK;
}

/* Before memory is taken for what a header only claims. */
static nrw_status check_size(npy_reading *r)
{
    const long at = ftell(r->stream);
    if (at < 0 || fseek(r->stream, 0, SEEK_END) != 0)
        return bad(r, "can't be read: %s", strerror(errno));
    const long end = ftell(r->stream);
    if (end < at || fseek(r->stream, at, SEEK_SET) != 0)
        return bad(r, "can't be read: %s", strerror(errno));
    const size_t whole = (size_t)(end - at) / ((size_t)r->bytes * r->n_columns);
    return whole >= r->n_rows ? NRW_OK : bad(r, "ends at sample %zu of %zu", whole + 1, r->n_rows);
}

static nrw_status read_all(npy_reading *r, const char *path, double *rate_Hz, const nrw_rig *rig,
                           float (**field_mT)[3])
{
    nrw_rig_model model;
    nrw_status status = read_header(r);
    if (status != NRW_OK)
        return status;
    if (nrw_rig_model_init(&model, rig, NULL) != NRW_OK || !model.present)
        return bad(r, "holds currents, and the scenario has no rig to make a field of them");
    if ((size_t)model.n_coils != r->n_columns)
        return bad(r, "holds the currents of another number of coils than the rig's %d",
                   model.n_coils);
    if (!(*rate_Hz > 0.0) && (status = rate_beside(r, path, rate_Hz)) != NRW_OK)
        return status;
    if ((status = check_size(r)) != NRW_OK)
        return status;
    *field_mT = malloc(r->n_rows * sizeof **field_mT);
    return *field_mT ? read_rows(r, &model, *field_mT) : NRW_NO_MEMORY;
}

nrw_status nrw_samples_read_npy(const char *file, const char *path, double sample_rate_Hz,
                                const nrw_rig *rig, nrw_samples **samples, char *fault,
                                size_t fault_size)
{
    npy_reading r = {.stream = nrw_samples_open(path, fault, fault_size),
                     .fault = fault,
                     .fault_size = fault_size};
    float(*field_mT)[3] = NULL;
    double rate_Hz = sample_rate_Hz;
    *samples = NULL;
    if (!r.stream)
        return NRW_BAD_INPUT;
    const nrw_status status = read_all(&r, path, &rate_Hz, rig, &field_mT);
    (void)fclose(r.stream);
    if (status != NRW_OK) {
        free(field_mT);
        return status;
    }
    *samples = nrw_samples_create(file, path, rate_Hz, r.n_rows, field_mT);
    return *samples ? NRW_OK : NRW_NO_MEMORY;
}
