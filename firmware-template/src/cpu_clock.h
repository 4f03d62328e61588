/* The CPU's own clock against the clock chip's seconds, for boards without a crystal (CPU_MEASURED): an oscillator inside the chip is up
 * to 10 % off, and a servo takes one per cent of its pulse for a twelfth of its speed. Registers: Timer1. */
#ifndef CPU_CLOCK_H
#define CPU_CLOCK_H

#include <stdint.h>

/* Measures the clock if that was last done an hour ago or more, or with a supply that was another by a fifth of a volt: takes up to four
 * seconds, mostly asleep in idle. Keeps what it knew if the clock chip does not tell. */
void cpu_clock_measure(void);
/* So many microseconds (at most 32,000) in counts of Timer1 at an eighth of the CPU's clock. */
uint16_t cpu_counts(uint16_t us);

#endif
