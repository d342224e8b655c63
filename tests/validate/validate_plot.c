/* Plots of `make validate`: SVG with axes, marks, intervals and lines. */
#include <math.h>
#include <stdlib.h>
#include <string.h>

#include "validate.h"

enum { WIDTH = 640, HEIGHT = 420, LEFT = 72, RIGHT = 16, TOP = 40, BOTTOM = 96 };

static const char *const colours[] = {"#0b6e8f", "#b5541c", "#4c7a2a", "#7a4fa3"};

typedef struct axis {
    bool log;
    double low, high; /* of log10 where log */
    double from, to;  /* on the page */
} axis;

static double value_of(const axis *a, double x)
{
    return a->log ? log10(x) : x;
}

static double at(const axis *a, double x)
{
    return a->from + (value_of(a, x) - a->low) / (a->high - a->low) * (a->to - a->from);
}

static void widen(axis *a, double x)
{
    if (!isfinite(x) || (a->log && !(x > 0.0)))
        return;
    a->low = fmin(a->low, value_of(a, x));
    a->high = fmax(a->high, value_of(a, x));
}

static double step_of(double range)
{
    const double power = pow(10.0, floor(log10(range / 4.0))), share = range / 4.0 / power;
    return power * (share < 1.5 ? 1.0 : share < 3.5 ? 2.0 : share < 7.5 ? 5.0 : 10.0);
}

static void fit(const validate_plot *plot, axis *x, axis *y)
{
    *x = (axis){plot->log_x, INFINITY, -INFINITY, LEFT, WIDTH - RIGHT};
    *y = (axis){plot->log_y, INFINITY, -INFINITY, HEIGHT - BOTTOM, TOP};
    for (size_t s = 0; s < plot->n_series; s++)
        for (size_t i = 0; i < plot->series[s].n; i++) {
            const validate_series *of = &plot->series[s];
            const double half = of->half ? of->half[i] : 0.0;
            widen(x, of->x[i]);
            widen(y, of->y[i] - half);
            widen(y, of->y[i] + half);
        }
    if (!y->log) {
        if (y->low > 0.0 && y->low < 0.5 * y->high)
            y->low = 0.0;
        const double pad = 0.06 * (y->high - y->low);
        y->low -= y->low < 0.0 ? pad : 0.0;
        y->high += pad;
    } else {
        y->low -= 0.08;
        y->high += 0.08;
    }
    const double pad = 0.03 * (x->high - x->low);
    x->low -= pad;
    x->high += pad;
}

static void put_tick(FILE *file, const axis *a, double value, bool across)
{
    const double p = at(a, value);
    if (across)
        (void)fprintf(file,
                      "<path class='grid' d='M%.1f %dV%d'/><text x='%.1f' y='%d' "
                      "text-anchor='middle'>%.4g</text>\n",
                      p, TOP, HEIGHT - BOTTOM, p, HEIGHT - BOTTOM + 18, value);
    else
        (void)fprintf(file,
                      "<path class='grid' d='M%d %.1fH%d'/><text x='%d' y='%.1f' "
                      "text-anchor='end'>%.4g</text>\n",
                      LEFT, p, WIDTH - RIGHT, LEFT - 8, p + 4.0, value);
}

static void put_axis(FILE *file, const axis *a, bool across)
{
    if (!a->log) {
        const double step = step_of(a->high - a->low);
        for (double v = step * ceil(a->low / step - 1e-9); v <= a->high + 1e-9 * step; v += step)
            put_tick(file, a, fabs(v) < 1e-9 * step ? 0.0 : v, across);
        return;
    }
    static const double digits[] = {1.0, 2.0, 5.0};
    for (double decade = floor(a->low); decade <= ceil(a->high); decade += 1.0)
        for (int k = 0; k < 3; k++) {
            const double v = digits[k] * pow(10.0, decade);
            if (log10(v) >= a->low && log10(v) <= a->high)
                put_tick(file, a, v, across);
        }
}

static void put_line(FILE *file, const validate_series *of, const axis *x, const axis *y,
                     const char *colour)
{
    (void)fprintf(file, "<polyline fill='none' stroke='%s' stroke-width='1.6' points='", colour);
    for (size_t i = 0; i < of->n; i++)
        (void)fprintf(file, "%.1f,%.1f ", at(x, of->x[i]), at(y, of->y[i]));
    (void)fprintf(file, "'/>\n");
}

static void put_marks(FILE *file, const validate_series *of, const axis *x, const axis *y,
                      const char *colour)
{
    for (size_t i = 0; i < of->n; i++) {
        const double px = at(x, of->x[i]), half = of->half ? of->half[i] : 0.0;
        if (!isfinite(of->y[i]))
            continue;
        double low = of->y[i] - half;
        if (y->log && !(low > 0.0))
            low = pow(10.0, y->low);
        if (half > 0.0)
            (void)fprintf(file, "<path stroke='%s' stroke-width='1.4' d='M%.1f %.1fV%.1f'/>\n",
                          colour, px, at(y, low), at(y, of->y[i] + half));
        (void)fprintf(file, "<circle cx='%.1f' cy='%.1f' r='3.6' fill='%s'/>\n", px,
                      at(y, of->y[i]), colour);
    }
}

static void put_key(FILE *file, const validate_plot *plot)
{
    double x = LEFT;
    for (size_t s = 0; s < plot->n_series; s++) {
        const char *colour = colours[s % 4];
        if (plot->series[s].line)
            (void)fprintf(file, "<path stroke='%s' stroke-width='1.6' d='M%.0f %dh18'/>\n", colour,
                          x, HEIGHT - 22);
        else
            (void)fprintf(file, "<circle cx='%.0f' cy='%d' r='3.6' fill='%s'/>\n", x + 9,
                          HEIGHT - 22, colour);
        (void)fprintf(file, "<text x='%.0f' y='%d'>%s</text>\n", x + 24, HEIGHT - 18,
                      plot->series[s].name);
        x += 44.0 + 7.2 * (double)strlen(plot->series[s].name);
    }
}

/* `name` with another ending. */
static FILE *open_in(const char *folder, const char *name, const char *ending)
{
    char path[512];
    const char *dot = strrchr(name, '.');
    (void)snprintf(path, sizeof path, "%s/%.*s%s", folder, (int)(dot ? dot - name : 200), name,
                   ending);
    FILE *file = fopen(path, "w");
    if (!file) {
        (void)fprintf(stderr, "validate: can't write %s\n", path);
        exit(1);
    }
    return file;
}

static void write_numbers(const char *folder, const validate_plot *plot)
{
    FILE *file = open_in(folder, plot->file, ".csv");
    (void)fprintf(file, "series,x,y,half\r\n");
    for (size_t s = 0; s < plot->n_series; s++)
        for (size_t i = 0; i < plot->series[s].n; i++)
            (void)fprintf(file, "\"%s\",%.6g,%.6g,%.3g\r\n", plot->series[s].name,
                          plot->series[s].x[i], plot->series[s].y[i],
                          plot->series[s].half ? plot->series[s].half[i] : 0.0);
    (void)fclose(file);
}

void validate_plot_write(const char *folder, const validate_plot *plot)
{
    axis x, y;
    fit(plot, &x, &y);
    FILE *file = open_in(folder, plot->file, ".svg");
    (void)fprintf(file,
                  "<svg xmlns='http://www.w3.org/2000/svg' viewBox='0 0 %d %d' role='img'>\n"
                  "<title>%s</title>\n<style>text{font:13px system-ui,'DejaVu Sans',sans-serif;"
                  "fill:#222}.grid{stroke:#ddd;fill:none}</style>\n"
                  "<rect width='%d' height='%d' fill='#fff'/>\n",
                  WIDTH, HEIGHT, plot->title, WIDTH, HEIGHT);
    put_axis(file, &x, true);
    put_axis(file, &y, false);
    (void)fprintf(file, "<rect x='%d' y='%d' width='%d' height='%d' fill='none' stroke='#444'/>\n",
                  LEFT, TOP, WIDTH - RIGHT - LEFT, HEIGHT - BOTTOM - TOP);
    for (size_t s = 0; s < plot->n_series; s++) {
        if (plot->series[s].line)
            put_line(file, &plot->series[s], &x, &y, colours[s % 4]);
        else
            put_marks(file, &plot->series[s], &x, &y, colours[s % 4]);
    }
    (void)fprintf(file,
                  "<text x='%d' y='22' font-weight='600'>%s</text>\n"
                  "<text x='%d' y='%d' text-anchor='middle'>%s</text>\n"
                  "<text transform='translate(18 %d) rotate(-90)' text-anchor='middle'>%s</text>\n",
                  LEFT, plot->title, (LEFT + WIDTH - RIGHT) / 2, HEIGHT - BOTTOM + 42,
                  plot->x_label, (TOP + HEIGHT - BOTTOM) / 2, plot->y_label);
    put_key(file, plot);
    (void)fprintf(file, "</svg>\n");
    (void)fclose(file);
    write_numbers(folder, plot);
}
