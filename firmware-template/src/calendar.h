/* Dates of the proleptic Gregorian calendar. Days count from 1998-01-01, two years before the table's own
 * epoch, so that no period that reaches into 2000 (a week, a week-numbering year) starts below zero. */
#ifndef CALENDAR_H
#define CALENDAR_H

#include <stdbool.h>
#include <stdint.h>

#define EPOCH_DAYS 730      /* 2000-01-01 on this scale */
#define EPOCH_YEARS 2
#define MINUTES_PER_DAY 1440

typedef struct {
	uint16_t day;   /* since 1998-01-01 */
	uint16_t yday;  /* 0 to 365 */
	uint8_t year;   /* since 1998 */
	uint8_t month;  /* 0 to 11 */
	uint8_t mday;   /* 0 to 30 */
	uint8_t wday;   /* 0 = Monday */
} date_t;

/* Sets d to a day; valid to 2100-12-31. Never fails. */
void date_set(date_t *d, uint16_t day);
/* Steps d to the next day. */
void date_next(date_t *d);

uint16_t year_start(uint8_t year);
uint16_t year_length(uint8_t year);
uint8_t month_length(uint8_t year, uint8_t month);
uint8_t weekday_of(uint16_t day);

/* The week of a date in week-numbering years whose weeks start on week_start and whose week 1 is the first
 * with at least four days in the calendar year. */
typedef struct {
	uint8_t year;  /* of the week, since 1998 */
	uint8_t week;  /* from 1 */
	uint8_t weeks; /* in that year, 52 or 53 */
	uint8_t wday;  /* days since the week began, 0 to 6 */
} week_t;
void date_week(const date_t *d, uint8_t week_start, week_t *w);

#endif
