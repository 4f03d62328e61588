/* Reads iCalendar from standard input with libical and prints, tab-separated:
 *   error  <text>                     one line for each fault that libical sees
 *   event  <summary>                  one line for each VEVENT
 *   of     <Unix seconds>             of an event with RECURRENCE-ID: the instance that it stands for
 *   start  <Unix seconds>             its instances in [argv[1], argv[2]), after RRULE, RDATE and EXDATE
 */
#include <libical/ical.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static char *read_all(void)
{
    size_t size = 1 << 16, used = 0;
    char *text = malloc(size);
    for (size_t n; (n = fread(text + used, 1, size - used - 1, stdin)) > 0;) {
        used += n;
        if (size - used < 2) {
            text = realloc(text, size *= 2);
        }
    }
    text[used] = 0;
    return text;
}

static void print_errors(icalcomponent *c)
{
    for (icalproperty *p = icalcomponent_get_first_property(c, ICAL_XLICERROR_PROPERTY); p;
         p = icalcomponent_get_next_property(c, ICAL_XLICERROR_PROPERTY)) {
        printf("error\t%s\n", icalproperty_get_xlicerror(p));
    }
    for (icalcomponent *k = icalcomponent_get_first_component(c, ICAL_ANY_COMPONENT); k;
         k = icalcomponent_get_next_component(c, ICAL_ANY_COMPONENT)) {
        print_errors(k);
    }
}

static void print_start(icalcomponent *c, struct icaltime_span *span, void *data)
{
    (void)c;
    (void)data;
    printf("start\t%lld\n", (long long)span->start);
}

int main(int argc, char **argv)
{
    if (argc != 3) {
        return 2;
    }
    struct icaltimetype from = icaltime_from_timet_with_zone(atoll(argv[1]), 0, icaltimezone_get_utc_timezone());
    struct icaltimetype to = icaltime_from_timet_with_zone(atoll(argv[2]), 0, icaltimezone_get_utc_timezone());
    icalcomponent *root = icalparser_parse_string(read_all());
    if (!root || icalcomponent_isa(root) != ICAL_VCALENDAR_COMPONENT) {
        printf("error\tno VCALENDAR\n");
        return 0;
    }
    print_errors(root);
    if (!icalrestriction_check(root)) {
        print_errors(root);
    }
    for (icalcomponent *e = icalcomponent_get_first_component(root, ICAL_VEVENT_COMPONENT); e;
         e = icalcomponent_get_next_component(root, ICAL_VEVENT_COMPONENT)) {
        const char *summary = icalcomponent_get_summary(e);
        printf("event\t%s\n", summary ? summary : "");
        struct icaltimetype of = icalcomponent_get_recurrenceid(e);
        if (!icaltime_is_null_time(of)) {
            printf("of\t%lld\n", (long long)icaltime_as_timet_with_zone(of, of.zone ? of.zone : icaltimezone_get_utc_timezone()));
        }
        icalcomponent_foreach_recurrence(e, from, to, print_start, NULL);
    }
    return 0;
}
