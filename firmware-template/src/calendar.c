#include "calendar.h"
#include "outlined.h"

#include "table_format.h"

date_t date;
period_t period;

/* 1998 + 2 is a leap year and 1998 + 102 = 2100 is none. */
static uint16_t length_of_year(uint8_t year)
{
	return year % 4 == 2 && year != 102 ? 366 : 365;
}

uint8_t month_length(uint8_t year, uint8_t month)
{
	if (month == 1)
		return (uint8_t)(length_of_year(year) - 337); /* the days of the other months */
	/* January, March, May, July | August, October, December */
	return (month + (month > 6)) & 1 ? 30 : 31;
}

void date_to(uint16_t day)
{
	uint16_t left = day - date.month_start;

	date.day = day;
	date.wday = (uint8_t)((day + 3) % 7); /* 1998-01-01 was a Thursday */
	if (left < date.month_length)
		return;
	date.year = 0;
	for (left = day; left >= (date.year_length = length_of_year(date.year)); date.year++)
		left -= date.year_length;
	date.year_start = day - left;
	date.month = 0;
	for (; left >= (date.month_length = month_length(date.year, date.month)); date.month++)
		left -= date.month_length;
	date.month_start = day - left;
}

OUTLINED void date_to_month(uint16_t year_start, uint8_t month)
{
	date_to(year_start + 31 * month); /* falls from the first to the seventh of each */
}

uint16_t year_start(uint8_t year)
{
	return 365u * year + (uint16_t)(year + 1) / 4;
}

void date_set(date_t *d, uint16_t day)
{
	date_to(day);
	*d = date;
	d->mday = (uint8_t)(day - date.month_start);
}

void period_find(uint8_t which)
{
	uint8_t kind = which >> 4;
	uint16_t past;

	period.start = date.month_start;
	period.length = date.month_length;
	if (kind == PERIOD_MONTH)
		return;
	period.start = date.year_start;
	period.length = date.year_length;
	if (kind == PERIOD_YEAR)
		return;
	period.start = date.day - (uint8_t)(date.wday + 7 - (which & 7)) % 7;
	period.length = 7;
	if (kind == PERIOD_WEEK)
		return;
	/* The fourth day of a week decides to which year the week belongs. */
	date_to(period.start + 3);
	past = date.day - date.year_start;
	/* There is a 53rd week if the fourth day of the first is the first of the year, or the second of a leap year. */
	period.length = past % 7 <= date.year_length - 365 ? 371 : 364;
	period.start -= past - past % 7;
}
