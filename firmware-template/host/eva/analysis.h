/* Read before every file of the analysis, whose C has no static assertions. The compilers check them. */
#define _Static_assert(condition, text) extern int no_assertion
