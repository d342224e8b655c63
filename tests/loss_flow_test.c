#include <criterion/criterion.h>
#include <string.h>

#include "loss_flow.h"
#include "straight_route.h"

/* Two throats, 100-160 µm and 300-340 µm along the route. */
static const nrw_throat throats[2] = {
    {100.0, 160.0, 14.0, 130.0, {130.0, 0.0}},
    {300.0, 340.0, 12.0, 320.0, {320.0, 0.0}},
};

enum { RELEASED, GATHERED, IN_1, PAST_1, IN_2, PAST_2, TARGET, RETAINED, N_STAGES };

enum { MOST = 16 };

typedef struct tracks {
    size_t n;
    double furthest[MOST], x[MOST], y[MOST], route[MOST];
    uint8_t gathered[MOST], arrived[MOST];
    nrw_fate fates[MOST];
    int vessels[MOST];
} tracks;

static void add(tracks *t, int gathered, double furthest, int arrived, nrw_fate fate, double x,
                int vessel)
{
    size_t i = t->n++;
    t->gathered[i] = (uint8_t)gathered;
    t->furthest[i] = furthest;
    t->arrived[i] = (uint8_t)arrived;
    t->fates[i] = fate;
    t->x[i] = t->route[i] = x;
    t->y[i] = 2.0 * x;
    t->vessels[i] = vessel;
}

static nrw_particle_history history_of(const tracks *t)
{
    return (nrw_particle_history){t->n, t->furthest, t->gathered, t->arrived, t->fates,
                                  t->x, t->y,        t->route,    t->vessels, NULL};
}

static tracks example(void)
{
    tracks t = {0};
    add(&t, 0, 40.0, 0, NRW_FATE_LEFT_BEHIND, 20.0, 0); /* never gathered */
    add(&t, 1, 90.0, 0, NRW_FATE_LEFT_BEHIND, 60.0, 0); /* before the first throat */
    add(&t, 1, 95.0, 0, NRW_FATE_LEFT_BEHIND, 90.0, 0);
    add(&t, 1, 120.0, 0, NRW_FATE_LEFT_BEHIND, 110.0, 1); /* inside it */
    add(&t, 1, 250.0, 0, NRW_FATE_WALL, 240.0, 2);        /* between the throats */
    add(&t, 0, 400.0, 0, NRW_FATE_SCATTERED, 390.0, 3);   /* past both, never gathered */
    add(&t, 1, 500.0, 1, NRW_FATE_WASHED_OUT, 900.0, 4);  /* arrived, then gone */
    add(&t, 1, 500.0, 1, NRW_FATE_DELIVERED, 500.0, 3);
    add(&t, 1, 480.0, 1, NRW_FATE_DELIVERED, 480.0, 3);
    add(&t, 1, 490.0, 0, NRW_FATE_DELIVERED, 490.0, 3); /* the end decides */
    return t;
}

static nrw_loss_flow flow_of(const tracks *t)
{
    nrw_loss_flow flow;
    nrw_particle_history history = history_of(t);
    cr_assert_eq(nrw_loss_flow_init(&flow, throats, 2, &history), NRW_OK);
    return flow;
}

static void expect_counts(const nrw_loss_flow *flow, const size_t reached[N_STAGES],
                          const size_t lost[N_STAGES])
{
    cr_assert_eq(flow->n_stages, N_STAGES);
    for (size_t s = 0; s < N_STAGES; s++) {
        cr_expect_eq(flow->stages[s].n_reached, reached[s], "reached stage %zu: %zu", s,
                     flow->stages[s].n_reached);
        cr_expect_eq(flow->stages[s].n_lost, lost[s], "lost at stage %zu: %zu", s,
                     flow->stages[s].n_lost);
    }
}

Test(loss_flow, every_particle_belongs_to_the_last_stage_it_reached)
{
    tracks t = example();
    nrw_loss_flow flow = flow_of(&t);
    expect_counts(&flow, (size_t[]){10, 9, 7, 6, 5, 5, 4, 3}, (size_t[]){1, 2, 1, 1, 0, 1, 1, 0});
    nrw_loss_flow_clear(&flow);
}

static void expect_balance(const nrw_loss_flow *flow)
{
    size_t lost = 0, exits = 0;
    for (size_t s = 0; s < flow->n_stages; s++) {
        size_t here = 0;
        for (size_t e = 0; e < flow->n_exits; e++)
            here += flow->exits[e].stage == s ? flow->exits[e].n : 0;
        cr_expect_eq(here, flow->stages[s].n_lost, "exits of stage %zu", s);
        lost += flow->stages[s].n_lost;
        exits += here;
    }
    cr_expect_eq(lost + flow->stages[flow->n_stages - 1].n_reached, flow->n);
    cr_expect_eq(flow->stages[0].n_reached, flow->n);
    cr_expect_eq(exits, lost);
}

Test(loss_flow, losses_and_exits_balance_exactly)
{
    tracks t = example();
    nrw_loss_flow flow = flow_of(&t);
    expect_balance(&flow);
    nrw_loss_flow_clear(&flow);
}

Test(loss_flow, exits_tell_vessel_fate_and_distance)
{
    tracks t = example();
    nrw_loss_flow flow = flow_of(&t);
    const nrw_flow_exit *before_throat = NULL;
    for (size_t e = 0; e < flow.n_exits; e++)
        if (flow.exits[e].stage == GATHERED)
            before_throat = &flow.exits[e];
    cr_assert_not_null(before_throat);
    cr_expect_eq(before_throat->n, 2);
    cr_expect_eq(before_throat->vessel, 0);
    cr_expect_eq(before_throat->fate, NRW_FATE_LEFT_BEHIND);
    cr_expect_float_eq(before_throat->route_um, 75.0, 1e-12);
    cr_expect_float_eq(before_throat->route_low_um, 60.0, 0.0);
    cr_expect_float_eq(before_throat->route_high_um, 90.0, 0.0);
    cr_expect_float_eq(before_throat->at_um[0], 75.0, 1e-12);
    cr_expect_float_eq(before_throat->at_um[1], 150.0, 1e-12);
    nrw_loss_flow_clear(&flow);
}

Test(loss_flow, exits_come_in_the_same_order_whatever_the_particles_order)
{
    tracks t = example(), reversed = {0};
    for (size_t i = t.n; i-- > 0;)
        add(&reversed, t.gathered[i], t.furthest[i], t.arrived[i], t.fates[i], t.x[i],
            t.vessels[i]);
    nrw_loss_flow a = flow_of(&t), b = flow_of(&reversed);
    cr_assert_eq(a.n_exits, b.n_exits);
    for (size_t e = 0; e < a.n_exits; e++) {
        cr_expect_eq(a.exits[e].stage, b.exits[e].stage);
        cr_expect_eq(a.exits[e].vessel, b.exits[e].vessel);
        cr_expect_eq(a.exits[e].fate, b.exits[e].fate);
        cr_expect_eq(a.exits[e].n, b.exits[e].n);
    }
    nrw_loss_flow_clear(&a);
    nrw_loss_flow_clear(&b);
}

Test(loss_flow, runs_add_up)
{
    tracks t = example(), other = {0};
    add(&other, 1, 120.0, 0, NRW_FATE_LEFT_BEHIND, 130.0, 1); /* joins an exit of the first */
    add(&other, 1, 110.0, 0, NRW_FATE_IN_TRANSIT, 105.0, 7);  /* a new exit */
    nrw_loss_flow total = {0}, first = flow_of(&t), second = flow_of(&other);
    cr_assert_eq(nrw_loss_flow_add(&total, &first), NRW_OK);
    cr_expect_eq(total.n_exits, first.n_exits);
    cr_assert_eq(nrw_loss_flow_add(&total, &second), NRW_OK);
    expect_counts(&total, (size_t[]){12, 11, 9, 6, 5, 5, 4, 3}, (size_t[]){1, 2, 3, 1, 0, 1, 1, 0});
    expect_balance(&total);
    cr_expect_eq(total.n_exits, first.n_exits + 1);
    for (size_t e = 0; e < total.n_exits; e++)
        if (total.exits[e].stage == IN_1 && total.exits[e].vessel == 1) {
            cr_expect_eq(total.exits[e].n, 2);
            cr_expect_float_eq(total.exits[e].route_um, 120.0, 1e-12);
        }
    nrw_loss_flow_clear(&total);
    nrw_loss_flow_clear(&first);
    nrw_loss_flow_clear(&second);
}

Test(loss_flow, shares_sum_to_a_hundred_percent_in_every_rounding)
{
    for (size_t n = 1; n <= MOST; n++) {
        tracks t = {0};
        for (size_t i = 0; i < n; i++)
            add(&t, 1, 60.0 * (double)i, 0, i % 3 ? NRW_FATE_SCATTERED : NRW_FATE_DELIVERED, 1.0,
                0);
        nrw_loss_flow flow = flow_of(&t);
        int tenths[N_STAGES], sum = 0;
        cr_assert_eq(nrw_loss_flow_tenths(&flow, tenths), NRW_OK);
        for (size_t s = 0; s < N_STAGES; s++) {
            size_t count = s < RETAINED ? flow.stages[s].n_lost : flow.stages[s].n_reached;
            double exact = 1000.0 * (double)count / (double)n;
            cr_expect_float_eq(tenths[s], exact, 1.0, "never off by a tenth or more");
            sum += tenths[s];
        }
        cr_expect_eq(sum, 1000, "%zu particles: %d", n, sum);
        nrw_loss_flow_clear(&flow);
    }
}

Test(loss_flow, without_a_throat_released_gathered_target_retained_remain)
{
    tracks t = example();
    nrw_loss_flow flow;
    nrw_particle_history history = history_of(&t);
    history.gathered = NULL; /* no gathering leg: nobody is lost for it */
    cr_assert_eq(nrw_loss_flow_init(&flow, NULL, 0, &history), NRW_OK);
    cr_assert_eq(flow.n_stages, 4);
    cr_expect_eq(flow.stages[0].n_lost, 0);
    cr_expect_eq(flow.stages[1].n_lost, 6);
    cr_expect_eq(flow.stages[2].n_lost, 1);
    cr_expect_eq(flow.stages[3].n_reached, 3);
    nrw_loss_flow_clear(&flow);
}

Test(loss_flow, exits_of_one_place_are_kept_apart_by_cause_and_sum_to_a_whole)
{
    tracks t = example();
    uint8_t causes[MOST] = {NRW_LOSS_OTHER,     NRW_LOSS_POCKET, NRW_LOSS_PLUGGED,
                            NRW_LOSS_IN_THROAT, NRW_LOSS_STUCK,  NRW_LOSS_PAST_BUT_APART,
                            NRW_LOSS_SWEPT};
    nrw_loss_flow flow, twice = {0};
    nrw_particle_history history = history_of(&t);
    history.causes = causes;
    cr_assert_eq(nrw_loss_flow_init(&flow, throats, 2, &history), NRW_OK);
    expect_balance(&flow);
    cr_assert_eq(flow.n_exits, 7, "each of the seven lost has a cause or a place of its own");
    /* by the order of causes: plugged before pocket, though found after it */
    cr_expect_eq(flow.exits[1].cause, NRW_LOSS_PLUGGED);
    cr_expect_eq(flow.exits[2].cause, NRW_LOSS_POCKET);
    cr_assert_eq(nrw_loss_flow_add(&twice, &flow), NRW_OK);
    cr_assert_eq(nrw_loss_flow_add(&twice, &flow), NRW_OK);
    cr_expect_eq(twice.n_exits, 7);
    int tenths[MOST], sum = 0;
    cr_assert_eq(nrw_loss_flow_exit_tenths(&twice, tenths), NRW_OK);
    for (size_t e = 0; e <= twice.n_exits; e++)
        sum += tenths[e];
    cr_expect_eq(sum, 1000);
    cr_expect_eq(tenths[twice.n_exits], 300, "three of ten are retained");
    nrw_loss_flow_clear(&flow);
    nrw_loss_flow_clear(&twice);
}

Test(loss_flow, of_a_run_takes_place_and_distance_from_the_channel)
{
    tracks t = example();
    nrw_channel *route = straight_route(0.0, 0.0, 1000.0, 0.0);
    nrw_run_result run;
    memset(&run, 0, sizeof run);
    run.n_particles = t.n;
    run.x_um = t.x;
    run.y_um = t.y;
    run.fates = t.fates;
    run.furthest_um = t.furthest;
    nrw_loss_flow flow;
    cr_assert_eq(nrw_loss_flow_of_run(&flow, route, &run, t.gathered, t.arrived), NRW_OK);
    expect_balance(&flow);
    cr_assert_eq(flow.n_stages, 4, "an open map has no throat");
    for (size_t e = 0; e < flow.n_exits; e++) {
        cr_expect_eq(flow.exits[e].vessel, -1);
        cr_expect_float_eq(flow.exits[e].route_um, flow.exits[e].at_um[0], 1e-9,
                           "the route runs along x from 0");
    }
    cr_expect_eq(flow.stages[2].n_lost, 1, "one arrived and left again");
    nrw_loss_flow_clear(&flow);
    /* without the notes of the run, only the end tells who arrived */
    cr_assert_eq(nrw_loss_flow_of_run(&flow, route, &run, NULL, NULL), NRW_OK);
    expect_balance(&flow);
    cr_expect_eq(flow.stages[1].n_reached, t.n);
    cr_expect_eq(flow.stages[2].n_lost, 0);
    nrw_loss_flow_clear(&flow);
    nrw_channel_destroy(route);
}

Test(loss_flow, stages_have_names)
{
    tracks t = example();
    nrw_loss_flow flow = flow_of(&t);
    const char *names[] = {"released",        "gathered",         "throat 1 entered",
                           "throat 1 passed", "throat 2 entered", "throat 2 passed",
                           "target",          "retained"};
    for (size_t s = 0; s < N_STAGES; s++) {
        char text[40];
        nrw_flow_stage_name(&flow.stages[s], text, sizeof text);
        cr_expect_str_eq(text, names[s]);
    }
    nrw_loss_flow_clear(&flow);
}
