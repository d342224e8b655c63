#include "interrupt.h"

#include <signal.h>
#include <string.h>

/* The one piece of mutable global state: a signal handler can reach no other. */
static volatile sig_atomic_t requested;

static void handle(int signal_number)
{
    (void)signal_number;
    requested = 1;
}

void nrw_interrupt_install(void)
{
    struct sigaction action;
    memset(&action, 0, sizeof action);
    action.sa_handler = handle;
    action.sa_flags = (int)SA_RESETHAND;
    (void)sigemptyset(&action.sa_mask);
    (void)sigaction(SIGINT, &action, NULL);
    (void)sigaction(SIGTERM, &action, NULL);
}

bool nrw_interrupt_requested(void)
{
    return requested != 0;
}
