#include <math.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/utsname.h>
#include <unistd.h>

#include "bench.h"
#include "version.h"

double bench_processors(void)
{
    return (double)sysconf(_SC_NPROCESSORS_ONLN);
}

/* Value of the first line of /proc/cpuinfo or /proc/meminfo that begins with `name`. */
static void line_of(const char *path, const char *name, char *value, size_t size)
{
    char line[512];
    value[0] = '\0';
    FILE *file = fopen(path, "r");
    if (!file)
        return;
    while (value[0] == '\0' && fgets(line, sizeof line, file)) {
        const char *colon = strchr(line, ':');
        if (strncmp(line, name, strlen(name)) != 0 || !colon)
            continue;
        (void)snprintf(value, size, "%s", colon + 1 + strspn(colon + 1, " \t"));
        value[strcspn(value, "\n")] = '\0';
    }
    (void)fclose(file);
}

void bench_machine(bench_report *report)
{
    char processor[256], memory[64];
    struct utsname system;
    line_of("/proc/cpuinfo", "model name", processor, sizeof processor);
    line_of("/proc/meminfo", "MemTotal", memory, sizeof memory);
    if (uname(&system) != 0)
        memset(&system, 0, sizeof system);
    json_t *machine = json_object();
    json_object_set_new(machine, "processor", json_string(processor));
    json_object_set_new(machine, "processors", json_real(bench_processors()));
    json_object_set_new(machine, "memory", json_string(memory));
    json_object_set_new(machine, "system", json_string(system.release));
    json_object_set_new(machine, "architecture", json_string(system.machine));
    json_object_set_new(machine, "compiler", json_string(__VERSION__));
    json_object_set_new(machine, "kernels", json_string(nrw_kernels_get()->name));
    json_object_set_new(machine, "version", json_string(NRW_VERSION));
    json_object_set_new(machine, "load", bench_real(bench_load()));
    json_object_set_new(report->root, "machine", machine);
    printf("%s, %.0f processors, kernels %s, load %.2f\n", processor, bench_processors(),
           nrw_kernels_get()->name, bench_load());
}
