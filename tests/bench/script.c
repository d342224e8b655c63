#include <math.h>
#include <signal.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/wait.h>
#include <unistd.h>

#include "bench.h"

struct bench_script {
    pid_t process;
    FILE *to, *from;
    char in[64], out[64]; /* files that it reads and writes; removed with it */
};

static bool write_swarm(const bench_script *script, const bench_swarm *swarm, double cutoff)
{
    FILE *file = fopen(script->in, "wb");
    if (!file)
        return false;
    const double head[3] = {(double)swarm->n, isfinite(cutoff) ? cutoff : 1e30, swarm->core2};
    bool good = fwrite(head, sizeof(double), 3, file) == 3 &&
                fwrite(swarm->tensor, sizeof(double), NRW_N_TENSOR, file) == NRW_N_TENSOR;
    for (size_t i = 0; i < swarm->n; i++) {
        const double at[3] = {(double)swarm->x[i], (double)swarm->y[i], (double)swarm->z[i]};
        good = good && fwrite(at, sizeof(double), 3, file) == 3;
    }
    for (size_t i = 0; i < swarm->n; i++) {
        const double moment = (double)swarm->moment[i];
        good = good && fwrite(&moment, sizeof moment, 1, file) == 1;
    }
    return fclose(file) == 0 && good;
}

static bool read_forces(const bench_script *script, size_t n, double (*forces)[3])
{
    FILE *file = fopen(script->out, "rb");
    if (!file)
        return false;
    const size_t read = fread(forces, sizeof *forces, n, file);
    (void)fclose(file);
    return read == n;
}

/* The child's side: never returns. */
static void become_python(const char *python, const char *path, const bench_script *script,
                          const int to[2], const int from[2])
{
    (void)close(to[1]);
    (void)close(from[0]);
    if (dup2(to[0], STDIN_FILENO) >= 0 && dup2(from[1], STDOUT_FILENO) >= 0 &&
        freopen("/dev/null", "w", stderr))
        (void)execlp(python, python, path, script->in, script->out, (char *)NULL);
    _exit(127);
}

static bool start(bench_script *script, const char *python, const char *path)
{
    int to[2], from[2];
    char word[16] = "";
    if (pipe(to) != 0)
        return false;
    if (pipe(from) != 0) {
        (void)close(to[0]);
        (void)close(to[1]);
        return false;
    }
    (void)fflush(NULL);
    script->process = fork();
    if (script->process == 0)
        become_python(python, path, script, to, from);
    (void)close(to[0]);
    (void)close(from[1]);
    script->to = fdopen(to[1], "w");
    script->from = fdopen(from[0], "r");
    if (script->process > 0 && script->to && script->from &&
        fgets(word, sizeof word, script->from) && strcmp(word, "ready\n") == 0)
        return true;
    if (script->to)
        (void)fclose(script->to);
    if (script->from)
        (void)fclose(script->from);
    if (script->process > 0)
        (void)waitpid(script->process, NULL, 0);
    return false;
}

static bool name_file(char *name, size_t size)
{
    const char *base = getenv("TMPDIR");
    (void)snprintf(name, size, "%s/narrows-bench-XXXXXX", base && *base ? base : "/tmp");
    const int file = mkstemp(name);
    return file >= 0 && close(file) == 0;
}

bench_script *bench_script_start(const bench_report *report, const char *file,
                                 const bench_swarm *swarm, double cutoff_um, double (*forces)[3],
                                 char *why, size_t size)
{
    const char *const pythons[] = {getenv("PYTHON"), "python3", "/usr/bin/python3"};
    char path[512];
    (void)snprintf(path, sizeof path, "%s/%s", report->scripts, file);
    (void)snprintf(why, size, "%s could not be started: it wants python3-numpy and python3-scipy",
                   path);
    (void)signal(SIGPIPE, SIG_IGN);
    bench_script *script = calloc(1, sizeof *script);
    if (!script || !name_file(script->in, sizeof script->in) ||
        !name_file(script->out, sizeof script->out) || !write_swarm(script, swarm, cutoff_um)) {
        (void)snprintf(why, size, "no room for temporary files");
        free(script);
        return NULL;
    }
    bool started = false;
    for (size_t k = 0; k < sizeof pythons / sizeof *pythons && !started; k++)
        started = pythons[k] && start(script, pythons[k], path);
    if (started && read_forces(script, swarm->n, forces))
        return script;
    if (started) {
        bench_script_stop(script);
        return NULL;
    }
    (void)remove(script->in);
    (void)remove(script->out);
    free(script);
    return NULL;
}

double bench_script_seconds(void *part, size_t calls)
{
    const bench_script_part *it = part;
    double seconds = NAN;
    char line[64];
    if (fprintf(it->script->to, "%zu %s\n", calls, it->function) < 0 ||
        fflush(it->script->to) != 0 || !fgets(line, sizeof line, it->script->from) ||
        sscanf(line, "%lf", &seconds) != 1)
        return NAN;
    return seconds;
}

void bench_script_stop(bench_script *script)
{
    if (!script)
        return;
    (void)fclose(script->to);
    (void)fclose(script->from);
    (void)waitpid(script->process, NULL, 0);
    (void)remove(script->in);
    (void)remove(script->out);
    free(script);
}
