// Package simavrtest compares emulator/avr with libsimavr, an independent
// emulator in C: single instructions from random states, and the speed of whole
// programs. In: states; out: the states one instruction later, and cycle counts.
//
// Only tests use it; it needs cgo and Debian's libsimavr-dev, and nothing else in
// the module imports it, so that no program links that library.
//
// Where the two differ and the AVR Instruction Set Manual sides with us, the
// difference stands in departures (departures_test.go) with its reason. simavr's
// peripherals are no reference: its EEPROM, sleep, two-wire interface and level
// interrupts differ from the data sheet.
package simavrtest
