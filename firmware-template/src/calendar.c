#include "calendar.h"
#include "outlined.h"

#include "table_format.h"

date_t date;

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
	uint16_t left = day - date.of_month.start;

	date.day = day;
	date.wday = (uint8_t)((day + 3) % 7); /* 1998-01-01 was a Thursday */
	if (left < date.of_month.length)
		return;
	date.year = 0;
	for (left = day; left >= (date.of_year.length = length_of_year(date.year)); date.year++)
		left -= date.of_year.length;
	date.of_year.start = day - left;
	date.month = 0;
	for (; left >= (date.of_month.length = month_length(date.year, date.month)); date.month++)
		left -= date.of_month.length;
	date.of_month.start = day - left;
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
	d->mday = (uint8_t)(day - date.of_month.start);
}

const period_t *period_find(uint8_t which)
{
	uint8_t kind = which >> 4;
	uint16_t past;

	if (kind == PERIOD_MONTH)
		return &date.of_month;
	if (kind == PERIOD_YEAR)
		return &date.of_year;
	date.of_weeks.start = date.day - (uint8_t)(date.wday + 7 - (which & 7)) % 7;
	date.of_weeks.length = 7;
	if (kind == PERIOD_WEEK)
		return &date.of_weeks;
	/* The fourth day of a week decides to which year the week belongs. */
	date_to(date.of_weeks.start + 3);
	past = date.day - date.of_year.start;
	/* There is a 53rd week if the fourth day of the first is the first of the year, or the second of a leap year. */
	date.of_weeks.length = past % 7 <= date.of_year.length - 365 ? 371 : 364;
	date.of_weeks.start -= past - past % 7;
	return &date.of_weeks;
}
