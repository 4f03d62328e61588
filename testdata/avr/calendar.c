/* Endless conversion of day numbers to dates and back, 2000-01-01 to 2099-12-31,
 * and of weekdays: a benchmark program. GPIOR0 counts rounds through the century;
 * wrong counts days that do not come back. */
#include <avr/io.h>
#include <avr/pgmspace.h>
#include <stdint.h>

struct date {
	uint8_t year, month, day, weekday;
};

volatile uint16_t wrong;
volatile uint32_t sum;

static const uint8_t lengths[12] PROGMEM = {31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31};

static uint8_t month_length(uint8_t year, uint8_t month)
{
	return pgm_read_byte(&lengths[month - 1]) + (month == 2 && year % 4 == 0);
}

static void to_date(uint16_t day, struct date *d)
{
	d->weekday = (day + 5) % 7; /* 2000-01-01 was a Saturday; Monday is 0 */
	uint8_t quad = day / 1461;
	uint16_t rest = day % 1461;
	d->year = quad * 4;
	while (rest >= 365U + (d->year % 4 == 0)) {
		rest -= 365U + (d->year % 4 == 0);
		d->year++;
	}
	for (d->month = 1; rest >= month_length(d->year, d->month); d->month++)
		rest -= month_length(d->year, d->month);
	d->day = rest + 1;
}

static uint16_t to_day(const struct date *d)
{
	uint16_t day = d->year * 365U + (d->year + 3) / 4;
	for (uint8_t m = 1; m < d->month; m++)
		day += month_length(d->year, m);
	return day + d->day - 1;
}

int main(void)
{
	for (;;) {
		struct date d;
		for (uint16_t day = 0; day < 36525; day++) {
			to_date(day, &d);
			if (to_day(&d) != day)
				wrong++;
			sum += (uint32_t)d.weekday * d.day * 86400UL / 60;
		}
		GPIOR0++;
	}
}
