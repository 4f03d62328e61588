/* Hides from the compiler where a pointer points. avr-gcc 5.4 reaches a field of a struct that it knows by an absolute address, in
 * four bytes of code for each byte; through a pointer it takes two. */
#ifndef HIDDEN_H
#define HIDDEN_H

#ifdef __AVR__
#define HIDE(pointer) __asm__("" : "+b"(pointer))
#else
#define HIDE(pointer) ((void)0)
#endif

#endif
