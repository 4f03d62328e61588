/* Dates of the proleptic Gregorian calendar. Days count from 1998-01-01, two years before the table's own
 * epoch, so that no period that reaches into 2000 (a week, a week-numbering year) starts below zero. */
#ifndef CALENDAR_H
#define CALENDAR_H

#include <stdbool.h>
#include <stdint.h>

#define EPOCH_DAYS 730      /* 2000-01-01 on this scale */
#define EPOCH_YEARS 2
#define MINUTES_PER_DAY 1440

/* A stretch of dates in which positions count. */
typedef struct {
	uint16_t start, length; /* days */
} period_t;

typedef struct {
	uint16_t day; /* since 1998-01-01 */
	period_t of_month, of_year, of_weeks; /* the last one for period_find */
	uint8_t month;        /* 0 to 11 */
	uint8_t year;         /* since 1998 */
	uint8_t wday;         /* 0 = Monday */
} date_t;

/* The date in hand. */
extern date_t date;

/* Moves it to a day; valid to 2100-02-28. Never fails, and takes little within the month in hand. */
void date_to(uint16_t day);
/* A minute of a day, in minutes since 1998. */
uint32_t minute_of(uint16_t day, int16_t minute);
/* Moves the date into a month, 0 to 11, of the year that starts on a day. */
void date_to_month(uint16_t year_start, uint8_t month);

/* The period of the date in hand. Which one is the operand of SET_POS: first day of the week << 3 | PERIOD_.... For a
 * week-numbering year it moves the date into the calendar year of that number. */
const period_t *period_find(uint8_t which);

#endif
