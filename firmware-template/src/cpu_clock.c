#include "cpu_clock.h"

#include "board.h" /* first: it says F_CPU */
#include "outlined.h"

#if !CPU_MEASURED
void cpu_clock_measure(void) {}

OUTLINED uint16_t cpu_counts(uint16_t us)
{
	return us * (uint16_t)(F_CPU / 8000000UL);
}
#else
void cpu_clock_measure(void) {}
OUTLINED uint16_t cpu_counts(uint16_t us) { return us * (uint16_t)(F_CPU / 8000000UL); }
#endif
