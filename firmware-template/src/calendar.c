#include "calendar.h"

#include "outlined.h"
/* 1998 + 2 is a leap year and 1998 + 102 = 2100 is none. */
OUTLINED static bool is_leap(uint8_t year)
{
	return year % 4 == 2 && year != 102;
}

OUTLINED uint16_t year_start(uint8_t year)
{
	return 365u * year + (uint16_t)(year + 1) / 4;
}

uint16_t year_length(uint8_t year)
{
	return is_leap(year) ? 366 : 365;
}

uint8_t month_length(uint8_t year, uint8_t month)
{
	if (month == 1)
		return is_leap(year) ? 29 : 28;
	/* January, March, May, July | August, October, December */
	return (month + (month > 6)) & 1 ? 30 : 31;
}

uint8_t weekday_of(uint16_t day)
{
	return (day + 3) % 7; /* 1998-01-01 was a Thursday */
}

void date_set(date_t *d, uint16_t day)
{
	uint8_t year = (uint8_t)(day / 365);
	uint8_t month = 0;
	uint16_t left;

	while (year_start(year) > day)
		year--;
	left = day - year_start(year);
	d->day = day;
	d->year = year;
	d->yday = left;
	for (;;) {
		uint8_t length = month_length(year, month);
		if (left < length)
			break;
		left -= length;
		month++;
	}
	d->month = month;
	d->mday = (uint8_t)left;
	d->wday = weekday_of(day);
}

void date_next(date_t *d)
{
	d->day++;
	d->yday++;
	d->mday++;
	d->wday = d->wday == 6 ? 0 : d->wday + 1;
	if (d->mday < month_length(d->year, d->month))
		return;
	d->mday = 0;
	d->month++;
	if (d->month < 12)
		return;
	d->month = 0;
	d->yday = 0;
	d->year++;
}

void date_week(const date_t *d, uint8_t week_start, week_t *w)
{
	uint8_t year = d->year;
	uint8_t into = d->wday >= week_start ? d->wday - week_start : d->wday + 7 - week_start;
	/* The fourth day of a week decides to which year the week belongs. */
	int16_t fourth = (int16_t)d->yday + 3 - into;
	uint8_t week;

	if (fourth < 0)
		fourth += (int16_t)year_length(--year);
	else if (fourth >= (int16_t)year_length(year))
		fourth -= (int16_t)year_length(year++);
	week = (uint8_t)((uint16_t)fourth / 7);
	w->year = year;
	w->wday = into;
	w->week = week + 1;
	/* There is a 53rd week if the fourth day of the first is the first of the year, or the second of a leap year. */
	w->weeks = fourth - 7 * week <= (int16_t)year_length(year) - 365 ? 53 : 52;
}
