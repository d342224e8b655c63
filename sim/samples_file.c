#include "samples_file.h"

#include <errno.h>
#include <math.h>
#include <stdarg.h>
#include <stdbool.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/stat.h>
#include <sys/types.h>

#include "number.h"

enum { TIME, X, Y, Z, N_COLUMNS };
static const char *const NAMES[N_COLUMNS] = {"time_s", "x_mT", "y_mT", "z_mT"};

#define COLUMNS_MAX 256
#define FIELD_MAX_MT 1e4
/* Times must be those of even sampling within this share of an interval: what rounding
 * to a few digits leaves. */
#define UNEVEN_MAX 0.02
#define RATE_MAX_HZ 1e8

typedef struct csv_reading {
    FILE *stream;
    char *line; /* of getline */
    size_t line_size;
    size_t line_number;
    char *fields[COLUMNS_MAX]; /* (n_fields) inside line, terminated */
    int n_fields;
    int column[N_COLUMNS]; /* -1: none */
    int n_header;
    double *times_s; /* (capacity), as the next one */
    float (*field_mT)[3];
    size_t n, capacity;
    char *fault;
    size_t fault_size;
} csv_reading;

static nrw_status bad(csv_reading *r, const char *what, ...) __attribute__((format(printf, 2, 3)));

static nrw_status bad(csv_reading *r, const char *what, ...)
{
    va_list arguments;
    va_start(arguments, what);
    (void)vsnprintf(r->fault, r->fault_size, what, arguments);
    va_end(arguments);
    return NRW_BAD_INPUT;
}

/* Takes a line apart in place; quotes as in RFC 4180, but no line break inside them.
 * False: too many fields, or a quote that is not closed. */
static bool split(csv_reading *r)
{
    char *read = r->line;
    r->n_fields = 0;
    for (;;) {
        if (r->n_fields == COLUMNS_MAX)
            return false;
        char *write = read;
        r->fields[r->n_fields++] = read;
        if (*read == '"') {
            for (read++; *read != '"' || *++read == '"'; *write++ = *read++)
                if (*read == '\0')
                    return false;
        }
        while (*read && *read != ',')
            *write++ = *read++;
        const char end = *read;
        *write = '\0';
        if (!end)
            return true;
        read++;
    }
}

/* The next line without its end, in fields; false at the end of the file or on failure
 * (*status). Empty lines are passed over. */
static bool next_line(csv_reading *r, nrw_status *status)
{
    *status = NRW_OK;
    for (;;) {
        errno = 0;
        ssize_t length = getline(&r->line, &r->line_size, r->stream);
        if (length < 0) {
            if (errno == ENOMEM)
                *status = NRW_NO_MEMORY;
            else if (ferror(r->stream))
                *status = bad(r, "can't be read: %s", strerror(errno));
            return false;
        }
        r->line_number++;
        if (memchr(r->line, '\0', (size_t)length)) {
            *status = bad(r, "line %zu: is no text", r->line_number);
            return false;
        }
        while (length > 0 && strchr("\r\n", r->line[length - 1]))
            r->line[--length] = '\0';
        if (length == 0)
            continue;
        if (!split(r)) {
            *status = bad(r, "line %zu: more than %d fields, or a quote that is not closed",
                          r->line_number, COLUMNS_MAX);
            return false;
        }
        return true;
    }
}

static nrw_status read_header(csv_reading *r)
{
    nrw_status status;
    if (!next_line(r, &status))
        return status == NRW_OK ? bad(r, "is empty") : status;
    r->n_header = r->n_fields;
    for (int c = 0; c < N_COLUMNS; c++) {
        r->column[c] = -1;
        for (int i = 0; i < r->n_fields; i++)
            if (strcmp(r->fields[i], NAMES[c]) == 0)
                r->column[c] = i;
        if (r->column[c] < 0 && c != Z)
            return bad(r, "line %zu: has no column %s", r->line_number, NAMES[c]);
    }
    return NRW_OK;
}

/* Numbers of up to 15 digits without an exponent, which a quotient of two exact doubles
 * rounds correctly (Clinger 1990); the files have millions of them. Others are left to
 * nrw_number_read. */
static double number_of(const char *text)
{
    static const double powers[] = {1e0, 1e1, 1e2,  1e3,  1e4,  1e5,  1e6,  1e7,
                                    1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15};
    const char *at = text + (*text == '-');
    double mantissa = 0.0;
    int digits = 0, decimals = -1;
    for (; *at && digits <= 15; at++) {
        if (*at == '.' && decimals < 0) {
            decimals = 0;
            continue;
        }
        if (*at < '0' || *at > '9')
            return nrw_number_read(text);
        mantissa = 10.0 * mantissa + (*at - '0');
        digits++;
        decimals += decimals >= 0;
    }
    if (*at || digits == 0 || digits > 15)
        return nrw_number_read(text);
    const double size = decimals > 0 ? mantissa / powers[decimals] : mantissa;
    return *text == '-' ? -size : size;
}

static nrw_status read_number(csv_reading *r, int c, double *value)
{
    *value = 0.0;
    if (r->column[c] < 0)
        return NRW_OK;
    const char *text = r->fields[r->column[c]];
    if (c == Z && !*text)
        return NRW_OK; /* a rig without a vertical coil */
    *value = number_of(text);
    if (!isfinite(*value))
        return bad(r, "line %zu, field %d: %s '%.40s' is no number", r->line_number,
                   r->column[c] + 1, NAMES[c], text);
    if (c != TIME && fabs(*value) > FIELD_MAX_MT)
        return bad(r, "line %zu, field %d: %s %g is beyond ±%g", r->line_number, r->column[c] + 1,
                   NAMES[c], *value, FIELD_MAX_MT);
    return NRW_OK;
}

static bool make_room(csv_reading *r)
{
    if (r->n < r->capacity)
        return true;
    const size_t capacity = r->capacity ? 2 * r->capacity : 4096;
    double *times = realloc(r->times_s, capacity * sizeof *times);
    if (times)
        r->times_s = times;
    float(*field)[3] = realloc(r->field_mT, capacity * sizeof *field);
    if (field)
        r->field_mT = field;
    if (!times || !field)
        return false;
    r->capacity = capacity;
    return true;
}

static nrw_status read_record(csv_reading *r)
{
    double values[N_COLUMNS];
    if (r->n_fields != r->n_header)
        return bad(r, "line %zu: has %d fields, the header %d", r->line_number, r->n_fields,
                   r->n_header);
    for (int c = 0; c < N_COLUMNS; c++) {
        const nrw_status status = read_number(r, c, &values[c]);
        if (status != NRW_OK)
            return status;
    }
    if (r->n > 0 && !(values[TIME] > r->times_s[r->n - 1]))
        return bad(r, "line %zu: time_s %.10g is not after %.10g", r->line_number, values[TIME],
                   r->times_s[r->n - 1]);
    if (r->n == NRW_SAMPLES_MAX)
        return bad(r, "line %zu: more than %zu samples", r->line_number, NRW_SAMPLES_MAX);
    if (!make_room(r))
        return NRW_NO_MEMORY;
    r->times_s[r->n] = values[TIME];
    for (int i = 0; i < 3; i++)
        r->field_mT[r->n][i] = (float)values[X + i];
    r->n++;
    return NRW_OK;
}

/* That the samples are evenly spaced; *rate_Hz gets how. */
static nrw_status check_times(csv_reading *r, double *rate_Hz)
{
    if (r->n < 2)
        return bad(r, "holds %zu samples; at least 2 make a field", r->n);
    const double first = r->times_s[0];
    const double interval = (r->times_s[r->n - 1] - first) / (double)(r->n - 1);
    *rate_Hz = 1.0 / interval;
    if (*rate_Hz > RATE_MAX_HZ)
        return bad(r, "has %g samples a second, more than %g", *rate_Hz, RATE_MAX_HZ);
    for (size_t k = 1; k < r->n; k++)
        if (fabs(r->times_s[k] - r->times_s[k - 1] - interval) > UNEVEN_MAX * interval)
            return bad(r,
                       "is not evenly sampled: %.6g s from sample %zu to the next, on average "
                       "%.6g s",
                       r->times_s[k] - r->times_s[k - 1], k, interval);
    return NRW_OK;
}

static nrw_status read_all(csv_reading *r, double *rate_Hz)
{
    nrw_status status = read_header(r);
    while (status == NRW_OK && next_line(r, &status))
        status = read_record(r);
    return status == NRW_OK ? check_times(r, rate_Hz) : status;
}

FILE *nrw_samples_open(const char *path, char *fault, size_t fault_size)
{
    struct stat found;
    const bool there = stat(path, &found) == 0;
    FILE *stream = there && S_ISREG(found.st_mode) ? fopen(path, "rb") : NULL;
    if (!stream)
        (void)snprintf(fault, fault_size, "can't be read: %s",
                       there && !S_ISREG(found.st_mode) ? "it is no regular file"
                                                        : strerror(errno));
    return stream;
}

nrw_status nrw_samples_read_csv(const char *file, const char *path, nrw_samples **samples,
                                char *fault, size_t fault_size)
{
    csv_reading r = {.stream = nrw_samples_open(path, fault, fault_size),
                     .fault = fault,
                     .fault_size = fault_size};
    double rate_Hz = 0.0;
    *samples = NULL;
    if (!r.stream)
        return NRW_BAD_INPUT;
    nrw_status status = read_all(&r, &rate_Hz);
    (void)fclose(r.stream);
    free(r.line);
    free(r.times_s);
    if (status == NRW_OK) {
        *samples = nrw_samples_create(file, path, rate_Hz, r.n, r.field_mT);
        return *samples ? NRW_OK : NRW_NO_MEMORY;
    }
    free(r.field_mT);
    return status;
}
