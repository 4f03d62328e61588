// Package avr emulates an ATmega328P or ATmega168P: the core, cycle by cycle,
// and the on-chip peripherals. It knows no board: pins, the two-wire bus, the
// serial line and the supply are reached through [Hooks] and a few methods.
//
// In: a flash image (Intel HEX or ELF), EEPROM contents, levels on pins, bytes
// on the serial line, the supply in millivolts. Out: pin levels, bus transfers,
// serial frames, and every register, SRAM and EEPROM byte.
//
// # Time
//
// One counter, [MCU.Cycle], runs from construction and never stands still: it
// counts periods of the CPU clock, and while that clock is stopped (power-down,
// start-up, reset, no supply) the periods it would have had. [MCU.Nanos] is the
// same instant in nanoseconds. Nothing ticks: the core runs freely to the next
// event (a timer match, the end of a serial frame, the watchdog, the board's
// own alarm), and time jumps while the CPU sleeps. Two kinds of event exist:
// those of the I/O clock (timers, USART, TWI), which a sleep mode may freeze,
// and those that go on regardless (watchdog, EEPROM, board).
//
// # The machine
//
//	pc    14 bits (13 on the ATmega168P), wraps
//	sreg  I T H S V N Z C, all eight stored; S is not recomputed from N and V
//	sp    as many bits as the SRAM needs (12 and 11), beside the data memory and mapped at 0x5D, 0x5E; the data sheet draws
//	      SPH with eight and says that the number implemented depends on the part [DS 7.5]: the rest reads 0 [choice]
//	mem   0x000 registers, 0x020 I/O, 0x060 extended I/O, 0x100 SRAM
//	code  flash, decoded once per word; see decode.go and fuse.go
//
// # Shortcuts
//
// Common instruction pairs are executed as one (fuse.go), I/O registers that act on
// nothing are read where others are (direct.go), loops that wait are skipped to the
// next event (poll.go, countloop.go, bitwait.go), and so are runs of watchdog naps
// that differ only in their counters (nap.go, affine.go); what each gains stands in testdata/BENCHMARKS.md. Each leaves the very
// state that single steps leave, and each can be switched off (Options). Random
// programs of all that they look at are run with them, without, and by [MCU.Step],
// and compared by [MCU.Hash] and all that the board is told (anyprogram_test.go), in
// worlds that change pins, supply, clock, line and bus by chance; so are whole boards
// (board/anyboard_test.go).
//
// # Not modelled
//
// SPI, the analog comparator, the two-wire interface as a slave, USART frames of
// nine bits and its synchronous and SPI modes, Timer2 on a 32 kHz crystal, timer
// clocks from pins, the noise cancellers, lock bits, the effect of OSCCAL (see
// MCU.SetClockHz) and of PRR. A program that switches one of the first seven on is
// told of by a NotModelled violation, except for the comparator, which reads 0.
// BREAK, a NOP on a chip without a debugger, makes Run return.
//
// # Sources
//
// Instructions: AVR Instruction Set Manual (DS40002198). Peripherals:
// ATmega48A/PA/88A/PA/168A/PA/328/P data sheet (DS40002061), cited as [DS n.n].
// Where neither says what happens, the comment says "choice".
package avr
