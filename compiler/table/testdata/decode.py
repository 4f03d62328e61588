#!/usr/bin/env python3
"""Reads alarm tables and gives their servings: a second reader of FORMAT.md, written from that page alone.

Each line of the standard input is a table in hex and six numbers: after, limit (minutes since 2000-01-01T00:00Z), preset in force
then (-1: all), adjustment in tenths, carry in tenths of a mass unit, most servings. Answered are the servings with after < instant <= limit, a line each,
"INSTANT MEAL,MEAL... POCKETS", and "end CARRY"; or "refused: WHY". Speed is no aim: each date is looked at as the page says it.

    echo 2010010000882600000100000048... 0 100000 -1 10 0 5 | python3 decode.py
"""

import datetime
import sys

EPOCH_1998 = datetime.date(1998, 1, 1).toordinal()
DAYS_TO_2000 = datetime.date(2000, 1, 1).toordinal() - EPOCH_1998
MAX_DAY = 36524
ALL_HOURS = (1 << 24) - 1
DST, OVERRIDES, THROUGH, LATE, BUTTON, PRESETS, RULES, GAP_OMIT = (1 << i for i in range(8))
WEEK, MONTH, YEAR, WEEK_YEAR = 0, 2, 4, 6


class Refused(Exception):
    pass


def need(condition, why):
    if not condition:
        raise Refused(why)


def crc(data):
    """CRC-16/IBM-SDLC: RFC 1662, section C.2."""
    value = 0xFFFF
    for byte in data:
        value ^= byte
        for _ in range(8):
            value = value >> 1 ^ 0x8408 if value & 1 else value >> 1
    return value ^ 0xFFFF


class Reader:
    def __init__(self, data):
        self.data, self.at = data, 0

    def left(self):
        return len(self.data) - self.at

    def u8(self, least=0, most=255):
        need(self.left() > 0, "the table ends in the middle")
        self.at += 1
        value = self.data[self.at - 1]
        need(least <= value <= most, f"u8 {value}")
        return value

    def u16(self, least=0, most=0xFFFF):
        value = self.u8() | self.u8() << 8
        need(least <= value <= most, f"u16 {value}")
        return value

    def quarters(self):
        value = self.u8()
        value -= 256 if value > 127 else 0
        need(-64 <= value <= 63, f"offset {value}")
        return 15 * value

    def number(self, least=0, most=(1 << 31) - 1):
        byte = self.u8()
        need(byte != 0x80, "a number longer than needed")
        value = byte & 0x7F
        while byte & 0x80:
            byte = self.u8()
            value = value << 7 | byte & 0x7F
            need(value < 1 << 31, "a number of 2^31 or more")
        need(least <= value <= most, f"number {value}")
        return value

    def signed(self, least, most):
        n = self.number()
        value = n // 2 if n % 2 == 0 else -(n + 1) // 2
        need(least <= value <= most, f"signed {value}")
        return value

    def list(self, least, most):
        entries, last = [], 0
        while True:
            step = self.number()
            if step == 0:
                break
            last += step
            need(least <= last <= most, f"entry {last}")
            entries.append(last)
        need(entries, "an empty list")
        return entries

    def time(self):
        n = self.number()
        minute = 15 * n if n < 0x60 else n - 0x60
        need(minute < 1440, f"time {minute}")
        return minute

    def times(self, count, end):
        found, last = [], 0
        for i in range(count):
            step = self.time()
            need(i == 0 or step > 0, "a time twice")
            last += step
            need(last < end, f"time {last}")
            found.append(last)
        return found


# Calendar: days count from 1998-01-01.

def date_of(day):
    return datetime.date.fromordinal(EPOCH_1998 + day)


def day_of(year, month, day):
    return datetime.date(year, month, day).toordinal() - EPOCH_1998


def weekday_of(day):
    return (day + 3) % 7


def week_year_start(year, weekstart):
    """The first day of the week-numbering year: of the first week with at least four days in the calendar year."""
    first = day_of(year, 1, 1)
    start = first - (weekday_of(first) - weekstart) % 7
    return start if start + 7 - first >= 4 else start + 7


def period_of(day, kind, weekstart):
    """First day, length, and for a week-numbering year its number."""
    date = date_of(day)
    if kind == WEEK:
        return day - (weekday_of(day) - weekstart) % 7, 7, None
    if kind == MONTH:
        start = day_of(date.year, date.month, 1)
        end = day_of(date.year + date.month // 12, date.month % 12 + 1, 1)
        return start, end - start, None
    if kind == YEAR:
        start = day_of(date.year, 1, 1)
        return start, day_of(date.year + 1, 1, 1) - start, None
    for year in (date.year + 1, date.year, date.year - 1):
        start = week_year_start(year, weekstart)
        if start <= day:
            return start, week_year_start(year + 1, weekstart) - start, year


def places(index, count):
    """How the index-th (from 0) of count is written, from the start and from the end."""
    return {2 * (index + 1), 2 * (count - index) - 1}


# Day rules. Each term becomes a pair of its opcode and a function of the day.

class Rule:
    def __init__(self, r):
        start = r.at
        first = r.u8()
        need(first >> 1, "a rule without a weekday")
        self.weekdays = first >> 1
        self.terms, self.work = [], 0
        self.utc = self.explicit = False
        more, last, codes = first & 1, 0, set()
        while more:
            byte = r.u8()
            code, more = byte & ~1, byte & 1
            need(code > last, "terms do not ascend")
            last = code
            codes.add(code)
            self.terms.append((code, self.term(r, code, start)))
        need(not {0x0A, 0x12} <= codes, "DAY_MASK and DAY_LIST")

    def holds(self, day, below=0x100):
        return bool(self.weekdays >> weekday_of(day) & 1) and all(term(day) for code, term in self.terms if code < below)

    def term(self, r, code, start):
        if code in (0x02, 0x04, 0x06, 0x08):
            return self.every(r, code)
        if code == 0x0A:
            mask = r.number(1)
            return lambda day: mask >> date_of(day).day - 1 & 1
        if code == 0x0C:
            mask = r.number(1, 4095)
            return lambda day: mask >> date_of(day).month - 1 & 1
        if code in (0x12, 0x14):
            entries = set(r.list(1, 62 if code == 0x12 else 732))
            return lambda day: self.place_in(day, code & 6, entries)
        if code in (0x1A, 0x1C):
            entries = set(r.list(1, 87 if code == 0x1A else 855))
            need(all(e & 7 for e in entries), "an entry without weekday")
            return lambda day: self.nth_in(day, code & 6, entries)
        if code == 0x1E:
            return self.weeks(r)
        if code == 0x20:
            return self.positions(r, start)
        if code == 0x22:
            first = r.u16(730, 37254)
            return lambda day: day >= first
        if code == 0x24:
            end = r.u16(731, 37255)
            return lambda day: day < end
        if code in (0x26, 0x80):
            days = set(r.list(730, 37254))
            self.explicit |= code == 0x80
            return (lambda day: day not in days) if code == 0x26 else (lambda day: day in days)
        need(code == 0x40, f"opcode {code:02X}")
        self.utc = True
        return lambda day: True

    def every(self, r, code):
        period = r.number(0, 65534) + 1
        shift = r.number(0, period - 1)
        unit = {0x02: 1, 0x04: 7, 0x06: 1, 0x08: 12}[code]
        need(period % unit == 0 and (code != 0x08 or shift % 12 == 0), "a period or shift that is no multiple")
        if code < 0x06:
            return lambda day: (day + shift) % period < unit

        def months(day):
            date = date_of(day)
            return (12 * (date.year - 1998) + date.month - 1 + shift) % period < unit
        return months

    def place_in(self, day, kind, entries):
        start, length, _ = period_of(day, kind, 0)
        return bool(places(day - start, length) & entries)

    def nth_in(self, day, kind, entries):
        start, length, _ = period_of(day, kind, 0)
        same = [d for d in range(start, start + length) if weekday_of(d) == weekday_of(day)]
        low = weekday_of(day) + 1
        return bool({8 * p + low for p in places(same.index(day), len(same))} & entries) or low in entries

    def weeks(self, r):
        byte = r.u8(0, 48)
        need(byte & 7 == 0, "bits in the weekstart")
        period = r.number(0, 65534) + 1
        shift = r.number(0, period - 1)
        entries = set(r.list(1, 106))

        def holds(day):
            start, length, year = period_of(day, WEEK_YEAR, byte >> 3)
            return (year - 1998 + shift) % period == 0 and bool(places((day - start) // 7, length // 7) & entries)
        return holds

    def positions(self, r, start):
        byte = r.u8(0, 54)
        need(byte & 1 == 0, "bit 0 of the period")
        kind, weekstart = byte & 6, byte >> 3
        self.work = (r.at - start) * {WEEK: 1, MONTH: 5, YEAR: 53, WEEK_YEAR: 53}[kind]
        entries = set(r.list(1, 732))
        known = {}

        def holds(day):
            first, length, _ = period_of(day, kind, weekstart)
            if first not in known:
                known[first] = [d for d in range(first, first + length) if self.holds(d, 0x20)]
            dates = known[first]
            return day in dates and bool(places(dates.index(day), len(dates)) & entries)
        return holds


class AnyTime:
    explicit = True


ANY_TIME = AnyTime()


class EveryDay:
    utc = explicit = False

    def holds(self, day):
        return True


# Times of day: each form gives the nominal minutes of one day.

def read_times(r, form):
    if form <= 4:
        found = r.times(form + 1 if form < 4 else r.number(1, 255), 1440)
        return lambda day: found
    if form == 5:
        count, step, first = r.number(1, 1440), r.time(), r.time()
        need(step > 0 and first + (count - 1) * step < 1440, "steps beyond the day")
        return lambda day: range(first, first + count * step, step)
    if form == 6:
        out = r.number(0, ALL_HOURS - 1)
        within = r.times(r.number(1, 255), 60)
        return lambda day: [60 * h + m for h in range(24) if not out >> h & 1 for m in within]
    period = r.number(0, (1 << 28) - 1) + 1
    shift = r.number(0, period - 1)
    out = r.number(0, ALL_HOURS - 1)

    def cycle(day):
        wait = -(1440 * day + shift + 1) % period
        return [m for m in range(wait, 1440, period) if not out >> m // 60 & 1]
    return cycle


class Meal:
    def __init__(self, r, table):
        self.parts, self.presets = [], None
        more = True
        while more:
            head = r.u8()
            more = head & 0x80
            if head & 0x40:
                need(not self.parts, "presets in a later part")
                self.presets = r.u8(1, (1 << table.presets) - 1)
            if not self.parts:
                self.portion = r.number(1, table.most_portion)
            rule = head & 7
            if rule == 7:
                rule = r.number(7, 127)
            need(rule < len(table.rules), f"rule {rule}")
            self.parts.append((table.rules[rule], read_times(r, head >> 3 & 7)))

    def served_in(self, preset):
        return preset < 0 or self.presets is None or self.presets >> preset & 1


class Table:
    def __init__(self, data):
        need(len(data) >= 14, "too short")
        self.version = data[0] >> 4
        need(self.version in (2, 3), "version")
        need((data[0] & 15) << 8 | data[1] == len(data), "length")
        need(crc(data[:-2]) == data[-2] | data[-1] << 8, "check")
        r = Reader(data[:-2])
        r.at = 2
        self.board, self.sequence, flags = r.u8(), r.u8(), r.u8()
        self.start = r.u16(0, MAX_DAY)
        self.standard = r.quarters()
        need(not 1 <= (turn := r.number(0, 60000)) <= 19, f"turn {turn}")
        self.pocket = r.number(1, 1000000)
        self.most_portion = min(800 * self.pocket, 300000000)
        self.unit_mg, self.trim = r.number(), r.signed(-500, 500)
        self.sections(r, flags)
        self.meals = []
        while r.left():
            self.meals.append(Meal(r, self))
        need(len(self.meals) <= 64, "meals")
        need(sum(rule.work for rule in self.rules[1:]) <= 1400, "work")

    def sections(self, r, flags):
        self.omit = bool(flags & GAP_OMIT)
        self.dst, self.overrides = None, []
        if flags & DST:
            self.dst = (r.quarters(), self.transition(r), self.transition(r))
            apart = abs(self.dst[1][0] - self.dst[2][0])
            need(2 <= apart <= 10, "transitions")
        if flags & OVERRIDES:
            self.read_overrides(r)
        self.through = r.u16(self.start, MAX_DAY) if flags & THROUGH else MAX_DAY
        need(self.start <= self.through, "START")
        self.late = r.number(0, 1440) if flags & LATE else 120
        if flags & BUTTON:
            r.number(0, self.most_portion)
            r.u8()
        self.presets, self.until = 0, None
        if flags & PRESETS:
            byte = r.u8()
            dated = self.version >= 3 and byte & 0x80
            self.presets = byte & 0x7F if dated else byte
            need(2 <= self.presets <= 8, "presets")
            if dated:
                self.until = r.u16(self.start + 1, self.through)
        self.rules = [EveryDay()]
        if flags & RULES:
            for _ in range(r.u8(1, 127)):
                self.rules.append(Rule(r))

    def transition(self, r):
        place, both = r.u8(), r.u16()
        month, week, weekday = place >> 4, place & 15, both & 7
        minutes = both >> 3
        minutes -= 8192 if minutes > 4095 else 0
        need(month <= 11 and week <= 4 and weekday <= 6, "transition")
        return month, week, weekday, minutes

    def read_overrides(self, r):
        unit = r.u8()
        need(unit in (1, 2, 4), f"unit {unit}")
        for _ in range(r.u8(1, 4)):
            offset, at, spans = r.quarters(), 0, []
            while distance := r.number():
                need(distance >= 120, "spans too near")
                length = r.number(1)
                at += distance + length
                need(at < 1 << 24, "spans too far")
                to_2000 = DAYS_TO_2000 * 1440
                spans.append(((at - length) * unit * 15 - to_2000, at * unit * 15 - to_2000))
            need(spans, "a group without spans")
            self.overrides.append((offset, spans))

    # Local time: minutes since 2000-01-01.

    def offset_at(self, u):
        for offset, spans in self.overrides:
            if any(start <= u < end for start, end in spans):
                return offset
        if self.dst is None:
            return self.standard
        shift, start, end = self.dst
        year = date_of((u + self.standard) // 1440 + DAYS_TO_2000).year
        s = self.change(start, year) - self.standard
        e = self.change(end, year) - self.standard - shift
        summer = s <= u < e if s < e else not e <= u < s
        return self.standard + shift if summer else self.standard

    def change(self, transition, year):
        month, week, weekday, minutes = transition
        first = day_of(year, month + 1, 1)
        days = [d for d in range(first, first + 31) if weekday_of(d) == weekday and date_of(d).month == month + 1]
        return (days[week if week < 4 else -1] - DAYS_TO_2000) * 1440 + minutes

    def instant(self, local, rule):
        """The instant of a nominal local time, or None."""
        offsets = [0, self.standard] + [offset for offset, _ in self.overrides]
        if self.dst:
            offsets.append(self.standard + self.dst[0])
        a, b = self.offset_at(local - max(offsets)), self.offset_at(local - min(offsets))
        if a == b or self.offset_at(local - a) == a:
            return local - a
        if self.offset_at(local - b) == b:
            return local - b
        return None if self.omit and not rule.explicit else local - a

    def servings(self, after, limit, preset, adjust, carry, most):
        """Instants with the meals due, in order, and the carry at the end."""
        due = {}
        end = limit + 1
        if self.until is not None and preset >= 0:
            end = self.instant(1440 * self.until, ANY_TIME)
            if after >= end:
                end = limit + 1
        for day in range(max(self.start, after // 1440 - 3), min(self.through, limit // 1440 + 3) + 1):
            for number, meal in enumerate(self.meals):
                for rule, times in meal.parts:
                    if not rule.holds(day + DAYS_TO_2000):
                        continue
                    for minute in times(day + DAYS_TO_2000):
                        local = 1440 * day + minute
                        at = local if rule.utc else self.instant(local, rule)
                        if at is not None and after < at <= limit and meal.served_in(preset if at < end else 0):
                            due.setdefault(at, set()).add(number)
        whole = 10 * self.pocket
        found = []
        for at in sorted(due)[:most]:
            pockets = 0
            for number in sorted(due[at]):
                carry += adjust * self.meals[number].portion
                turned = (carry + whole // 2) // whole
                carry -= whole * turned
                pockets += turned
            found.append((at, sorted(due[at]), pockets))
        return found, carry


def main():
    for line in sys.stdin:
        text, *numbers = line.split()
        after, limit, preset, adjust, carry, most = map(int, numbers)
        try:
            found, carry = Table(bytes.fromhex(text)).servings(after, limit, preset, adjust, carry, most)
            for at, meals, pockets in found:
                print(at, ",".join(map(str, meals)), pockets)
            print("end", carry)
        except Refused as why:
            print("refused:", why)


if __name__ == "__main__":
    main()
