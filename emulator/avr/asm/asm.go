// Package asm is a small assembler for test programs of the emulator: text in,
// instruction words out. It knows every instruction of the ATmega328P and the
// registers by their data sheet names.
//
//	loop:   sbis  UCSR0A, 5      ; IN, OUT, SBI … take the data address less 0x20
//	        rjmp  loop
//	        ldi   r24, lo8(text*2)
//	        .org  0x34           ; word address
//	        .word 0x1234, loop
//	        .equ  TWINT, 7
//
// Labels are word addresses. Expressions are Go's integer expressions with lo8()
// and hi8(). Encodings: AVR Instruction Set Manual.
package asm

import (
	"fmt"
	"strings"
)

// Program is an assembled program.
type Program struct {
	Words  []uint16          // from word address 0; gaps are 0xFFFF
	Labels map[string]uint16 // word addresses
}

type statement struct {
	line     int
	addr     uint16
	mnemonic string
	operands []string
}

type assembler struct {
	symbols map[string]int64
	labels  map[string]uint16
	program []statement
}

// Assemble translates source. Errors name the line.
func Assemble(source string) (*Program, error) {
	a := &assembler{symbols: map[string]int64{}, labels: map[string]uint16{}}
	for name, addr := range registers {
		a.symbols[name] = int64(addr)
	}
	addr := uint16(0)
	for n, text := range strings.Split(source, "\n") {
		next, err := a.collect(n+1, addr, text)
		if err != nil {
			return nil, fmt.Errorf("line %d: %w", n+1, err)
		}
		addr = next
	}
	p := &Program{Labels: a.labels}
	for _, s := range a.program {
		words, err := a.encode(s)
		if err != nil {
			return nil, fmt.Errorf("line %d: %w", s.line, err)
		}
		for len(p.Words) < int(s.addr)+len(words) {
			p.Words = append(p.Words, 0xFFFF)
		}
		copy(p.Words[s.addr:], words)
	}
	return p, nil
}

// Must is Assemble for programs known to be right; it panics on an error.
func Must(source string) *Program {
	p, err := Assemble(source)
	if err != nil {
		panic(err)
	}
	return p
}

// collect is the first pass over one line: labels get addresses.
func (a *assembler) collect(line int, addr uint16, text string) (uint16, error) {
	text, _, _ = strings.Cut(text, ";")
	if label, rest, ok := strings.Cut(text, ":"); ok {
		name := strings.TrimSpace(label)
		if _, twice := a.symbols[name]; twice || name == "" {
			return 0, fmt.Errorf("label %q is empty or already defined", name)
		}
		a.labels[name], a.symbols[name] = addr, int64(addr)
		text = rest
	}
	fields := strings.Fields(text)
	if len(fields) == 0 {
		return addr, nil
	}
	s := statement{line: line, addr: addr, mnemonic: strings.ToLower(fields[0])}
	if rest := strings.TrimSpace(strings.TrimSpace(text)[len(fields[0]):]); rest != "" {
		for _, o := range strings.Split(rest, ",") {
			s.operands = append(s.operands, strings.TrimSpace(o))
		}
	}
	switch s.mnemonic {
	case ".org":
		v, err := a.directive(s, 1)
		return uint16(v), err
	case ".equ":
		v, err := a.directive(s, 2)
		if err == nil {
			a.symbols[s.operands[0]] = v
		}
		return addr, err
	case ".word":
		a.program = append(a.program, s)
		return addr + uint16(len(s.operands)), nil
	case "lds", "sts", "jmp", "call":
		addr++
	}
	a.program = append(a.program, s)
	return addr + 1, nil
}

// directive evaluates the last of n operands at once.
func (a *assembler) directive(s statement, n int) (int64, error) {
	if len(s.operands) != n {
		return 0, fmt.Errorf("%s takes %d operands, not %d", s.mnemonic, n, len(s.operands))
	}
	return a.eval(s.operands[n-1])
}
