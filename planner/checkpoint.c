#include "checkpoint.h"

#include <errno.h>
#include <inttypes.h>
#include <stdlib.h>
#include <string.h>
#include <unistd.h>

#include "sha256.h"

/* First line: format and key. Every other: unit, words, END. */
#define HEAD "narrows-checkpoint/1 "
#define END " ;"

typedef struct entry {
    char *unit; /* owned; the text follows its terminator */
    const char *text;
} entry;

struct nrw_checkpoint {
    char *path; /* of the file beside the folder */
    FILE *file; /* the same, open at its end */
    char key[65];
    entry *entries; /* (n) by unit, taken over from before */
    size_t n, capacity;
};

/* --- names ------------------------------------------------------------------- */

static char *path_beside(const char *target)
{
    const char *slash = strrchr(target, '/');
    const char *base = slash ? slash + 1 : target;
    const int folder = (int)(base - target);
    const size_t size = strlen(target) + sizeof "..checkpoint";
    char *path = malloc(size);
    if (path)
        (void)snprintf(path, size, "%.*s.%s.checkpoint", folder, target, base);
    return path;
}

nrw_status nrw_checkpoint_key(size_t n, const char *const *texts, char key[65])
{
    /* lengths too, so that no two lists join to the same text */
    char *joined = NULL;
    size_t size = 0;
    FILE *file = open_memstream(&joined, &size);
    if (!file)
        return NRW_NO_MEMORY;
    for (size_t k = 0; k < n; k++)
        (void)fprintf(file, "%zu:%s\n", strlen(texts[k]), texts[k]);
    const bool good = fclose(file) == 0;
    if (good)
        nrw_sha256_hex(joined, size, key);
    free(joined);
    return good ? NRW_OK : NRW_NO_MEMORY;
}

/* --- reading ----------------------------------------------------------------- */

static bool keep_entry(nrw_checkpoint *checkpoint, const char *line, size_t length)
{
    if (checkpoint->n == checkpoint->capacity) {
        const size_t capacity = checkpoint->capacity ? 2 * checkpoint->capacity : 64;
        entry *entries = realloc(checkpoint->entries, capacity * sizeof *entries);
        if (!entries)
            return false;
        checkpoint->entries = entries;
        checkpoint->capacity = capacity;
    }
    char *unit = malloc(length + 1);
    if (!unit)
        return false;
    memcpy(unit, line, length);
    unit[length] = '\0';
    char *blank = strchr(unit, ' ');
    if (!blank) {
        free(unit);
        return true;
    }
    *blank = '\0';
    checkpoint->entries[checkpoint->n++] = (entry){unit, blank + 1};
    return true;
}

typedef enum reading { READ_NOTHING, READ_OTHER_JOB, READ_UNITS, READ_NO_MEMORY } reading;

static reading read_text(nrw_checkpoint *checkpoint, const char *text)
{
    const size_t head = strlen(HEAD);
    const char *line_end = strchr(text, '\n');
    if (!line_end || strncmp(text, HEAD, head) != 0)
        return READ_NOTHING;
    if ((size_t)(line_end - text) != head + 64 || memcmp(text + head, checkpoint->key, 64) != 0)
        return READ_OTHER_JOB;
    for (const char *line = line_end + 1; (line_end = strchr(line, '\n')); line = line_end + 1) {
        const size_t length = (size_t)(line_end - line), end = strlen(END);
        if (length < end || memcmp(line_end - end, END, end) != 0)
            continue;
        if (!keep_entry(checkpoint, line, length - end))
            return READ_NO_MEMORY;
    }
    return READ_UNITS;
}

static reading read_file(nrw_checkpoint *checkpoint, const char *path)
{
    reading result = READ_NOTHING;
    char *text = NULL;
    FILE *file = fopen(path, "rb");
    long size = -1;
    if (file && fseek(file, 0, SEEK_END) == 0)
        size = ftell(file);
    if (size >= 0 && fseek(file, 0, SEEK_SET) == 0)
        text = malloc((size_t)size + 1);
    if (text) {
        text[fread(text, 1, (size_t)size, file)] = '\0';
        result = read_text(checkpoint, text);
    }
    free(text);
    if (file)
        (void)fclose(file);
    return result;
}

static int by_unit(const void *a, const void *b)
{
    return strcmp(((const entry *)a)->unit, ((const entry *)b)->unit);
}

/* What is done already, from the partial folder and from the file beside it. */
static nrw_status take_over(nrw_checkpoint *checkpoint, const char *target, nrw_errors *errors)
{
    const size_t size = strlen(target) + sizeof "/" NRW_CHECKPOINT_FILE;
    char *inside = malloc(size);
    if (!inside)
        return nrw_errors_add(errors, NRW_NO_MEMORY, "", "out of memory");
    (void)snprintf(inside, size, "%s/%s", target, NRW_CHECKPOINT_FILE);
    const reading first = read_file(checkpoint, inside);
    free(inside);
    if (first == READ_OTHER_JOB)
        return nrw_errors_add(errors, NRW_BAD_USAGE,
                              "the same files, seed, model and options as before, or --force "
                              "to start anew",
                              "--resume: '%s' holds an interrupted job of another kind", target);
    if (first == READ_NO_MEMORY || read_file(checkpoint, checkpoint->path) == READ_NO_MEMORY)
        return nrw_errors_add(errors, NRW_NO_MEMORY, "", "out of memory");
    if (checkpoint->n > 0)
        qsort(checkpoint->entries, checkpoint->n, sizeof *checkpoint->entries, by_unit);
    return NRW_OK;
}

const char *nrw_checkpoint_find(const nrw_checkpoint *checkpoint, const char *unit)
{
    if (!checkpoint || checkpoint->n == 0)
        return NULL;
    char copy[256];
    (void)snprintf(copy, sizeof copy, "%s", unit);
    const entry wanted = {copy, NULL};
    const entry *found =
        bsearch(&wanted, checkpoint->entries, checkpoint->n, sizeof wanted, by_unit);
    return found ? found->text : NULL;
}

/* --- writing ----------------------------------------------------------------- */

static nrw_status write_failed(const nrw_checkpoint *checkpoint, nrw_errors *errors)
{
    return nrw_errors_add(errors, NRW_IO_FAILED, "", "%s: %s", checkpoint->path, strerror(errno));
}

/* The file anew with what was taken over; put in place only when it is whole, so
 * that a crash here loses nothing. */
static nrw_status begin_file(nrw_checkpoint *checkpoint, nrw_errors *errors)
{
    const size_t size = strlen(checkpoint->path) + sizeof ".new";
    char *fresh = malloc(size);
    if (!fresh)
        return nrw_errors_add(errors, NRW_NO_MEMORY, "", "out of memory");
    (void)snprintf(fresh, size, "%s.new", checkpoint->path);
    checkpoint->file = fopen(fresh, "wb");
    bool good = checkpoint->file != NULL;
    if (good) {
        (void)fprintf(checkpoint->file, "%s%s\n", HEAD, checkpoint->key);
        for (size_t k = 0; k < checkpoint->n; k++)
            (void)fprintf(checkpoint->file, "%s %s%s\n", checkpoint->entries[k].unit,
                          checkpoint->entries[k].text, END);
        good = fflush(checkpoint->file) == 0 && rename(fresh, checkpoint->path) == 0;
    }
    free(fresh);
    return good ? NRW_OK : write_failed(checkpoint, errors);
}

nrw_status nrw_checkpoint_add(nrw_checkpoint *checkpoint, const char *unit, const char *text,
                              nrw_errors *errors)
{
    (void)fprintf(checkpoint->file, "%s %s%s\n", unit, text, END);
    return fflush(checkpoint->file) == 0 ? NRW_OK : write_failed(checkpoint, errors);
}

nrw_status nrw_checkpoint_save(const nrw_checkpoint *checkpoint, nrw_store *store,
                               nrw_errors *errors)
{
    FILE *from = fopen(checkpoint->path, "rb"), *to = NULL;
    if (!from)
        return write_failed(checkpoint, errors);
    nrw_status status = nrw_store_file_open(store, NRW_CHECKPOINT_FILE, &to, errors);
    if (status == NRW_OK) {
        char block[4096];
        for (size_t n; (n = fread(block, 1, sizeof block, from)) > 0;)
            (void)fwrite(block, 1, n, to);
        status = nrw_store_file_close(store, NRW_CHECKPOINT_FILE, to, errors);
    }
    (void)fclose(from);
    return status;
}

/* --- begin and end ----------------------------------------------------------- */

nrw_status nrw_checkpoint_open(const char *target, const char key[65], bool resume,
                               nrw_checkpoint **checkpoint, nrw_errors *errors)
{
    nrw_checkpoint *made = calloc(1, sizeof *made);
    *checkpoint = made;
    if (made)
        made->path = path_beside(target);
    if (!made || !made->path)
        return nrw_errors_add(errors, NRW_NO_MEMORY, "", "out of memory");
    memcpy(made->key, key, sizeof made->key);
    nrw_status status = resume ? take_over(made, target, errors) : NRW_OK;
    return status == NRW_OK ? begin_file(made, errors) : status;
}

void nrw_checkpoint_close(nrw_checkpoint *checkpoint, bool keep)
{
    if (!checkpoint)
        return;
    if (checkpoint->file) {
        (void)fclose(checkpoint->file);
        if (!keep)
            (void)remove(checkpoint->path);
    }
    for (size_t k = 0; k < checkpoint->n; k++)
        free(checkpoint->entries[k].unit);
    free(checkpoint->entries);
    free(checkpoint->path);
    free(checkpoint);
}

/* --- words ------------------------------------------------------------------- */

void nrw_word_number(FILE *file, double value)
{
    (void)fprintf(file, " %a", value);
}

void nrw_word_integer(FILE *file, int64_t value)
{
    (void)fprintf(file, " %" PRId64, value);
}

double nrw_words_number(nrw_words *words)
{
    char *end = NULL;
    const double value = words->bad ? 0.0 : strtod(words->at, &end);
    if (words->bad || end == words->at) {
        words->bad = true;
        return 0.0;
    }
    words->at = end;
    return value;
}

int64_t nrw_words_integer(nrw_words *words)
{
    char *end = NULL;
    const int64_t value = words->bad ? 0 : strtoimax(words->at, &end, 10);
    if (words->bad || end == words->at || (*end != ' ' && *end != '\0')) {
        words->bad = true;
        return 0;
    }
    words->at = end;
    return value;
}

int64_t nrw_words_bounded(nrw_words *words, int64_t least, int64_t most)
{
    const int64_t value = nrw_words_integer(words);
    if (words->bad || value < least || value > most) {
        words->bad = true;
        return least;
    }
    return value;
}
