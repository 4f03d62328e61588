#include "calendar.h"

#include "outlined.h"
#include "table_format.h"

date_t date;

/* 1998 + 2 is a leap year. That 2100 is none is of no consequence before March. */
INLINED bool is_leap(uint8_t year)
{
	return (year & 3) == 2;
}

static uint8_t month_length(uint8_t year, uint8_t month)
{
	if (month == 1)
		return is_leap(year) ? 29 : 28;
	month++;
	return 30 | ((month + (month >> 3)) & 1); /* January, March, May, July | August, October, December */
}

OUTLINED uint32_t minute_of(uint16_t day, int16_t minute)
{
	return (uint32_t)day * MINUTES_PER_DAY + minute;
}

void date_to(uint16_t day)
{
	uint16_t left = day - date.of_month.start;

	date.day = day;
	date.wday = (uint8_t)((day + 3) % 7); /* 1998-01-01 was a Thursday */
	if (left < date.of_month.length)
		return;
	left = day - date.of_year.start;
	if (left >= date.of_year.length) {
		date.year = 0;
		for (left = day; left >= (date.of_year.length = is_leap(date.year) ? 366 : 365); date.year++)
			left -= date.of_year.length;
		date.of_year.start = day - left;
	}
	date.month = 0;
	for (; left >= (date.of_month.length = month_length(date.year, date.month)); date.month++)
		left -= date.of_month.length;
	date.of_month.start = day - left;
}

void date_to_month(uint16_t year_start, uint8_t month)
{
	date_to(year_start + 31 * month); /* falls from the first to the eighth */
}

const period_t *period_find(uint8_t which)
{
	uint8_t kind = which & PERIOD_WEEK_YEAR;
	uint16_t past;
	uint8_t rest;

	if (kind == PERIOD_MONTH)
		return &date.of_month;
	if (kind == PERIOD_YEAR)
		return &date.of_year;
	date.of_weeks.start = date.day - (uint16_t)(date.wday + 7u - (which >> 3)) % 7u;
	date.of_weeks.length = 7;
	if (kind == PERIOD_WEEK)
		return &date.of_weeks;
	/* The fourth day of a week decides to which year the week belongs. */
	date_to(date.of_weeks.start + 3);
	past = date.day - date.of_year.start;
	rest = (uint8_t)(past % 7);
	/* There is a 53rd week if the fourth day of the first is the first of the year, or the second of a leap year. */
	date.of_weeks.length = rest <= (uint8_t)(date.of_year.length - 365) ? 371 : 364;
	date.of_weeks.start -= past - rest;
	return &date.of_weeks;
}
