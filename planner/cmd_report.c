/* narrows report: reports made again from results folders, side by side, as Markdown,
 * and their pictures as files. */
#include <errno.h>
#include <spawn.h>
#include <stdlib.h>
#include <string.h>
#include <sys/wait.h>
#include <time.h>
#include <unistd.h>

#include "command.h"
#include "progress.h"

#define PATH_SIZE 4096

extern char **environ; /* for the program that draws PNG */

typedef struct report_work {
    const nrw_command_options *options;
    nrw_errors *errors;
    nrw_result *result;
    char *html; /* the page */
    size_t size;
    nrw_report_figures figures;
    size_t n_png;          /* pictures that were drawn as PNG too */
    char place[PATH_SIZE]; /* of the report, for people */
} report_work;

/* --- paths -------------------------------------------------------------------------- */

/* The way from one folder to another, both absolute and without "." and ".." in them:
 * "../figures". False: too long. */
static bool relative_path(const char *from, const char *to, char *path, size_t size)
{
    size_t common = 0, used = 0;
    for (size_t i = 0;; i++) {
        bool ends_from = from[i] == '\0' || from[i] == '/', ends_to = to[i] == '\0' || to[i] == '/';
        if (ends_from && ends_to)
            common = i;
        if (from[i] != to[i] || from[i] == '\0')
            break;
    }
    path[0] = '\0';
    for (const char *at = from + common; *at; at++)
        if (*at == '/' && at[1] != '\0' && at[1] != '/')
            used += (size_t)snprintf(path + used, used < size ? size - used : 0, "../");
    const char *rest = to + common;
    rest += *rest == '/';
    used += (size_t)snprintf(path + used, used < size ? size - used : 0, "%s", rest);
    if (used == 0)
        used += (size_t)snprintf(path, size, ".");
    return used < size;
}

/* The path from the root, without ".", ".." and doubled slashes; links are left as
 * they are. False: too long, or there is no current directory. */
static bool absolute_path(const char *path, char *text, size_t size)
{
    size_t used = 0;
    text[0] = '\0';
    if (path[0] != '/') {
        if (!getcwd(text, size))
            return false;
        used = strcmp(text, "/") == 0 ? 0 : strlen(text);
    }
    while (*path) {
        size_t length = strcspn(path, "/");
        if (length == 2 && strncmp(path, "..", 2) == 0) {
            while (used > 0 && text[--used] != '/')
                ;
        } else if (length > 0 && !(length == 1 && *path == '.')) {
            if (used + length + 2 > size)
                return false;
            text[used++] = '/';
            memcpy(text + used, path, length);
            used += length;
        }
        path += length + (path[length] == '/');
    }
    text[used] = '\0';
    return true;
}

/* --- pictures ------------------------------------------------------------------------ */

/* Draws one picture as PNG with rsvg-convert, twice its size. False: no such program. */
static bool draw_png(const char *dir, const char *name)
{
    char svg[PATH_SIZE], png[PATH_SIZE];
    (void)snprintf(svg, sizeof svg, "%s/%s.svg", dir, name);
    (void)snprintf(png, sizeof png, "%s/%s.png", dir, name);
    char *const arguments[] = {"rsvg-convert", "--zoom=2", "--output", png, svg, NULL};
    pid_t child;
    int status;
    if (posix_spawnp(&child, arguments[0], NULL, NULL, arguments, environ) != 0)
        return false;
    while (waitpid(child, &status, 0) < 0)
        if (errno != EINTR)
            return false;
    return WIFEXITED(status) && WEXITSTATUS(status) == 0;
}

/* Writes the pictures into a folder of their own. */
static nrw_status write_figures(report_work *work)
{
    nrw_store *store = NULL;
    char *leftover = NULL;
    nrw_status status = nrw_report_figures_of(work->html, &work->figures, work->errors);
    if (status == NRW_OK)
        status = nrw_store_open(work->options->figures, work->options->force, &store, work->errors);
    if (status != NRW_OK)
        return status;
    for (size_t i = 0; status == NRW_OK && i < work->figures.n; i++) {
        const nrw_report_figure *figure = &work->figures.items[i];
        char name[sizeof figure->name + 8];
        (void)snprintf(name, sizeof name, "%s.svg", figure->name);
        status = nrw_store_put(store, name, figure->svg, figure->size, work->errors);
        if (status == NRW_OK)
            work->n_png += draw_png(nrw_store_path(store), figure->name);
    }
    if (status != NRW_OK) {
        nrw_store_abandon(store, work->errors);
        return status;
    }
    status = nrw_store_commit(store, &leftover, work->errors);
    if (leftover)
        (void)fprintf(stderr, "note: the replaced folder is left at %s\n", leftover);
    free(leftover);
    if (status == NRW_OK && work->n_png < work->figures.n)
        (void)fprintf(stderr, "note: PNG files need rsvg-convert (Debian: librsvg2-bin); the SVG "
                              "files are all there\n");
    return status;
}

/* --- the report ------------------------------------------------------------------------ */

static void stamp(char *text, size_t size)
{
    time_t now = time(NULL);
    struct tm utc;
    if (now == (time_t)-1 || !gmtime_r(&now, &utc) ||
        strftime(text, size, "%Y-%m-%dT%H:%M:%SZ", &utc) == 0)
        text[0] = '\0';
}

static nrw_status begin_result(report_work *work)
{
    char started[32];
    stamp(started, sizeof started);
    work->result = nrw_result_create("report");
    if (!work->result)
        return nrw_errors_add(work->errors, NRW_NO_MEMORY, NULL, "out of memory");
    const nrw_provenance provenance = {.version = NRW_VERSION,
                                       .seed = work->options->seed,
                                       .threads = nrw_command_threads(),
                                       .started = started[0] ? started : NULL};
    nrw_result_provenance(work->result, &provenance);
    return NRW_OK;
}

static nrw_status make_page(report_work *work)
{
    const nrw_command_options *options = work->options;
    if (options->n_files > 1)
        return nrw_report_together(options->n_files, options->files, work->result, &work->html,
                                   &work->size, work->errors);
    nrw_result_string(work->result, "folder", options->files[0]);
    return nrw_report_remake(options->files[0], &work->html, &work->size, work->errors);
}

/* Where the report goes, as given. */
static const char *report_dir(const report_work *work)
{
    return work->options->out ? work->options->out : work->options->files[0];
}

/* The page as Markdown, with links to the pictures where they are files. */
static nrw_status to_markdown(report_work *work)
{
    char folder[PATH_SIZE], figures[PATH_SIZE], link[PATH_SIZE], *text = NULL;
    size_t size = 0;
    bool linked = work->options->figures &&
                  absolute_path(report_dir(work), folder, sizeof folder) &&
                  absolute_path(work->options->figures, figures, sizeof figures) &&
                  relative_path(folder, figures, link, sizeof link);
    nrw_status status =
        nrw_report_markdown(work->html, linked ? link : NULL, &text, &size, work->errors);
    if (status != NRW_OK)
        return status;
    free(work->html);
    work->html = text;
    work->size = size;
    return NRW_OK;
}

static const char *file_name(const report_work *work)
{
    return work->options->markdown ? "report.md" : "report.html";
}

/* Into a folder of its own, whole or not at all. */
static nrw_status write_folder(report_work *work, nrw_store *store)
{
    char *json = NULL, *leftover = NULL;
    nrw_status status = nrw_store_put(store, file_name(work), work->html, work->size, work->errors);
    if (status == NRW_OK)
        status = nrw_result_text(work->result, &json, work->errors);
    if (status == NRW_OK)
        status = nrw_store_put(store, "result.json", json, strlen(json), work->errors);
    free(json);
    if (status != NRW_OK) {
        nrw_store_abandon(store, work->errors);
        return status;
    }
    status = nrw_store_commit(store, &leftover, work->errors);
    if (leftover)
        (void)fprintf(stderr, "note: the replaced folder is left at %s\n", leftover);
    free(leftover);
    return status;
}

static nrw_status write_report(report_work *work, nrw_store *store)
{
    const nrw_command_options *options = work->options;
    const char *dir = report_dir(work);
    nrw_status status = NRW_OK;
    if (options->figures)
        status = write_figures(work);
    if (status == NRW_OK && options->markdown)
        status = to_markdown(work);
    (void)snprintf(work->place, sizeof work->place, "%s/%s", dir, file_name(work));
    nrw_result_string(work->result, "report", work->place);
    nrw_result_integer(work->result, "pictures", (int64_t)work->figures.n);
    if (status != NRW_OK) {
        nrw_store_abandon(store, work->errors);
        return status;
    }
    return store ? write_folder(work, store)
                 : nrw_store_replace(dir, file_name(work), work->html, work->size, work->errors);
}

/* --- the command ------------------------------------------------------------------------ */

static void describe(const report_work *work)
{
    const nrw_command_options *options = work->options;
    (void)printf("%s: %.1f kB%s\n", work->place, (double)work->size / 1e3,
                 options->n_files > 1 ? ", side by side" : "");
    if (options->figures)
        (void)printf("%s: %zu pictures as SVG%s\n", options->figures, work->figures.n,
                     work->n_png > 0 ? " and PNG" : "");
}

static nrw_status print(const report_work *work)
{
    char *json = NULL;
    if (!work->options->json) {
        if (!work->options->quiet)
            describe(work);
        return NRW_OK;
    }
    nrw_status status = nrw_result_text(work->result, &json, work->errors);
    if (status == NRW_OK)
        (void)fputs(json, stdout);
    free(json);
    return status;
}

static nrw_status run(const nrw_command_options *options, nrw_errors *errors)
{
    report_work work = {.options = options, .errors = errors};
    nrw_store *store = NULL;
    if (options->n_files > 1 && !options->out)
        return nrw_errors_add(errors, NRW_BAD_USAGE, "--out DIR, a folder for the page",
                              "report: several folders make a page of their own");
    nrw_status status = begin_result(&work);
    if (status == NRW_OK && options->out)
        status = nrw_store_open(options->out, options->force, &store, errors);
    if (status == NRW_OK) {
        status = make_page(&work);
        if (status == NRW_OK)
            status = write_report(&work, store);
        else
            nrw_store_abandon(store, errors);
    }
    if (status == NRW_OK)
        status = print(&work);
    nrw_report_figures_clear(&work.figures);
    nrw_result_destroy(work.result);
    free(work.html);
    return status;
}

const nrw_command nrw_command_report = {
    .name = "report",
    .summary = "make reports again from results folders, or set several side by side",
    .arguments = "DIR [DIR...] [--out DIR] [--format html|md] [--figures DIR]",
    .examples = "  narrows report results\n"
                "  narrows report plan estimate --out together\n"
                "  narrows report plan --format md --figures plan/figures\n",
    .details = "One folder: its report.html is made again from its files and replaced in one\n"
               "step, or written into the folder of --out. Several folders make one page that\n"
               "sets them side by side; those that ran the same trials are compared trial by\n"
               "trial. --format md writes report.md instead. --figures writes every picture as\n"
               "SVG, and as PNG where rsvg-convert is installed.\n",
    .options = NRW_OPTION_OUT | NRW_OPTION_FORCE | NRW_OPTION_FORMAT | NRW_OPTION_FIGURES,
    .files_min = 1,
    .files_max = 32,
    .run = run,
};
