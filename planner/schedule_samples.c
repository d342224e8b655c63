#include "schedule_samples.h"

#include <errno.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

#include "../sim/samples_file.h"
#include "../sim/scenario_file.h"
#include "../sim/sha256.h"
#include "samples_npy.h"

#define PATH_SIZE 4096

/* --- reading ------------------------------------------------------------------- */

static bool can_be_opened(const char *path)
{
    char ignored[200];
    FILE *stream = nrw_samples_open(path, ignored, sizeof ignored);
    if (stream)
        (void)fclose(stream);
    return stream;
}

/* Path of the file; a results folder holds it beside the schedule by its name alone. */
static char *find_file(const char *schedule_path, const char *file)
{
    const char *slash = strrchr(file, '/');
    char *path = nrw_scenario_beside(schedule_path, file);
    if (!slash || !path || can_be_opened(path))
        return path;
    char *other = nrw_scenario_beside(schedule_path, slash + 1);
    if (other && can_be_opened(other)) {
        free(path);
        return other;
    }
    free(other);
    return path;
}

static bool ends_in(const char *text, const char *end)
{
    const size_t length = strlen(text), n = strlen(end);
    return length >= n && strcmp(text + length - n, end) == 0;
}

static bool keep_samples(nrw_schedule *schedule, nrw_samples *samples)
{
    nrw_samples **all = realloc(schedule->samples, (schedule->n_samples + 1) * sizeof *all);
    if (!all)
        return false;
    schedule->samples = all;
    all[schedule->n_samples++] = samples;
    return true;
}

/* Legs that name the same file at the same rate share its samples. */
static const nrw_samples *known_samples(const nrw_schedule *schedule, const char *path,
                                        double rate_Hz)
{
    for (size_t i = 0; i < schedule->n_samples; i++) {
        const nrw_samples *samples = schedule->samples[i];
        if (strcmp(samples->path, path) == 0 &&
            (!(rate_Hz > 0.0) || (samples->rate_Hz >= rate_Hz && samples->rate_Hz <= rate_Hz)))
            return samples;
    }
    return NULL;
}

const nrw_samples *nrw_schedule_open_samples(void *context, nrw_yaml_doc *doc,
                                             const nrw_yaml_node *file, double sample_rate_Hz)
{
    const nrw_samples_context *where = context;
    nrw_samples *samples = NULL;
    char fault[300] = "";
    char *path = find_file(where->schedule_path, file->text);
    if (!path) {
        (void)nrw_yaml_no_memory(doc);
        return NULL;
    }
    const bool currents = ends_in(path, ".npy");
    if (!currents && sample_rate_Hz > 0.0) {
        free(path);
        (void)nrw_yaml_error_at_key(doc, nrw_yaml_get(file->parent, "sample_rate_Hz"),
                                    "a .npy file with it", "a CSV file has times of its own");
        return NULL;
    }
    const nrw_samples *known = known_samples(where->schedule, path, sample_rate_Hz);
    if (known) {
        free(path);
        return known;
    }
    const nrw_status status =
        currents ? nrw_samples_read_npy(file->text, path, sample_rate_Hz, &where->scenario->rig,
                                        &samples, fault, sizeof fault)
                 : nrw_samples_read_csv(file->text, path, &samples, fault, sizeof fault);
    free(path);
    if (status == NRW_BAD_INPUT)
        (void)nrw_yaml_error(doc, file,
                             currents ? "currents of the rig's coils as export writes them, and "
                                        "sample_rate_Hz or waveform.json"
                                      : "a CSV file with columns time_s, x_mT, y_mT, z_mT, evenly "
                                        "sampled",
                             "'%.200s' %s", file->text, fault);
    else if (status != NRW_OK || !keep_samples(where->schedule, samples)) {
        nrw_samples_destroy(samples);
        samples = NULL;
        (void)nrw_yaml_no_memory(doc);
    }
    return samples;
}

/* --- copies for a results folder ------------------------------------------------- */

static const char *base_name(const char *path)
{
    const char *slash = strrchr(path, '/');
    return slash ? slash + 1 : path;
}

static bool holds(const nrw_store *store, const char *name)
{
    char path[PATH_SIZE];
    const int length = snprintf(path, sizeof path, "%s/%s", nrw_store_path(store), name);
    return length > 0 && (size_t)length < sizeof path && can_be_opened(path);
}

static nrw_status copy_bytes(FILE *from, FILE *to, const char *path, nrw_errors *errors)
{
    char bytes[65536];
    size_t n;
    while ((n = fread(bytes, 1, sizeof bytes, from)) > 0)
        (void)fwrite(bytes, 1, n, to); /* failures are kept by the stream */
    return ferror(from) ? nrw_errors_add(errors, NRW_IO_FAILED, NULL, "%s: can't be read again: %s",
                                         path, strerror(errno))
                        : NRW_OK;
}

/* Copies a file under its own name unless the folder has one of that name already. */
static nrw_status copy_file(const char *path, nrw_store *store, nrw_errors *errors)
{
    FILE *to = NULL;
    const char *name = base_name(path);
    if (holds(store, name))
        return NRW_OK;
    FILE *from = fopen(path, "rb");
    if (!from)
        return nrw_errors_add(errors, NRW_IO_FAILED, NULL, "%s: can't be read again: %s", path,
                              strerror(errno));
    nrw_status status = nrw_store_file_open(store, name, &to, errors);
    if (status == NRW_OK) {
        status = copy_bytes(from, to, path, errors);
        const nrw_status closed = nrw_store_file_close(store, name, to, errors);
        status = status == NRW_OK ? closed : status;
    }
    (void)fclose(from);
    return status;
}

/* Currents are read with the rate in waveform.json, which goes along. */
static nrw_status copy_rate(const char *path, nrw_store *store, nrw_errors *errors)
{
    char *beside = nrw_scenario_beside(path, "waveform.json");
    if (!beside)
        return nrw_errors_add(errors, NRW_NO_MEMORY, NULL, "out of memory");
    const nrw_status status =
        ends_in(path, ".npy") && can_be_opened(beside) ? copy_file(beside, store, errors) : NRW_OK;
    free(beside);
    return status;
}

nrw_status nrw_schedule_copy_samples(const nrw_schedule *schedule, nrw_store *store,
                                     nrw_errors *errors)
{
    nrw_status status = NRW_OK;
    for (size_t i = 0; i < schedule->n_samples && status == NRW_OK; i++) {
        status = copy_file(schedule->samples[i]->path, store, errors);
        if (status == NRW_OK)
            status = copy_rate(schedule->samples[i]->path, store, errors);
    }
    return status;
}

void nrw_schedule_samples_digest(const nrw_schedule *schedule, char hex[65])
{
    hex[0] = '\0';
    for (size_t i = 0; i < schedule->n_samples; i++) {
        char both[2 * 65];
        const int length = snprintf(both, sizeof both, "%s%s", hex, schedule->samples[i]->sha256);
        nrw_sha256_hex(both, (size_t)length, hex);
    }
}
