/* Ctrl-C and termination: asked for once, obeyed at the next good moment. */
#ifndef NRW_INTERRUPT_H
#define NRW_INTERRUPT_H

#include <stdbool.h>

/* From now on the first SIGINT or SIGTERM only raises a flag; one that comes two
 * seconds later or more ends the program at once. */
void nrw_interrupt_install(void);

/* Whether the flag is raised. Async-signal and thread safe. */
bool nrw_interrupt_requested(void);

#endif
