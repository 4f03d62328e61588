#include "clock.h"

#include "board.h" /* first: it says F_CPU */

#include <avr/io.h>
#include <util/delay.h>
#include <util/twi.h>

#include "calendar.h"
#include "flash.h"
#include "history.h"
#include "outlined.h"

#include <string.h>

/* Addresses on the bus, seven bits above the one that says read or write. */
#define MEMORY 0xAE
#define CLOCK 0xD0

/* Registers of the chip (data sheet, figure 1). */
#define REG_SECONDS 0x00
#define REG_ALARM1 0x07
#define REG_CONTROL 0x0E
#define REG_STATUS 0x0F
#define REG_AGEING 0x10
#define REG_LAST 0x12

#define CONTROL_BBSQW 0x40 /* interrupt output works on battery too */
#define CONTROL_INTCN 0x04
#define CONTROL_A2IE 0x02
#define CONTROL_A1IE 0x01
#define CONTROL_SET (CONTROL_BBSQW | CONTROL_INTCN | CONTROL_A2IE | CONTROL_A1IE)
#define STATUS_OSF 0x80
#define STATUS_FLAGS 0x03 /* A2F, A1F: only zeros can be written */

#define ALARM_MASK 0x80   /* A1Mx, A2Mx */

#define HEARTBEAT_HOUR 0  /* UTC, alarm 2: once a day, whatever else happens */
#define HEARTBEAT_MINUTE 0

/* ---- the bus ---- */

/* Nine clocks let a slave that was cut off in the middle of a byte finish it; then a stop. */
static void bus_recover(void)
{
	TWCR = 0;
	PORTC &= (uint8_t)~(1 << SDA_BIT); /* the rest of the port may be the board's */
	PORTC &= (uint8_t)~(1 << SCL_BIT);
	for (uint8_t i = 0; i < 10; i++) {
		DDRC |= 1 << SCL_BIT;
		if (i == 9) /* SDA falls while SCL is low, rises below: stop */
			DDRC |= 1 << SDA_BIT;
		_delay_us(5);
		DDRC &= (uint8_t)~(1 << SCL_BIT);
		_delay_us(5);
	}
	DDRC &= (uint8_t)~(1 << SDA_BIT);
	_delay_us(5);
	TWSR = 0;
	TWBR = (F_CPU / TWI_HZ - 16) / 2;
	TWCR = 1 << TWEN;
}

static bool bus_good; /* every step so far has ended as expected */

/* Takes one step of the bus and waits for it, unless one before has failed. It fails if it takes longer than ten bits would, or
 * ends otherwise than expected. */
OUTLINED static void bus_step(uint8_t control, uint8_t expected)
{
	uint16_t timeout = 10UL * F_CPU / TWI_HZ; /* each turn of the loop takes several cycles */

	if (!bus_good)
		return;
	TWCR = 1 << TWINT | 1 << TWEN | control;
	while (!(TWCR & 1 << TWINT))
		if (--timeout == 0)
			break;
	bus_good = (TWSR & TW_STATUS_MASK) == expected; /* while a step lasts it is TW_NO_INFO (data sheet 22.5.5) */
}

OUTLINED static void bus_send(uint8_t byte, uint8_t expected)
{
	TWDR = byte;
	bus_step(0, expected);
}

/* A stop takes less than two bits, unless somebody holds the bus; then the next start fails, and the bus is freed. */
static void bus_stop(void)
{
	uint16_t timeout = 10UL * F_CPU / TWI_HZ;

	TWCR = 1 << TWINT | 1 << TWEN | 1 << TWSTO;
	while (TWCR & 1 << TWSTO)
		if (--timeout == 0)
			break;
}

/* Reads or writes registers or memory, once. */
static void transfer_once(uint8_t chip, uint16_t place, uint8_t *data, uint8_t n)
{
	bus_good = true;
	bus_step(1 << TWSTA, TW_START);
	bus_send(chip & (uint8_t)~TW_READ, TW_MT_SLA_ACK);
	if (chip < CLOCK)
		bus_send((uint8_t)(place >> 8), TW_MT_DATA_ACK);
	bus_send((uint8_t)place, TW_MT_DATA_ACK);
	if (chip & TW_READ) {
		bus_step(1 << TWSTA, TW_REP_START);
		bus_send(chip, TW_MR_SLA_ACK);
		for (; n > 1; n--) {
			bus_step(1 << TWEA, TW_MR_DATA_ACK);
			*data++ = TWDR;
		}
		bus_step(0, TW_MR_DATA_NACK);
		*data = TWDR;
	} else {
		for (; n > 0; n--)
			bus_send(*data++, TW_MT_DATA_ACK);
	}
	bus_stop();
}

/* Frees the bus and tries once more if the first time fails. What was read is worth nothing unless it answers true. */
static bool transfer(uint8_t chip, uint16_t place, uint8_t *data, uint8_t n)
{
	for (uint8_t tries = 0; tries < 2; tries++) {
		transfer_once(chip, place, data, n);
		if (bus_good)
			return true;
		bus_recover();
	}
	return false;
}

OUTLINED static bool read_registers(uint8_t reg, uint8_t *to, uint8_t n)
{
	return transfer(CLOCK | TW_READ, reg, to, n);
}

OUTLINED static bool write_registers(uint8_t reg, uint8_t *from, uint8_t n)
{
	return transfer(CLOCK | TW_WRITE, reg, from, n);
}

bool memory_read(uint16_t at, uint8_t *to, uint8_t n)
{
	return transfer(MEMORY | TW_READ, at, to, n);
}

void memory_write(uint16_t at, uint8_t *from, uint8_t n)
{
	transfer(MEMORY | TW_WRITE, at, from, n);
	_delay_ms(10); /* longest write time of a 24C32 page */
}

/* ---- the chip ---- */

#define BCD(n) ((n) / 10 * 16 + (n) % 10)

OUTLINED static uint8_t to_bcd(uint8_t value)
{
	for (uint8_t tens = value; tens >= 10; tens -= 10)
		value += 6;
	return value;
}

/* The highest values of seconds, minutes, hours; of date, month, year. */
static const uint8_t highest_time[] FLASH = {59, 59, 23};
static const uint8_t highest_date[] FLASH = {31, 12, 99};

/* Takes three registers from BCD; false if one is none or too high. */
static bool from_bcd(uint8_t *r, const uint8_t *highest)
{
	for (uint8_t i = 0; i < 3; i++) {
		uint8_t value = r[i];
		r[i] = value - 6 * (value >> 4);
		if ((value & 0xF) > 9 || r[i] > FLASH_BYTE(highest + i))
			return false;
	}
	return true;
}

instant_t clock_now;
uint16_t clock_day;

/* Takes date, month and year, to be spoilt, into clock_day; false if they are no valid date. */
static bool decode_date(uint8_t *r)
{
	uint8_t year, month, day;

	r[1] &= 0x7F; /* the century bit; the calendar ends with 2099 */
	if (!from_bcd(r, highest_date))
		return false;
	year = r[2] + EPOCH_YEARS;
	month = r[1] - 1; /* zeros become 255 */
	day = r[0] - 1;
	if (month > 11)
		return false;
	date_to_month(365u * year + (uint8_t)(year + 1) / 4, month);
	if (day >= date.of_month.length)
		return false;
	clock_day = date.of_month.start + day - EPOCH_DAYS;
	return true;
}

/* Date and time of a minute since 2000: minutes, hours, weekday, date, month, year. */
static void encode(const int32_t *at, uint8_t *r)
{
	uint32_t minute = (uint32_t)*at;
	uint16_t of_day = (uint16_t)(minute % MINUTES_PER_DAY);

	date_to((uint16_t)(minute / MINUTES_PER_DAY) + EPOCH_DAYS);
	r[0] = to_bcd((uint8_t)(of_day % 60));
	r[1] = to_bcd((uint8_t)(of_day / 60)); /* 24-hour format: bit 6 is zero */
	r[2] = date.wday + 1;
	r[3] = to_bcd((uint8_t)(date.day - date.of_month.start) + 1);
	r[4] = to_bcd(date.month + 1);
	r[5] = to_bcd(date.year - EPOCH_YEARS);
}

/* From the status on, round the end of the registers to the time: one burst, and the time is copied as the pointer comes to 00
 * (data sheet, page 11). */
#define TIME_AT (REG_LAST + 1 - REG_STATUS)

uint8_t clock_read(void)
{
	static uint16_t last; /* minute of the day */
	uint8_t r[TIME_AT + 7];
	uint8_t n = clock_day ? TIME_AT + 3 : TIME_AT + 7; /* the date only if it may be another */
	uint16_t minute;

	if (!read_registers(REG_STATUS, r, n))
		return CLOCK_SILENT;
	if ((r[0] & STATUS_OSF) || !from_bcd(r + TIME_AT, highest_time))
		return CLOCK_STOPPED;
	minute = r[TIME_AT + 2] * 60 + r[TIME_AT + 1];
	if (n == TIME_AT + 7) {
		if (!decode_date(r + TIME_AT + 4))
			return CLOCK_STOPPED;
	} else if (minute < last) { /* past midnight */
		clock_day = 0;
		return clock_read();
	}
	last = minute;
	clock_now.minute = (int32_t)((uint32_t)clock_day * MINUTES_PER_DAY + minute);
	clock_now.seconds = (uint32_t)clock_now.minute * 60 + r[TIME_AT];
	return CLOCK_GOOD;
}

/* Writes registers and reads them back; false unless they are as written. */
static bool write_verified(uint8_t reg, uint8_t *from, uint8_t n)
{
	uint8_t back[8];

	return write_registers(reg, from, n) && read_registers(reg, back, n) && memcmp(back, from, n) == 0;
}

/* Clears the flags named; the other of the two is written as 1, which leaves it as it is. */
static void clear_flags(uint8_t flags)
{
	uint8_t status;

	clock_day = 0;
	if (!read_registers(REG_STATUS, &status, 1))
		return;
	/* EN32kHz goes to 0 with it: the output is not used and costs current. */
	status = (uint8_t)(((status & STATUS_OSF) | STATUS_FLAGS) & ~(status & flags));
	write_registers(REG_STATUS, &status, 1);
}

void clock_init(void)
{
	uint8_t control = CONTROL_SET;

	bus_recover();
	write_registers(REG_CONTROL, &control, 1);
}

bool clock_set(uint32_t seconds)
{
	uint8_t r[7];

	/* The countdown restarts when the seconds are written, so one burst sets the instant (data sheet, page 12). */
	r[0] = to_bcd((uint8_t)(seconds % 60));
	clock_now.minute = (int32_t)(seconds / 60);
	encode(&clock_now.minute, r + 1);
	if (!write_registers(REG_SECONDS, r, sizeof r))
		return false;
	clear_flags(STATUS_OSF);
	return clock_read() == CLOCK_GOOD && clock_now.seconds - seconds <= 1;
}

bool clock_arm(const int32_t *minute)
{
	uint8_t r[8];

	/* Alarm 1: seconds, minutes, hours, date (all masks 0, DY/DT 0). */
	r[0] = 0;
	encode(minute, r + 1);
	r[3] = r[4];
	/* Alarm 2: hours and minutes, daily (A2M4 1, others 0). */
	r[4] = BCD(HEARTBEAT_MINUTE);
	r[5] = BCD(HEARTBEAT_HOUR);
	r[6] = ALARM_MASK | 1;
	r[7] = CONTROL_SET;
	return write_verified(REG_ALARM1, r, sizeof r);
}

void clock_release(void)
{
	clear_flags(STATUS_FLAGS);
}

bool clock_alarmed(void)
{
	return !(CLOCK_INT_PIN & 1 << CLOCK_INT_BIT);
}

bool clock_seconds(uint8_t *bcd)
{
	return read_registers(REG_SECONDS, bcd, 1);
}

bool clock_ageing_read(int8_t *value)
{
	return read_registers(REG_AGEING, (uint8_t *)value, 1);
}

bool clock_ageing_write(int8_t value)
{
	return write_verified(REG_AGEING, (uint8_t *)&value, 1);
}

#if SERVICE
#define TWELVE_HOURS 0x40
#define CHARGE_US 40 /* 200 pF through the chip's own pull-up of 20 to 50 kOhm */

bool clock_ring(void)
{
	uint8_t r[4] = {ALARM_MASK, ALARM_MASK, ALARM_MASK, ALARM_MASK}; /* each second (data sheet, table 2) */

	return write_registers(REG_ALARM1, r, sizeof r);
}

static void wire_down(uint8_t wire)
{
	DDRC |= wire;
	_delay_us(CHARGE_US);
}

/* Lets a wire go, with the chip's own pull-up or without; true if it is high soon. */
static bool wire_rises(uint8_t wire, bool pull)
{
	bool high;

	DDRC &= (uint8_t)~wire;
	if (pull)
		PORTC |= wire;
	_delay_us(CHARGE_US);
	high = PINC & wire;
	PORTC &= (uint8_t)~wire;
	return high;
}

/* The clock's address by hand, data on one wire and clock on the other; true if somebody acknowledges. */
static bool answers_on(uint8_t data, uint8_t clock)
{
	bool acknowledged;

	wire_down(data); /* start */
	for (uint8_t bits = CLOCK, n = 0; n < 8; n++, bits <<= 1) {
		wire_down(clock);
		if (bits & 0x80)
			wire_rises(data, false);
		else
			wire_down(data);
		wire_rises(clock, false);
	}
	wire_down(clock);
	acknowledged = !wire_rises(data, false);
	wire_rises(clock, false);
	acknowledged = acknowledged && !(PINC & data);
	wire_down(clock);
	wire_down(data);
	wire_rises(clock, false);
	wire_rises(data, false); /* stop */
	return acknowledged;
}

uint8_t clock_wires(void)
{
	const uint8_t sda = 1 << SDA_BIT, scl = 1 << SCL_BIT;
	uint8_t wires = 0, hours;

	if (read_registers(REG_SECONDS + 2, &hours, 1))
		wires = hours & TWELVE_HOURS ? CLOCK_WIRE_TWELVE : 0;
	TWCR = 0;
	PORTC &= (uint8_t)~(sda | scl);
	wire_down(sda);
	if (wire_rises(sda, false))
		wires |= CLOCK_WIRE_SDA_PULLED;
	wire_down(scl);
	if (wire_rises(scl, false))
		wires |= CLOCK_WIRE_SCL_PULLED;
	wire_down(sda);
	if (wire_rises(sda, true))
		wires |= CLOCK_WIRE_SDA_FREE;
	wire_down(scl);
	if (wire_rises(scl, true))
		wires |= CLOCK_WIRE_SCL_FREE;
	if ((wires & (CLOCK_WIRE_SDA_PULLED | CLOCK_WIRE_SCL_PULLED)) == (CLOCK_WIRE_SDA_PULLED | CLOCK_WIRE_SCL_PULLED) && answers_on(scl, sda))
		wires |= CLOCK_WIRE_CROSSED;
	bus_recover();
	return wires;
}
#endif
