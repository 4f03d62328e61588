"""Expand recurrence rules with python3-dateutil.

In: one case a line, "DTSTART<TAB>RRULE<TAB>N", floating local times. Out: for each the first N instances up to the end of
2099 on one line, or "error: ...".
"""
import datetime
import sys

from dateutil import rrule

# The library searches up to this year; the rules under test end with 2099.
datetime.MAXYEAR = 2101


def expand(start, rule, count):
    found = []
    for t in rrule.rrulestr(rule, dtstart=start):
        if t.year > 2099 or len(found) == count:
            break
        found.append(t.strftime("%Y%m%dT%H%M%S"))
    return " ".join(found)


for line in sys.stdin:
    start, rule, count = line.rstrip("\n").split("\t")
    try:
        print(expand(datetime.datetime.strptime(start, "%Y%m%dT%H%M%S"), rule, int(count)), flush=True)
    except ValueError as e:
        # Said of a rule that can never have an instance, which is what the RFC makes of it too: the empty line.
        empty = "generates an empty set" in str(e) or "resulting in empty rule" in str(e)
        print("" if empty else "error: " + str(e).replace("\n", " "), flush=True)
    except Exception as e:
        print("error:", str(e).replace("\n", " "), flush=True)
