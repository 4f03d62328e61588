package avr

// affine is a byte at the start of, or inside, nap j of a run: v + slope·j where all
// bits are known; with slope 0, known marks the bits of v that do not depend on j.
// stale marks a byte whose unknown bits come from one that was unknown at the start
// of the nap: skipping leaves such a byte wrong for one nap longer.
type affine struct {
	v, known uint8
	stale    bool
	slope    int16
}

func constant(v uint8) affine { return affine{v: v, known: 0xFF} }

func (a affine) fixed() bool { return a.known == 0xFF && a.slope == 0 }

var unknown = affine{}

// affineEnv executes a trace on affine bytes. Registers are data addresses 0–31.
type affineEnv struct {
	round   uint32
	stamp   [memBytes]uint32 // round in which value was set
	value   [memBytes]affine
	assumed [memBytes]affine // at the start of a nap, where assume is set
	assume  [memBytes]bool
	carried []uint16 // addresses with assume set
	touched []uint16 // addresses written in this round
	flags   affine   // SREG; slope 0
	stale   uint8    // unknown SREG bits that come from the start of the nap
	read    uint8    // SREG bits read while stale
	live    []uint16 // bytes unknown at the start of the nap that it reads
	begin   affine   // SREG assumed at the start of a nap
	naps    uint64   // naps that follow the trace
	guessed bool
	ok      bool
}

// clear forgets all assumptions.
func (e *affineEnv) clear() {
	for _, a := range e.carried {
		e.assume[a] = false
	}
	e.carried, e.guessed = e.carried[:0], false
}

// follow returns how many naps from the present state of m follow trace t; fits is
// false if what the trace does cannot be carried from nap to nap.
func (e *affineEnv) follow(m *MCU, t *napTrace) (naps uint64, fits bool) {
	if !e.guessed {
		e.guess(t)
	}
	for range 6 {
		e.start(m, t)
		for i := range t.steps {
			e.step(m, t, &t.steps[i])
			if !e.ok {
				return 0, false
			}
		}
		if closed := e.closed(m); !e.ok {
			return 0, false
		} else if closed {
			return e.naps, true
		}
	}
	return 0, false
}

// guess takes the differences over the recorded nap for slopes.
func (e *affineEnv) guess(t *napTrace) {
	e.guessed = true
	const chunk = 64 // compared at once: nearly all are equal
	for a := 0; a < len(t.before); a++ {
		if a%chunk == 0 && [chunk]byte(t.before[a:a+chunk]) == [chunk]byte(t.after[a:a+chunk]) {
			a += chunk - 1
			continue
		}
		if t.before[a] != t.after[a] && (a < 32 || a >= ramStart || memoryLike(uint16(a))) {
			e.assumeAt(uint16(a), affine{known: 0xFF, slope: int16(int8(t.after[a] - t.before[a]))})
		}
	}
	e.begin = affine{v: t.sreg[1], known: ^(t.sreg[0] ^ t.sreg[1])}
}

func (e *affineEnv) assumeAt(a uint16, v affine) {
	if !e.assume[a] {
		e.assume[a] = true
		e.carried = append(e.carried, a)
	}
	e.assumed[a] = v
}

// start begins a round at the present state.
func (e *affineEnv) start(m *MCU, t *napTrace) {
	e.round++
	e.touched, e.live, e.read = e.touched[:0], e.live[:0], 0
	e.naps, e.ok = never, true
	for _, a := range e.carried {
		if s := &e.assumed[a]; s.known == 0xFF {
			s.v = m.mem[a]
			e.limit(*s, 0, 255)
		}
	}
	if (m.sreg^e.begin.v)&e.begin.known != 0 {
		e.ok = false // not the SREG that the trace slept with
	}
	e.flags, e.stale = e.begin, ^e.begin.known
}

// limit restricts the number of naps so that a stays within lo to hi.
func (e *affineEnv) limit(a affine, lo, hi int) {
	v, s := int(a.v), int(a.slope)
	switch {
	case s == 0:
	case v < lo || v > hi:
		e.naps = 0
	case s > 0:
		e.naps = min(e.naps, uint64((hi-v)/s)+1)
	default:
		e.naps = min(e.naps, uint64((v-lo)/-s)+1)
	}
}

// get returns the byte at a data address. A byte never assumed to change must be
// what it was in the recorded nap, whose results are used for constants.
func (e *affineEnv) get(m *MCU, t *napTrace, a uint16) affine {
	switch {
	case a >= memBytes:
		e.ok = false
		return unknown
	case e.stamp[a] == e.round:
		return e.value[a]
	case e.assume[a]:
		if e.assumed[a] == unknown {
			e.live = append(e.live, a)
			return affine{stale: true}
		}
		return e.assumed[a]
	case m.mem[a] != t.before[a]:
		e.ok = false
	}
	return constant(m.mem[a])
}

func (e *affineEnv) set(a uint16, v affine) {
	if a >= memBytes {
		e.ok = false
		return
	}
	if e.stamp[a] != e.round {
		e.stamp[a] = e.round
		e.touched = append(e.touched, a)
	}
	e.value[a] = v
}

// closed checks that each byte ends nap j as nap j + 1 was assumed to start; where
// not, it is assumed unknown, and another round is needed.
//
// A byte that is unknown at the start of a nap and read in it must end the nap as
// something that does not depend on its start. Then it is right after one nap has
// been executed, and everything computed from it after two.
func (e *affineEnv) closed(m *MCU) bool {
	ok := true
	for _, a := range e.live {
		if e.stamp[a] != e.round || e.value[a].stale {
			e.ok = false
		}
	}
	if e.read&e.stale != 0 {
		e.ok = false
	}
	for _, a := range e.touched {
		end := e.value[a]
		if !e.assume[a] {
			if end.fixed() && end.v == m.mem[a] {
				continue
			}
			e.assumeAt(a, unknown)
			ok = false
			continue
		}
		was := e.assumed[a]
		if was == unknown || was.known == 0xFF && end.known == 0xFF && end.slope == was.slope && end.v == was.v+uint8(was.slope) {
			continue
		}
		e.assumed[a] = unknown
		ok = false
	}
	same := e.flags.known &^ (e.flags.v ^ e.begin.v)
	if e.begin.known&^same != 0 {
		e.begin.known &= same
		ok = false
	}
	return ok
}

// executed returns how many naps must be executed after those that are skipped: after
// one, everything is right that was not computed from something unknown before it;
// see closed.
func (e *affineEnv) executed() int {
	if len(e.live) == 0 && e.read == 0 {
		return 1
	}
	return 2
}

// addNaps moves the bytes that are carried from nap to nap n naps on. Those
// assumed unknown are left: the naps executed last write them.
func (e *affineEnv) addNaps(m *MCU, n uint64) {
	for _, a := range e.carried {
		m.mem[a] += uint8(int64(e.assumed[a].slope) * int64(n))
	}
}

// memoryLike reports whether an address is memory for a nap's purposes: registers,
// SRAM, and the three general purpose I/O registers.
func memoryLike(a uint16) bool {
	return a < 0x20 || a >= ramStart || a == GPIOR0 || a == GPIOR1 || a == GPIOR2
}

// writable reports whether a nap may write a constant to an I/O register: those
// whose whole effect shows in peripherals.
func writable(a uint16) bool {
	switch a {
	case PINB, DDRB, PORTB, PINC, DDRC, PORTC, PIND, DDRD, PORTD, SMCR, MCUCR, WDTCSR, PRR, EIMSK, EIFR, EICRA,
		PCICR, PCIFR, PCMSK0, PCMSK1, PCMSK2, ADCSRA, ADMUX, ACSR, DIDR0, DIDR1, TWCR, UCSR0B, SPL, SPH:
		return true
	}
	return false
}

// readable reports whether an I/O register reads alike in each nap because it is
// part of peripherals; the others are compared with the recorded nap.
func readable(a uint16) bool { return writable(a) || a == EECR }
