/* What time it is: by the clock chip, or where that cannot be trusted, by what the watchdog has counted since it could. */
#ifndef TIMEKEEPING_H
#define TIMEKEEPING_H

#include <stdbool.h>
#include <stdint.h>

/* The time was known at some time; without it nothing is due. */
bool time_known(void);
/* Minutes since an instant, below zero before it. */
int32_t minutes_since(const int32_t *minute);
/* The time on which everything goes on after a reset, until the clock chip is read: after a loss of power that of the journal, else the
 * time as it was, so that a clock which had been found out is not believed again because somebody opens the port. Clears what else of
 * the feeder's state has to begin anew. */
void time_restart(void);
/* Takes the chip's time, which was just read or set, as it is. */
void time_from_clock(void);
/* Raises a fault of the clock, and notes the first. */
void time_raise(uint16_t fault);

#endif
