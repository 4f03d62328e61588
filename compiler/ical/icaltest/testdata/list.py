"""Reads the VEVENTs of one UID from standard input and prints their starts in [argv[2], argv[3]) as Unix seconds, by dateutil.

Local times are in the zone argv[1]. An event with RECURRENCE-ID takes that instant out of its series and adds its own start. What
dateutil does not take is printed in words.
"""
import re
import sys
from datetime import datetime, timedelta, timezone

from dateutil import rrule, tz

ZONE = tz.gettz(sys.argv[1])
FROM, TO = int(sys.argv[2]), int(sys.argv[3])


def moment(text, params):
    """A date-time with its zone; of a period the start."""
    text = text.split("/")[0]
    utc = text.endswith("Z") or re.search(r"TZID=\"?(Etc/)?(UTC|GMT)\"?(;|$)", params or "")
    when = datetime.strptime(text.rstrip("Z"), "%Y%m%dT%H%M%S")
    return when.replace(tzinfo=timezone.utc if utc else ZONE)


def moments(component, name):
    return [moment(part.strip(), params)
            for params, value in re.findall(r"(?m)^%s((?:;[^:\n\"]*(?:\"[^\"]*\")?)*):(.*)$" % name, component) for part in value.split(",") if part.strip()]


def unix(when):
    return int((when.astimezone(timezone.utc) - datetime(1970, 1, 1, tzinfo=timezone.utc)).total_seconds())


def series(component):
    start = moments(component, "DTSTART")[0]
    found = {}
    rule = re.search(r"(?m)^RRULE[^:]*:(.*)$", component)
    end = datetime.fromtimestamp(TO, timezone.utc) + timedelta(days=2)
    if rule:
        text = re.sub(r"UNTIL=(\d{8})(?=;|$)", r"UNTIL=\1T235959", rule.group(1).strip())
        until = re.search(r"UNTIL=([0-9TZ]+)", text)
        text = re.sub(r"UNTIL=[0-9TZ]+;?", "", text).strip(";")
        # stepped by the clock on the wall, which is what a zone is for (RFC 5545 3.8.5.3); UNTIL is compared as an instant
        limit = moment(until.group(1), "") if until else None
        for naive in rrule.rrulestr(text, dtstart=start.replace(tzinfo=None)):
            when = naive.replace(tzinfo=start.tzinfo)
            if when > end or limit and unix(when) > unix(limit):
                break
            found[unix(when)] = True
            if len(found) > 50000:
                break
    else:
        found[unix(start)] = True
    for when in moments(component, "RDATE"):
        found[unix(when)] = True
    for when in moments(component, "EXDATE"):
        found.pop(unix(when), None)
    return found


def main():
    text = re.sub(r"\r?\n[ \t]", "", sys.stdin.read()).replace("\r\n", "\n")
    events = re.findall(r"(?s)BEGIN:VEVENT\n(.*?)END:VEVENT", text)
    events = [re.sub(r"(?s)BEGIN:VALARM.*?END:VALARM\n", "", e) for e in events]
    found = []
    for e in events:
        if "RECURRENCE-ID" not in e:
            found += list(series(e))
    for e in events:
        if "RECURRENCE-ID" in e:
            gone = unix(moments(e, "RECURRENCE-ID")[0])
            if gone in found:
                found.remove(gone)
    for e in events:
        if "RECURRENCE-ID" in e and "STATUS:CANCELLED" not in e:
            found.append(unix(moments(e, "DTSTART")[0]))
    for when in sorted(found):
        if FROM <= when < TO:
            print(when)


try:
    main()
except (ValueError, TypeError, IndexError, OverflowError) as error:
    print("dateutil:", error)
