/* Sleep, watchdog, supply and LED. Out: ticks of eight seconds, counted asleep and awake; millivolts. Registers: SMCR,
 * WDTCSR, MCUSR, ADC, PCICR, PCMSK2, GPIOR0, GPIOR2, the pins of port D that wake us, and the LED. */
#ifndef POWER_H
#define POWER_H

#include <stdbool.h>
#include <stdint.h>

#define TICK_SECONDS 8

/* Periods of the watchdog since the reset, modulo 65536; nominally eight seconds, by its own oscillator (up to 10 % off). */
extern uint16_t power_ticks;
/* MCUSR as it was at the reset, WDRF after a restart by the watchdog; 0 if a bootloader has cleared it. */
extern uint8_t power_reset_flags;
/* The reset was, or may have been, one by loss of power. */
bool power_was_lost(void);

void power_init(void);
/* Counts the ticks that have passed. To be called at least every eight seconds while awake: the second period that passes
 * without it restarts the program. */
void power_tick(void);
/* From here on a change of a pin keeps the next power_sleep from sleeping: call it before looking at the pins. */
void power_look(void);

/* What sleep_cpu does from here on: idle, so that line and timers run on, or power-down. */
void power_sleep_mode(bool idle);
/* Sleeps until something happens or so many ticks have passed; in power-down, or in idle so that the line stays on. True if
 * the line ended it: to be asked after power-down only. */
bool power_sleep(bool idle, uint8_t ticks);
/* While the wheel turns a hung program is restarted within a seventh of a second, before half a pocket has turned: power_tick is to be
 * called every twentieth of one. */
void power_turning(bool on);
/* Waits with ticks counted. */
void power_wait_ms(uint16_t ms);
/* Supply in millivolts, against the internal reference of 1.1 V (up to 10 % off). */
uint16_t power_supply(void);
/* At the last measurement it was below SUPPLY_MIN_MV or, where it is steady by nature, lower by SAG_MOST than the best since the
 * reset, which holds however wrong the reference is. */
bool power_low(void);
/* Watches the supply, before the servo's is switched on, and then once in each period of its pulse by power_sagging: as it stands,
 * whether anything is seen of it; from power_watch_load on, whether the supply is low as above, or lower than at rest by SAG_MOST.
 * power_watched ends it and returns the lowest that was seen, in millivolts. */
void power_watch(void);
void power_watch_load(void);
bool power_sagging(void);
uint16_t power_watched(void);
/* So many short flashes, asleep between their edges. */
void power_flash(uint8_t count);
#define SHOW_LONG 8
/* A quick double flash, in a tenth of a second. */
void power_wink(void);
/* A fault: 1 to 7 short flashes; with SHOW_LONG one long flash and then so many short ones. Ends as soon as something happens, and is
 * false then. */
bool power_show(uint8_t code);

#endif
