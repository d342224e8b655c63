#include "svg.h"

#include <math.h>
#include <stdbool.h>

void nrw_svg_open(nrw_markup *out, const char *id, double width, double height, const char *title,
                  const char *description)
{
    nrw_markup_put(out,
                   "<svg class='picture' id='%r' viewBox='0 0 %c %c' role='img' "
                   "aria-labelledby='%r-title %r-desc'>\n"
                   "<title id='%r-title'>%s</title><desc id='%r-desc'>%s</desc>\n",
                   id, width, height, id, id, id, title, id, description);
}

void nrw_svg_close(nrw_markup *out)
{
    nrw_markup_put(out, "</svg>\n");
}

double nrw_svg_x(const nrw_svg_plot *plot, double x)
{
    return plot->left + plot->width * (x - plot->x_low) / (plot->x_high - plot->x_low);
}

double nrw_svg_y(const nrw_svg_plot *plot, double y)
{
    return plot->top + plot->height * (plot->y_high - y) / (plot->y_high - plot->y_low);
}

double nrw_svg_step(double range, int n)
{
    double least = range / n;
    if (!(least > 0) || !isfinite(least))
        return 1;
    double power = pow(10.0, floor(log10(least)));
    /* a hair of slack, so that 0.2 counts as 2 × 0.1 */
    double times = least / power * (1 - 1e-9);
    return power * (times <= 1 ? 1 : times <= 2 ? 2 : times <= 5 ? 5 : 10);
}

static double first_tick(double low, double step)
{
    return ceil(low / step - 1e-9) * step;
}

void nrw_svg_axis_x(const nrw_svg_plot *plot, const char *label)
{
    enum { MOST_TICKS = 7, TICK = 4, TEXT_BELOW = 17, LABEL_BELOW = 33 };
    double step = nrw_svg_step(plot->x_high - plot->x_low, MOST_TICKS);
    double bottom = plot->top + plot->height;
    nrw_markup_put(plot->out, "<g class='axis'><path d='M%c %ch%c' />", plot->left, bottom,
                   plot->width);
    for (double x = first_tick(plot->x_low, step); x <= plot->x_high + 1e-9 * step; x += step)
        nrw_markup_put(plot->out,
                       "<path d='M%c %cv%d'/><text x='%c' y='%c' text-anchor='middle'>%n</text>",
                       nrw_svg_x(plot, x), bottom, TICK, nrw_svg_x(plot, x), bottom + TEXT_BELOW,
                       fabs(x) < 1e-9 * step ? 0 : x);
    nrw_markup_put(plot->out, "<text x='%c' y='%c' text-anchor='end'>%s</text></g>\n",
                   plot->left + plot->width, bottom + LABEL_BELOW, label);
}

void nrw_svg_axis_y(const nrw_svg_plot *plot, const char *label)
{
    enum { UNITS_PER_TICK = 34, TEXT_LEFT = 6, TEXT_DOWN = 4, LABEL_ABOVE = 8 };
    int most = (int)(plot->height / UNITS_PER_TICK) + 1;
    double step = nrw_svg_step(plot->y_high - plot->y_low, most);
    nrw_markup_put(plot->out, "<g class='axis'>");
    for (double y = first_tick(plot->y_low, step); y <= plot->y_high + 1e-9 * step; y += step)
        nrw_markup_put(plot->out,
                       "<path class='grid' d='M%c %ch%c'/>"
                       "<text x='%c' y='%c' text-anchor='end'>%n</text>",
                       plot->left, nrw_svg_y(plot, y), plot->width, plot->left - TEXT_LEFT,
                       nrw_svg_y(plot, y) + TEXT_DOWN, fabs(y) < 1e-9 * step ? 0 : y);
    nrw_markup_put(plot->out, "<text x='2' y='%c'>%s</text></g>\n", plot->top - LABEL_ABOVE, label);
}

static double within(double value, double low, double high)
{
    return fmin(fmax(value, low), high);
}

/* Appends the points of one run without NAN, from *i on; reversed for the way
 * back of an area. Leaves *i at the end of the run. */
static void put_points(const nrw_svg_plot *plot, size_t n, const double *x, const double *y,
                       bool back, char first)
{
    const double least = 0.5;
    double last_x = -INFINITY, last_y = -INFINITY;
    for (size_t k = 0; k < n; k++) {
        size_t i = back ? n - 1 - k : k;
        double px = within(nrw_svg_x(plot, x[i]), plot->left, plot->left + plot->width);
        double py = within(nrw_svg_y(plot, y[i]), plot->top, plot->top + plot->height);
        if (k > 0 && k + 1 < n && fabs(px - last_x) < least && fabs(py - last_y) < least)
            continue;
        nrw_markup_put(plot->out, k == 0 && first == 'M' ? "M%c %c" : "L%c %c", px, py);
        last_x = px;
        last_y = py;
    }
}

/* End of the run of points with values that begins at i. */
static size_t run_end(size_t i, size_t n, const double *x, const double *low, const double *high)
{
    while (i < n && !isnan(x[i]) && !isnan(low[i]) && !isnan(high[i]))
        i++;
    return i;
}

void nrw_svg_line(const nrw_svg_plot *plot, const char *class_name, size_t n, const double *x,
                  const double *y)
{
    nrw_markup_put(plot->out, "<path class='%r' d='", class_name);
    for (size_t i = 0; i < n;) {
        size_t end = run_end(i, n, x, y, y);
        put_points(plot, end - i, x + i, y + i, false, 'M');
        i = end + 1;
    }
    nrw_markup_put(plot->out, "'/>\n");
}

void nrw_svg_area(const nrw_svg_plot *plot, const char *class_name, size_t n, const double *x,
                  const double *low, const double *high)
{
    nrw_markup_put(plot->out, "<path class='%r' d='", class_name);
    for (size_t i = 0; i < n;) {
        size_t end = run_end(i, n, x, low, high);
        if (end > i) {
            put_points(plot, end - i, x + i, high + i, false, 'M');
            put_points(plot, end - i, x + i, low + i, true, 'L');
            nrw_markup_put(plot->out, "Z");
        }
        i = end + 1;
    }
    nrw_markup_put(plot->out, "'/>\n");
}

static void put_rectangle(const nrw_svg_plot *plot, const char *class_name, double x, double y,
                          double width, double height)
{
    nrw_markup_put(plot->out, "<rect class='%r' x='%c' y='%c' width='%c' height='%c'/>\n",
                   class_name, x, y, width, height);
}

void nrw_svg_band_x(const nrw_svg_plot *plot, const char *class_name, double from, double to)
{
    double right = plot->left + plot->width;
    double a = within(nrw_svg_x(plot, from), plot->left, right);
    double b = within(nrw_svg_x(plot, to), plot->left, right);
    if (b > a)
        put_rectangle(plot, class_name, a, plot->top, b - a, plot->height);
}

void nrw_svg_band_y(const nrw_svg_plot *plot, const char *class_name, double from, double to)
{
    double bottom = plot->top + plot->height;
    double a = within(nrw_svg_y(plot, to), plot->top, bottom);
    double b = within(nrw_svg_y(plot, from), plot->top, bottom);
    if (b > a)
        put_rectangle(plot, class_name, plot->left, a, plot->width, b - a);
}

void nrw_svg_scale_bar(nrw_markup *out, double x, double y, double units_per_um, double longest)
{
    double most_um = longest / units_per_um;
    double power = pow(10.0, floor(log10(most_um)));
    double times = most_um / power;
    double length_um = power * (times >= 5 ? 5 : times >= 2 ? 2 : 1);
    double length = length_um * units_per_um;
    nrw_markup_put(out,
                   "<g class='scale'><path class='halo' d='M%c %ch%c'/><path d='M%c %ch%c'/>"
                   "<text class='halo' x='%c' y='%c' text-anchor='middle'>%n µm</text>"
                   "<text x='%c' y='%c' text-anchor='middle'>%n µm</text></g>\n",
                   x - length, y, length, x - length, y, length, x - length / 2, y - 6, length_um,
                   x - length / 2, y - 6, length_um);
}

double nrw_svg_text_width(const char *text)
{
    const double per_character = 6.4;
    double n = 0;
    for (; *text; text++)
        n += ((unsigned char)*text & 0xc0) != 0x80;
    return n * per_character;
}
