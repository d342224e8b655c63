#include "interrupt.h"

#include <signal.h>
#include <string.h>
#include <time.h>

enum { SAME_WISH_S = 1 };

/* The one piece of mutable global state: a signal handler can reach no other. */
static volatile sig_atomic_t requested;
static time_t requested_at; /* written before `requested`, read after it */

/* Wrappers that pass a signal on to a process and to its group deliver it twice
 * within milliseconds: that is one wish. Only a signal some time after the first
 * asks for an end without saving. (clock_gettime, signal and raise are safe in
 * handlers: POSIX.1-2008, 2.4.3.) */
static void handle(int signal_number)
{
    struct timespec now;
    (void)clock_gettime(CLOCK_MONOTONIC, &now);
    if (!requested) {
        requested_at = now.tv_sec;
        requested = 1;
    } else if (now.tv_sec - requested_at > SAME_WISH_S) {
        (void)signal(signal_number, SIG_DFL);
        (void)raise(signal_number);
    }
}

void nrw_interrupt_install(void)
{
    struct sigaction action;
    memset(&action, 0, sizeof action);
    action.sa_handler = handle;
    (void)sigemptyset(&action.sa_mask);
    /* Each signal waits while the other is handled. */
    (void)sigaddset(&action.sa_mask, SIGINT);
    (void)sigaddset(&action.sa_mask, SIGTERM);
    (void)sigaction(SIGINT, &action, NULL);
    (void)sigaction(SIGTERM, &action, NULL);
}

bool nrw_interrupt_requested(void)
{
    return requested != 0;
}
