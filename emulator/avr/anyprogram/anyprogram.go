// Package anyprogram writes random programs for the emulator's tests.
//
// In: a random generator, where the boot section begins. Out: assembler text for emulator/avr/asm.
package anyprogram

import (
	"fmt"
	"math/rand/v2"
	"strings"
)

// programmer writes programs of all that the shortcuts look at: straight code, waits that count, poll or both, with jumps
// over what sets the flags, naps in every mode of the watchdog, interrupts that change what is waited for, jumps to any address,
// memory beyond its end, transfers on the two-wire bus and the serial line, pages of flash, changes of the clock.
type programmer struct {
	*rand.Rand
	b      strings.Builder
	labels int
	sleepy bool // naps more than anything else
	boot   uint16
}

func (p *programmer) line(format string, a ...any) { fmt.Fprintf(&p.b, "\t"+format+"\n", a...) }

func (p *programmer) label() string {
	p.labels++
	return fmt.Sprintf("L%d", p.labels)
}

func (p *programmer) place(label string) { fmt.Fprintf(&p.b, "%s:\n", label) }

func (p *programmer) one(of ...string) string { return of[p.IntN(len(of))] }

// chance is true once in n.
func (p *programmer) chance(n int) bool { return p.IntN(n) == 0 }

func (p *programmer) reg() string { return p.one("r16", "r17", "r18", "r19", "r20", "r24") }

func (p *programmer) number() int { return []int{0, 1, 2, 3, 0x7F, 0x80, 0xFF, p.IntN(256)}[p.IntN(8)] }

// looked are addresses that waits look at: I/O that interrupts, events, time or nothing changes, SREG, SRAM, and beyond its end.
func (p *programmer) looked() string {
	return p.one("0x120", "0x120", "0x121", "GPIOR0", "SREG", "PINB", "PINC", "PIND", "UCSR0A", "UDR0", "ADCSRA", "ADCH", "TIFR0", "TIFR1", "TIFR2",
		"EECR", "EEDR", "TCNT0", "TCNT1L", "OCR1AL", "WDTCSR", "MCUCR", "MCUSR", "CLKPR", "SPMCSR", "TWCR", "TWSR", "TWDR", "EIFR", "PCIFR",
		"0x0900", "0x1234", "SPL", "24", "18")
}

// Write returns a program: vectors, what is switched on, a body without an end, and in the boot section, which begins at word
// address boot, what writes flash.
func Write(r *rand.Rand, boot uint16) string {
	p := &programmer{Rand: r, sleepy: r.IntN(4) == 0, boot: boot}
	p.line("jmp start")
	for vector := 1; vector < 26; vector++ {
		fmt.Fprintf(&p.b, "\t.org %d\n\tjmp %s\n", 2*vector, p.one("handle", "other", "other"))
	}
	p.place("handle")
	p.handler()
	p.place("other")
	p.handler()
	p.place("sub")
	p.line("inc r21")
	p.line("ret")
	p.place("start")
	p.setup()
	p.place("main")
	for range 3 + p.IntN(6) {
		p.block()
	}
	p.line("rjmp main")
	for range 6 {
		p.line("nop")
	}
	p.line(".org %d", boot)
	p.place("storepage")
	p.line("out SPMCSR, r24")
	if p.chance(8) {
		p.line("lpm r16, Z")
	}
	p.line("spm")
	p.line("ret")
	return p.b.String()
}

// handler is an interrupt's: most save what they use.
func (p *programmer) handler() {
	saves := !p.chance(6)
	if saves {
		p.line("push r24")
		p.line("in r24, SREG")
		p.line("push r24")
	}
	p.line("lds r24, 0x120")
	p.line("%s", p.one("subi r24, 0xB7", "inc r24", "com r24", "ldi r24, 1"))
	p.line("sts 0x120, r24")
	if p.chance(2) {
		p.line("out GPIOR0, r24")
	}
	switch p.IntN(11) {
	case 0, 6:
		p.line("lds r24, WDTCSR")
		p.line("ori r24, 0x40")
		p.line("sts WDTCSR, r24")
	case 1:
		p.line("lds r24, ADCL")
		p.line("lds r24, ADCH")
	case 2:
		p.line("cbi EECR, 3")
	case 3:
		p.line("wdr")
	case 4:
		p.line("lds r24, UDR0")
		p.line("sts 0x122, r24")
	case 5:
		p.line("lds r24, TWCR")
		p.line("andi r24, 0xFE") // TWIE off
		p.line("sts TWCR, r24")
	case 7:
		p.line("ldi r24, %d", p.number())
		p.line("sts %s, r24", p.one("EIMSK", "PCICR", "UCSR0B", "TIMSK1", "SPMCSR"))
	case 8:
		p.line("sei")
		p.line("%s", p.one("sleep", "nop", "inc r21"))
	}
	if saves {
		p.line("pop r24")
		p.line("out SREG, r24")
		p.line("pop r24")
	}
	p.line("reti")
}

// setup switches on what the program is about.
func (p *programmer) setup() {
	p.line("ldi r16, 8")
	p.line("out SPH, r16")
	p.line("ldi r16, 0x%02x", 0x60+p.IntN(0x90))
	p.line("out SPL, r16")
	p.line("clr r1")
	store := func(register string, value int) {
		p.line("ldi r16, %d", value)
		p.line("sts %s, r16", register)
	}
	if p.sleepy || p.chance(2) { // the watchdog: interrupt, reset, or both, in 16 or 32 ms
		mode := []int{0x40, 0x40, 0x08, 0x48}[p.IntN(4)]
		store("WDTCSR", 0x18)
		store("WDTCSR", mode|p.IntN(2))
	}
	if !p.sleepy && p.chance(2) {
		store("TCCR0B", p.IntN(6))
		store("TIMSK0", p.IntN(8))
		store("OCR0A", p.number())
	}
	if p.chance(4) {
		store("TCCR1A", p.IntN(256))
		store("TCCR1B", p.IntN(4)<<3|p.IntN(6))
		store("TIMSK1", p.IntN(8))
		store("OCR1AH", p.IntN(3))
		store("OCR1AL", p.number())
	}
	if p.chance(6) {
		store("TCCR2A", p.IntN(256))
		store("TCCR2B", p.IntN(8))
		store("TIMSK2", p.IntN(8))
		store("OCR2B", p.number())
	}
	if p.chance(3) {
		store("ADMUX", p.IntN(256))
		store("ADCSRA", 0x80|p.IntN(128))
	}
	if p.chance(3) { // the serial line, sending and receiving, with either interrupt or none
		store("UBRR0L", p.IntN(30))
		store("UCSR0A", p.IntN(2)<<1)
		store("UCSR0C", []int{6, 6, 0x26, 0x3E, 0x0C}[p.IntN(5)])
		store("UCSR0B", 0x18|p.IntN(8)<<5)
	}
	if p.chance(3) {
		store("DDRB", p.number())
		store("PORTC", p.number())
		store("PCICR", p.IntN(8))
		store("PCMSK0", p.number())
		store("PCMSK2", p.number())
	}
	if p.chance(3) {
		store("EICRA", p.IntN(16))
		store("EIMSK", p.IntN(4))
	}
	if p.chance(3) {
		store("TWBR", p.IntN(12))
		store("TWSR", p.IntN(2))
	}
	if p.chance(12) {
		p.prescale()
	}
	store("SMCR", []int{1, 1, 3, 5, 5, 5, 7, 13, 15, 0}[p.IntN(10)])
	if !p.chance(5) {
		p.line("sei")
	}
}

// block is one of the kinds of code.
func (p *programmer) block() {
	kind := p.IntN(11)
	if p.sleepy && p.chance(2) {
		kind = []int{5, 11}[p.IntN(2)]
	}
	switch kind {
	case 0, 1:
		for range 1 + p.IntN(8) {
			p.straight()
		}
	case 2, 3, 4:
		p.wait()
	case 5, 6:
		p.nap()
	case 7:
		p.peripheral()
	case 8:
		p.wild()
	case 11:
		p.doze()
	case 9:
		p.twoWire()
	case 10:
		switch p.IntN(4) {
		case 0:
			p.page()
		case 1:
			p.serial()
		case 2:
			p.moveVectors()
		default:
			p.prescale()
		}
	}
}

// prescale changes the CPU's clock.
func (p *programmer) prescale() {
	p.line("ldi r16, 0x80")
	p.line("ldi r17, %d", []int{0, 0, 1, 3, 8}[p.IntN(5)])
	p.line("sts CLKPR, r16")
	if p.chance(4) {
		p.line("nop")
		p.line("nop")
	}
	p.line("sts CLKPR, r17")
}

// moveVectors moves the interrupt vectors into the boot section, where none are, or back; or opens that window only.
func (p *programmer) moveVectors() {
	p.line("ldi r16, 1")
	p.line("ldi r17, %d", []int{0, 0, 0, 0x10, 2}[p.IntN(5)])
	p.line("out MCUCR, r16")
	if p.chance(2) {
		p.line("out MCUCR, r17")
	}
}

// waitFor waits until a bit of a register is set, for ever or for so many rounds.
func (p *programmer) waitFor(register string, bit int) {
	again, out := p.label(), p.label()
	limited := !p.chance(3)
	if limited {
		p.line("ldi r24, %d", p.number())
		p.line("ldi r25, %d", p.IntN(2))
	}
	p.place(again)
	p.line("lds r18, %s", register)
	p.line("sbrc r18, %d", bit)
	p.line("rjmp %s", out)
	if !limited {
		p.line("rjmp %s", again)
	} else {
		p.line("sbiw r24, 1")
		p.line("brne %s", again)
	}
	p.place(out)
}

// twoWire is some steps on the bus, each with a wait, a nap, or neither behind it.
func (p *programmer) twoWire() {
	for range 1 + p.IntN(5) {
		if p.chance(2) {
			p.line("ldi r16, 0x%02x", p.number())
			p.line("sts TWDR, r16")
		}
		control := []int{0xA4, 0xA4, 0x84, 0xC4, 0x94, 0xB4, 0xA5, 0x85, 0x00}[p.IntN(9)] // START, send, receive, STOP, both, with interrupt, off
		p.line("ldi r16, 0x%02x", control)
		p.line("sts TWCR, r16")
		switch p.IntN(4) {
		case 0, 1:
			p.waitFor("TWCR", 7)
		case 2:
			p.line("sleep")
		}
		p.line("lds r17, TWSR")
	}
}

// serial waits for a character and takes it, or sends one and waits until it is sent.
func (p *programmer) serial() {
	if p.chance(2) {
		p.waitFor("UCSR0A", 7)
		p.line("lds r17, UDR0")
		return
	}
	p.line("sts UDR0, r20")
	p.waitFor("UCSR0A", 5+p.IntN(2))
}

// page loads a word, erases a page, writes one, or waits for that: of the program itself, of what lies behind it, or of the boot section.
func (p *programmer) page() {
	p.line("ldi r30, %d", p.number())
	p.line("ldi r31, %d", []int{0, 1, 0x10, int(p.boot >> 7)}[[]int{0, 1, 2, 2, 2, 3}[p.IntN(6)]])
	p.line("cli")
	for _, command := range [][]int{{1}, {1, 5}, {3}, {3, 1, 5}, {0x11}}[p.IntN(5)] {
		p.line("ldi r24, 0x%02x", command|p.IntN(2)<<7)
		p.line("call storepage")
		if p.chance(2) {
			again := p.label()
			p.place(again)
			p.line("in r16, SPMCSR")
			p.line("sbrc r16, %d", p.one("0", "6")[0]-'0') // SPMEN; RWWSB, which only a command clears
			p.line("rjmp %s", again)
		}
	}
}

// straight is one instruction, or two that may be fused.
func (p *programmer) straight() {
	switch p.IntN(18) {
	case 14:
		p.line("%s r%d, r%d", p.one("muls", "mulsu", "fmul", "fmuls", "fmulsu"), 16+p.IntN(8), 16+p.IntN(8))
	case 15:
		p.line("cpse %s, %s", p.reg(), p.reg())
		p.line("%s", p.one("inc r20", "lds r20, 0x120", "nop"))
	case 16:
		p.line("movw r%d, r%d", 16+2*p.IntN(5), 16+2*p.IntN(5))
		p.line("movw r20, r%d", 2*p.IntN(16))
	case 17:
		p.line("%s", p.one("ld r17, X+", "st X+, r18", "lpm", "in r16, TIFR1", "out SPH, r25", "sbi EECR, 0", "sbi EIFR, 0", "sbi GPIOR0, 3"))
	case 0:
		p.line("lds %s, %s", p.reg(), p.looked())
	case 1:
		p.line("%s %s, %s", p.one("and", "or", "eor", "cp", "cpc", "add", "adc", "sub", "sbc", "mov", "mul"), p.reg(), p.reg())
	case 2:
		p.line("%s %s", p.one("lsr", "ror", "asr", "com", "neg", "swap", "inc", "dec", "tst"), p.reg())
	case 3:
		p.line("%s %s, %d", p.one("cpi", "subi", "sbci", "ldi", "andi", "ori"), p.one("r16", "r17", "r18", "r24"), p.number())
	case 4:
		p.line("%s r24, %d", p.one("adiw", "sbiw"), p.IntN(3))
	case 5:
		p.line("in %s, %s", p.reg(), p.one("SREG", "GPIOR0", "SPL", "TCNT0"))
	case 6:
		p.line("out GPIOR0, %s", p.reg())
	case 7:
		p.line("sts 0x12%d, %s", p.IntN(4), p.reg())
	case 8:
		p.line("rcall sub")
	case 9:
		p.line("push %s", p.reg())
		p.line("pop %s", p.reg())
	case 10:
		p.line("%s %s, %d", p.one("bst", "bld"), p.reg(), p.IntN(8))
	case 11:
		p.line("ldi r28, %s", p.one("0x1F", "0x20", "0x5F", "0x3E", "0xFE", "0x20"))
		p.line("ldi r29, %d", p.one("0", "1", "8")[0]-'0')
		p.line("%s", p.one("ldd r17, Y+0", "ldd r18, Y+1", "st Y+, r18", "ld r16, -Y", "std Y+2, r19"))
	case 12:
		p.line("ldi r31, %d", p.number())
		p.line("lpm %s, Z+", p.reg())
	default:
		p.line("%s", p.one("cli", "sei", "nop", "sec", "clc", "clz", "wdr"))
	}
}

// wait is a loop that looks, counts, or both. Jumps may leave it, pass over parts of it, or come into its middle.
func (p *programmer) wait() {
	loop, middle, out := p.label(), p.label(), p.label()
	p.line("ldi r24, %d", p.number())
	p.line("ldi r25, %d", p.IntN(3))
	p.line("ldi r18, %d", p.number())
	if p.chance(4) {
		p.line("rjmp %s", middle)
	}
	p.place(loop)
	for range p.IntN(4) {
		p.look(middle, out)
	}
	p.place(middle)
	if p.chance(3) {
		p.look(middle+"b", out)
	}
	p.place(middle + "b")
	p.line("%s", p.one("sbiw r24, 1", "subi r24, 1\n\tsbci r25, 0", "subi r24, 1\n\tsbc r25, r1", "dec r24", "dec r18", "tst r17", "nop", "sbiw r24, 2"))
	if p.chance(3) {
		p.look(out, out)
	}
	switch p.IntN(4) {
	case 0:
		p.line("%s %s", p.one("breq", "brpl", "brcs", "brmi"), out)
		p.line("rjmp %s", loop)
	case 1:
		p.line("%s r17, %d", p.one("sbrs", "sbrc"), p.IntN(8))
		p.line("rjmp %s", loop)
	case 2:
		p.line("%s %s", p.one("brcc", "brpl", "brge", "brtc", "brhs"), loop)
	default:
		p.line("brne %s", loop)
	}
	p.place(out)
	p.line("inc r20")
	p.line("in r21, SREG")
}

// look is what a waiting loop does in a round.
func (p *programmer) look(over, out string) {
	switch p.IntN(9) {
	case 0, 1:
		p.line("lds %s, %s", p.one("r16", "r17", "r19"), p.looked())
	case 2:
		p.line("in r16, %s", p.one("GPIOR0", "TIFR0", "PIND", "PINB", "EECR", "SREG", "TIFR1", "SPMCSR", "MCUCR", "EIFR"))
	case 3:
		p.line("%s r1%d, %d", p.one("sbrs", "sbrc"), 6+p.IntN(3), p.IntN(8))
		p.line("rjmp %s", p.one(out, out, over))
	case 4:
		p.line("%s %s, %d", p.one("sbis", "sbic"), p.one("GPIOR0", "GPIOR0", "PIND", "PINB", "EECR", "TIFR0", "PCIFR"), p.IntN(8))
		p.line("rjmp %s", p.one(out, over))
	case 5:
		p.line("%s r17, r19", p.one("and", "or", "eor", "cp", "cpc", "add", "adc", "mov"))
	case 6:
		p.line("%s", p.one("tst r17", "cpi r17, 3", "lsr r17", "com r16", "swap r19"))
	case 7:
		p.line("%s %s", p.one("breq", "brne", "brcs", "brpl"), p.one(over, out))
	default:
		p.line("ldd r17, Y+%d", p.IntN(3))
	}
}

// nap sleeps some times.
func (p *programmer) nap() {
	again := p.label()
	p.line("ldi r22, %d", []int{1, 2, 30, 200}[p.IntN(4)])
	p.place(again)
	if p.chance(3) {
		p.line("sei")
	}
	if p.chance(8) { // the brown-out detector sleeps too
		p.line("ldi r16, 0x60")
		p.line("ldi r17, 0x40")
		p.line("out MCUCR, r16")
		p.line("out MCUCR, r17")
	}
	p.line("sleep")
	for range p.IntN(4) {
		p.straight()
	}
	if p.chance(3) {
		p.line("lds r16, %s", p.one("ADCSRA", "WDTCSR"))
		p.line("ori r16, 0x40")
		p.line("sts %s, r16", p.one("ADCSRA", "ADCSRA", "WDTCSR"))
	}
	if p.chance(3) {
		p.wait()
	}
	p.line("dec r22")
	p.line("brne %s", again)
}

// doze is hundreds of naps between which little changes.
func (p *programmer) doze() {
	again := p.label()
	p.line("ldi r22, %d", p.number())
	p.line("ldi r23, %d", p.IntN(4))
	p.line("ldi r16, 0x%02x", []int{5, 5, 7, 13}[p.IntN(4)])
	p.line("out SMCR, r16")
	if !p.chance(4) {
		p.line("cli")
		p.line("ldi r16, 0x18")
		p.line("ldi r17, 0x%02x", 0x40|p.IntN(2)) // an interrupt each 16 or 32 ms
		p.line("sts WDTCSR, r16")
		p.line("sts WDTCSR, r17")
	}
	p.line("sei")
	p.place(again)
	p.line("sleep")
	for range 1 + p.IntN(6) {
		switch p.IntN(8) {
		case 0, 1:
			at := p.one("0x130", "0x131", "GPIOR1")
			p.line("lds r16, %s", at)
			p.line("%s r16", p.one("inc", "dec", "com", "swap"))
			p.line("sts %s, r16", at)
		case 2:
			p.line("lds r17, 0x131")
			p.line("add r17, r20")
			p.line("sts 0x132, r17")
		case 3:
			p.line("%s", p.one("inc r20", "adiw r24, 1", "sbiw r24, 1", "wdr", "rcall sub"))
		case 4:
			p.line("lds r18, %s", p.one("PIND", "PORTB", "MCUSR", "EECR", "ADCSRA", "WDTCSR", "TWCR", "UCSR0B", "SPL", "EIFR", "0x130"))
		case 5:
			p.line("push r20")
			p.line("pop r19")
		case 6:
			over := p.label()
			p.line("cpi r20, %d", p.number())
			p.line("%s", p.one("brne "+over, "brcs "+over, "sbrc r20, 7"))
			p.line("inc r21")
			p.place(over)
		case 7:
			p.line("%s", p.one("cbi PORTB, 0", "sbi GPIOR0, 1", "cpse r20, r21", "mul r20, r21", "lpm r19, Z"))
		}
	}
	p.line("subi r22, 1")
	p.line("sbci r23, 0")
	p.line("brcc %s", again)
}

// peripheral starts something that ends by an event.
func (p *programmer) peripheral() {
	switch p.IntN(5) {
	case 0:
		p.line("ldi r16, 0x%02x", p.IntN(4)<<4)
		p.line("out EECR, r16")
		p.line("out EEARL, r20")
		p.line("out EEDR, r20")
		p.line("cli")
		p.line("sbi EECR, 2")
		p.line("sbi EECR, 1")
		p.line("%s", p.one("sei", "nop"))
	case 1:
		p.line("sts UDR0, r20")
	case 2:
		p.line("ldi r16, 0x%02x", 0xC0+p.IntN(0x40))
		p.line("sts ADCSRA, r16")
	case 3:
		p.line("sbi %s, %d", p.one("PORTB", "PINB", "DDRB"), p.IntN(8))
	case 4:
		p.line("sts TCNT0, r20")
	}
}

// wild jumps anywhere, or uses memory that is not there.
func (p *programmer) wild() {
	if !p.chance(3) {
		p.line("lds r16, 0x%04x", 0x0900+p.IntN(0xF000))
		p.line("sts 0x%04x, r16", 0x0900+p.IntN(0xF000))
		return
	}
	there := p.label()
	p.line("ldi r30, lo8(%s)", there)
	p.line("ldi r31, hi8(%s)+0x%02x", there, []int{0, 0x40, 0x80, 0xC0}[p.IntN(4)])
	switch p.IntN(3) {
	case 0:
		p.line("ijmp")
	case 1:
		p.line("icall")
	default:
		p.line("push r30")
		p.line("push r31")
		p.line("ret")
	}
	p.line("nop")
	p.place(there)
}
