/* Hides from the compiler where a pointer points. avr-gcc 5.4 reaches a field of a struct that it knows by an absolute address, in
 * four bytes of code for each byte; through a pointer it takes two. HIDE_COUNT does the same for a number that is counted beside a
 * pointer: the compiler makes the one from the other, by a sum each time. */
#ifndef HIDDEN_H
#define HIDDEN_H

#ifdef __AVR__
#define HIDE(pointer) __asm__("" : "+b"(pointer))
#define HIDE_COUNT(number) __asm__("" : "+r"(number))
#else
#define HIDE(pointer) ((void)0)
#define HIDE_COUNT(number) ((void)0)
#endif

#endif
