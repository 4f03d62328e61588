package avr

// Part holds what differs between the members of the family that are emulated.
type Part struct {
	Name       string
	FlashWords uint16 // program memory in 16-bit words, a power of two
	RAMSize    uint16 // bytes of SRAM from 0x100 on
	EEPROMSize uint16 // bytes, a power of two
	PageWords  uint16 // words that SPM programs at once [DS table 27-11]
	Signature  [3]byte
}

// The parts emulated. Memory sizes: [DS 2.2]; signatures: [DS 28.3], the ATmega328PB's from memory.
var (
	ATmega328P = Part{Name: "atmega328p", FlashWords: 16384, RAMSize: 2048, EEPROMSize: 1024, PageWords: 64, Signature: [3]byte{0x1E, 0x95, 0x0F}}
	// More ports, timers and lines than the ATmega328P, which are not emulated; what both have is in the same places.
	ATmega328PB = Part{Name: "atmega328pb", FlashWords: 16384, RAMSize: 2048, EEPROMSize: 1024, PageWords: 64, Signature: [3]byte{0x1E, 0x95, 0x16}}
	ATmega168P  = Part{Name: "atmega168p", FlashWords: 8192, RAMSize: 1024, EEPROMSize: 512, PageWords: 64, Signature: [3]byte{0x1E, 0x94, 0x0B}}
)

// PartNamed finds a part by the name that compilers know it by.
func PartNamed(name string) (p Part, ok bool) {
	for _, p := range []Part{ATmega328P, ATmega328PB, ATmega168P} {
		if p.Name == name {
			return p, true
		}
	}
	return Part{}, false
}

// Fuses are the fuse bits that the emulation heeds. The zero value is not a
// sensible setting; start from [CrystalFuses] or [RCFuses].
type Fuses struct {
	StartupCycles uint32 // main clock periods from oscillator start to the first instruction after power-down [DS 9]
	ResetDelay    uint32 // further delay after reset, in microseconds: 0, 4100 or 65000 [DS table 9-3]
	BODMillivolts uint16 // brown-out level; 0: detector off
	BootWords     uint16 // size of the boot section in words: 0 (none used), 128 … 2048 [DS table 27-7]
	BootReset     bool   // BOOTRST programmed: reset jumps to the boot section
	WatchdogOn    bool   // WDTON programmed: watchdog always in reset mode [DS 11.5]
	CKDIV8        bool   // clock prescaler starts at 8 [DS 9.11]
}

// CrystalFuses are those of usual 16 MHz boards: low fuse 0xFF, crystal,
// 16K CK start-up and 65 ms after reset; brown-out at 2.7 V.
var CrystalFuses = Fuses{StartupCycles: 16384, ResetDelay: 65000, BODMillivolts: 2700, BootWords: 256}

// RCFuses run the part on its internal oscillator: 6 CK start-up [DS table 9-12].
var RCFuses = Fuses{StartupCycles: 6, ResetDelay: 65000, BODMillivolts: 1800, BootWords: 256}
