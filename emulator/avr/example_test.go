package avr_test

import (
	"fmt"

	"mealtab/emulator/avr"
	"mealtab/emulator/avr/asm"
)

// A board in a few lines: a button on PD2, a light on PB5. The program lights it
// while the button is held, and sleeps in power-down between.
func Example() {
	program := asm.Must(`
		jmp  start
		.org 10               ; pin change on port D
		reti
		.org 52
	start:	sbi  DDRB, 5
		sbi  PORTD, 2         ; pull-up
		ldi  r16, 4
		sts  PCICR, r16
		sts  PCMSK2, r16
		ldi  r16, 5           ; sleep enable, power-down
		out  SMCR, r16
		sei
	loop:	cbi  PORTB, 5
		sbis PIND, 2
		sbi  PORTB, 5
		sleep
		rjmp loop`)

	var chip *avr.MCU
	lit := false
	chip = avr.New(avr.Config{
		Part:    avr.ATmega328P,
		Fuses:   avr.CrystalFuses,
		ClockHz: 16_000_000,
		Hooks: avr.Hooks{Pins: func(p avr.Port) {
			if p == avr.PortB && chip != nil && chip.PinState(avr.PortB, 5).High != lit {
				lit = !lit
				fmt.Printf("%d ms: light %v\n", chip.Nanos()/1e6, lit)
			}
		}},
	})
	if err := chip.LoadWords(program.Words); err != nil {
		fmt.Println(err)
		return
	}
	at := func(ms uint64, button avr.Level) {
		chip.Run(chip.CycleAt(ms * 1e6))
		chip.SetInput(avr.PortD, 2, button)
	}
	at(200, avr.Low)
	at(700, avr.Float)
	at(900, avr.Float)
	fmt.Printf("executed for %d µs\n", chip.Stats().Awake/16)
	// Output:
	// 201 ms: light true
	// 701 ms: light false
	// executed for 3 µs
}
