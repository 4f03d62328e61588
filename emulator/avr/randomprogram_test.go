package avr_test

import (
	"fmt"
	"math/rand/v2"
	"strings"
)

// programmer writes random programs of all that the shortcuts look at: straight code, waits that count, poll or both, with jumps
// over what sets the flags, naps in every mode of the watchdog, interrupts that change what is waited for, jumps to any address,
// memory beyond its end.
type programmer struct {
	*rand.Rand
	b      strings.Builder
	labels int
	sleepy bool // naps more than anything else
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

// looked are addresses that waits look at: I/O that interrupts, events or nothing changes, SREG, SRAM, and beyond its end.
func (p *programmer) looked() string {
	return p.one("0x120", "0x120", "0x121", "0x3E", "0x5F", "PIND+0", "UCSR0A", "ADCSRA", "0x35", "0x3F", "TCNT0", "EEDR", "WDTCSR", "0x0900", "0x1234", "SPL")
}

// random returns a program: vectors, what is switched on, a body without an end.
func randomProgram(r *rand.Rand) string {
	p := &programmer{Rand: r, sleepy: r.IntN(4) == 0}
	p.line("jmp start")
	for vector := 1; vector < 26; vector++ {
		fmt.Fprintf(&p.b, "\t.org %d\n\tjmp %s\n", 2*vector, map[bool]string{true: "handle", false: "other"}[p.chance(2)])
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
	switch p.IntN(6) {
	case 0:
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
		store("TCCR1B", p.IntN(6))
		store("TIMSK1", p.IntN(8))
	}
	if p.chance(3) {
		store("ADCSRA", 0x80|p.IntN(128))
	}
	if p.chance(4) {
		store("UBRR0L", p.IntN(30))
		store("UCSR0B", 0x08|p.IntN(4)<<5&0x60)
	}
	if p.chance(4) {
		store("DDRB", p.number())
		store("PCICR", p.IntN(8))
		store("PCMSK0", p.number())
	}
	store("SMCR", []int{1, 1, 3, 5, 5, 5, 7, 13, 15, 0}[p.IntN(10)])
	if !p.chance(5) {
		p.line("sei")
	}
}

// block is one of the kinds of code.
func (p *programmer) block() {
	kind := p.IntN(9)
	if p.sleepy && p.chance(2) {
		kind = 5
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
	}
}

// straight is one instruction, or two that may be fused.
func (p *programmer) straight() {
	switch p.IntN(14) {
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
		p.line("in r16, %s", p.one("GPIOR0", "TIFR0", "PIND", "EECR", "SREG"))
	case 3:
		p.line("%s r1%d, %d", p.one("sbrs", "sbrc"), 6+p.IntN(3), p.IntN(8))
		p.line("rjmp %s", p.one(out, out, over))
	case 4:
		p.line("%s GPIOR0, %d", p.one("sbis", "sbic"), p.IntN(8))
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

// peripheral starts something that ends by an event.
func (p *programmer) peripheral() {
	switch p.IntN(5) {
	case 0:
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
