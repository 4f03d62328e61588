package asm

// forms lists every instruction by mnemonic and pointer operands.
var forms = map[string]form{
	"nop": {0x0000, ""}, "movw": {0x0100, "pq"}, "muls": {0x0200, "hM"}, "mulsu": {0x0300, "aA"},
	"fmul": {0x0308, "aA"}, "fmuls": {0x0380, "aA"}, "fmulsu": {0x0388, "aA"},
	"cpc": {0x0400, "dr"}, "sbc": {0x0800, "dr"}, "add": {0x0C00, "dr"}, "lsl": {0x0C00, "D"},
	"cpse": {0x1000, "dr"}, "cp": {0x1400, "dr"}, "sub": {0x1800, "dr"}, "adc": {0x1C00, "dr"}, "rol": {0x1C00, "D"},
	"and": {0x2000, "dr"}, "tst": {0x2000, "D"}, "eor": {0x2400, "dr"}, "clr": {0x2400, "D"},
	"or": {0x2800, "dr"}, "mov": {0x2C00, "dr"}, "mul": {0x9C00, "dr"},
	"cpi": {0x3000, "hK"}, "sbci": {0x4000, "hK"}, "subi": {0x5000, "hK"}, "ori": {0x6000, "hK"}, "sbr": {0x6000, "hK"},
	"andi": {0x7000, "hK"}, "ldi": {0xE000, "hK"},
	"com": {0x9400, "d"}, "neg": {0x9401, "d"}, "swap": {0x9402, "d"}, "inc": {0x9403, "d"}, "asr": {0x9405, "d"},
	"lsr": {0x9406, "d"}, "ror": {0x9407, "d"}, "dec": {0x940A, "d"}, "ser": {0xEF0F, "h"},
	"adiw": {0x9600, "w6"}, "sbiw": {0x9700, "w6"},

	"ld Z": {0x8000, "d"}, "ld Y": {0x8008, "d"}, "ldd Z+q": {0x8000, "dQ"}, "ldd Y+q": {0x8008, "dQ"},
	"ld X": {0x900C, "d"}, "ld X+": {0x900D, "d"}, "ld -X": {0x900E, "d"}, "ld Y+": {0x9009, "d"}, "ld -Y": {0x900A, "d"},
	"ld Z+": {0x9001, "d"}, "ld -Z": {0x9002, "d"}, "lds": {0x9000, "dL"}, "pop": {0x900F, "d"},
	"st Z": {0x8200, "d"}, "st Y": {0x8208, "d"}, "std Z+q": {0x8200, "Qd"}, "std Y+q": {0x8208, "Qd"},
	"st X": {0x920C, "d"}, "st X+": {0x920D, "d"}, "st -X": {0x920E, "d"}, "st Y+": {0x9209, "d"}, "st -Y": {0x920A, "d"},
	"st Z+": {0x9201, "d"}, "st -Z": {0x9202, "d"}, "sts": {0x9200, "Ld"}, "push": {0x920F, "d"},
	"lpm": {0x95C8, ""}, "lpm Z": {0x9004, "d"}, "lpm Z+": {0x9005, "d"}, "spm": {0x95E8, ""},

	"in": {0xB000, "dI"}, "out": {0xB800, "Id"},
	"cbi": {0x9800, "ib"}, "sbic": {0x9900, "ib"}, "sbi": {0x9A00, "ib"}, "sbis": {0x9B00, "ib"},
	"bld": {0xF800, "db"}, "bst": {0xFA00, "db"}, "sbrc": {0xFC00, "db"}, "sbrs": {0xFE00, "db"},
	"bset": {0x9408, "s"}, "bclr": {0x9488, "s"},
	"sec": {0x9408, ""}, "sez": {0x9418, ""}, "sen": {0x9428, ""}, "sev": {0x9438, ""},
	"ses": {0x9448, ""}, "seh": {0x9458, ""}, "set": {0x9468, ""}, "sei": {0x9478, ""},
	"clc": {0x9488, ""}, "clz": {0x9498, ""}, "cln": {0x94A8, ""}, "clv": {0x94B8, ""},
	"cls": {0x94C8, ""}, "clh": {0x94D8, ""}, "clt": {0x94E8, ""}, "cli": {0x94F8, ""},

	"rjmp": {0xC000, "J"}, "rcall": {0xD000, "J"}, "jmp": {0x940C, "L"}, "call": {0x940E, "L"},
	"ijmp": {0x9409, ""}, "icall": {0x9509, ""}, "ret": {0x9508, ""}, "reti": {0x9518, ""},
	"brcs": {0xF000, "j"}, "brlo": {0xF000, "j"}, "breq": {0xF001, "j"}, "brmi": {0xF002, "j"}, "brvs": {0xF003, "j"},
	"brlt": {0xF004, "j"}, "brhs": {0xF005, "j"}, "brts": {0xF006, "j"}, "brie": {0xF007, "j"},
	"brcc": {0xF400, "j"}, "brsh": {0xF400, "j"}, "brne": {0xF401, "j"}, "brpl": {0xF402, "j"}, "brvc": {0xF403, "j"},
	"brge": {0xF404, "j"}, "brhc": {0xF405, "j"}, "brtc": {0xF406, "j"}, "brid": {0xF407, "j"},
	"brbs": {0xF000, "bj"}, "brbc": {0xF400, "bj"},
	"sleep": {0x9588, ""}, "break": {0x9598, ""}, "wdr": {0x95A8, ""},
}

// registers gives data addresses [ATmega328P data sheet, Register summary].
var registers = map[string]uint16{
	"PINB": 0x23, "DDRB": 0x24, "PORTB": 0x25, "PINC": 0x26, "DDRC": 0x27, "PORTC": 0x28, "PIND": 0x29, "DDRD": 0x2A,
	"PORTD": 0x2B, "TIFR0": 0x35, "TIFR1": 0x36, "TIFR2": 0x37, "PCIFR": 0x3B, "EIFR": 0x3C, "EIMSK": 0x3D,
	"GPIOR0": 0x3E, "EECR": 0x3F, "EEDR": 0x40, "EEARL": 0x41, "EEARH": 0x42, "GTCCR": 0x43, "TCCR0A": 0x44,
	"TCCR0B": 0x45, "TCNT0": 0x46, "OCR0A": 0x47, "OCR0B": 0x48, "GPIOR1": 0x4A, "GPIOR2": 0x4B, "SPCR": 0x4C,
	"SPSR": 0x4D, "SPDR": 0x4E, "ACSR": 0x50, "SMCR": 0x53, "MCUSR": 0x54, "MCUCR": 0x55, "SPMCSR": 0x57,
	"SPL": 0x5D, "SPH": 0x5E, "SREG": 0x5F, "WDTCSR": 0x60, "CLKPR": 0x61, "PRR": 0x64, "OSCCAL": 0x66,
	"PCICR": 0x68, "EICRA": 0x69, "PCMSK0": 0x6B, "PCMSK1": 0x6C, "PCMSK2": 0x6D, "TIMSK0": 0x6E, "TIMSK1": 0x6F,
	"TIMSK2": 0x70, "ADCL": 0x78, "ADCH": 0x79, "ADCSRA": 0x7A, "ADCSRB": 0x7B, "ADMUX": 0x7C, "DIDR0": 0x7E,
	"DIDR1": 0x7F, "TCCR1A": 0x80, "TCCR1B": 0x81, "TCCR1C": 0x82, "TCNT1L": 0x84, "TCNT1H": 0x85, "ICR1L": 0x86,
	"ICR1H": 0x87, "OCR1AL": 0x88, "OCR1AH": 0x89, "OCR1BL": 0x8A, "OCR1BH": 0x8B, "TCCR2A": 0xB0, "TCCR2B": 0xB1,
	"TCNT2": 0xB2, "OCR2A": 0xB3, "OCR2B": 0xB4, "ASSR": 0xB6, "TWBR": 0xB8, "TWSR": 0xB9, "TWAR": 0xBA, "TWDR": 0xBB,
	"TWCR": 0xBC, "TWAMR": 0xBD, "UCSR0A": 0xC0, "UCSR0B": 0xC1, "UCSR0C": 0xC2, "UBRR0L": 0xC4, "UBRR0H": 0xC5,
	"UDR0": 0xC6,
}
