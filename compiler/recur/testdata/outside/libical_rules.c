/* Expand recurrence rules with libical 3.0.
 * In: one case a line, "DTSTART<TAB>RRULE<TAB>N", floating local times. Out: for each the first N instances up to the end
 * of 2099 on one line, or "error: ...". The iterator can crash: the caller starts the program again after the culprit. */
#include <libical/ical.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>

static void expand(const char *start, const char *rule, int count)
{
    struct icalrecurrencetype recur = icalrecurrencetype_from_string(rule);
    if (recur.count == 0 && icaltime_is_null_time(recur.until))
        recur.until = icaltime_from_string("20991231T235959"); /* the rules under test end here */
    icalrecur_iterator *it = icalrecur_iterator_new(recur, icaltime_from_string(start));
    if (!it) {
        printf("error: %s\n", icalerror_strerror(icalerrno));
        return;
    }
    while (count-- > 0) {
        struct icaltimetype t = icalrecur_iterator_next(it);
        if (icaltime_is_null_time(t) || t.year > 2099)
            break;
        printf("%04d%02d%02dT%02d%02d%02d ", t.year, t.month, t.day, t.hour, t.minute, t.second);
    }
    printf("\n");
    icalrecur_iterator_free(it);
}

int main(void)
{
    static char line[4096];
    while (fgets(line, sizeof line, stdin)) {
        char *start = strtok(line, "\t\n"), *rule = strtok(NULL, "\t\n"), *count = strtok(NULL, "\t\n");
        if (!start || !rule || !count)
            return 1;
        expand(start, rule, atoi(count));
        fflush(stdout);
    }
    return 0;
}
