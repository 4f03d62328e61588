package avr

// Registers by data address (I/O address + 0x20), spelled as the data sheet
// does [DS 36 Register summary]. Exported for boards and tests that look at one.
const (
	PINB, DDRB, PORTB      = 0x23, 0x24, 0x25
	PINC, DDRC, PORTC      = 0x26, 0x27, 0x28
	PIND, DDRD, PORTD      = 0x29, 0x2A, 0x2B
	TIFR0, TIFR1, TIFR2    = 0x35, 0x36, 0x37
	PCIFR, EIFR, EIMSK     = 0x3B, 0x3C, 0x3D
	GPIOR0, GPIOR1, GPIOR2 = 0x3E, 0x4A, 0x4B
	EECR, EEDR             = 0x3F, 0x40
	EEARL, EEARH           = 0x41, 0x42
	GTCCR                  = 0x43
	TCCR0A, TCCR0B, TCNT0  = 0x44, 0x45, 0x46
	OCR0A, OCR0B           = 0x47, 0x48
	SPCR, SPSR, SPDR       = 0x4C, 0x4D, 0x4E
	ACSR                   = 0x50
	SMCR, MCUSR, MCUCR     = 0x53, 0x54, 0x55
	SPMCSR                 = 0x57
	SPL, SPH, SREG         = 0x5D, 0x5E, 0x5F
	WDTCSR, CLKPR, PRR     = 0x60, 0x61, 0x64
	OSCCAL                 = 0x66
	PCICR, EICRA           = 0x68, 0x69
	PCMSK0, PCMSK1, PCMSK2 = 0x6B, 0x6C, 0x6D
	TIMSK0, TIMSK1, TIMSK2 = 0x6E, 0x6F, 0x70
	ADCL, ADCH             = 0x78, 0x79
	ADCSRA, ADCSRB, ADMUX  = 0x7A, 0x7B, 0x7C
	DIDR0, DIDR1           = 0x7E, 0x7F
	TCCR1A, TCCR1B, TCCR1C = 0x80, 0x81, 0x82
	TCNT1L, TCNT1H         = 0x84, 0x85
	ICR1L, ICR1H           = 0x86, 0x87
	OCR1AL, OCR1AH         = 0x88, 0x89
	OCR1BL, OCR1BH         = 0x8A, 0x8B
	TCCR2A, TCCR2B, TCNT2  = 0xB0, 0xB1, 0xB2
	OCR2A, OCR2B, ASSR     = 0xB3, 0xB4, 0xB6
	TWBR, TWSR, TWAR       = 0xB8, 0xB9, 0xBA
	TWDR, TWCR, TWAMR      = 0xBB, 0xBC, 0xBD
	UCSR0A, UCSR0B, UCSR0C = 0xC0, 0xC1, 0xC2
	UBRR0L, UBRR0H, UDR0   = 0xC4, 0xC5, 0xC6
)

// Bits of SREG.
const (
	flagC = 1 << iota
	flagZ
	flagN
	flagV
	flagS
	flagH
	flagT
	flagI
)

// Vector is the number of an interrupt vector, counted from 0 (reset); its word
// address is twice that [DS table 12-6].
type Vector uint8

// The interrupt vectors, in order of priority.
const (
	VectorReset Vector = iota
	VectorINT0
	VectorINT1
	VectorPCINT0
	VectorPCINT1
	VectorPCINT2
	VectorWDT
	VectorTimer2CompA
	VectorTimer2CompB
	VectorTimer2Ovf
	VectorTimer1Capt
	VectorTimer1CompA
	VectorTimer1CompB
	VectorTimer1Ovf
	VectorTimer0CompA
	VectorTimer0CompB
	VectorTimer0Ovf
	VectorSPI
	VectorUSARTRX
	VectorUSARTUDRE
	VectorUSARTTX
	VectorADC
	VectorEEReady
	VectorAnalogComp
	VectorTWI
	VectorSPMReady
	vectorCount
)
