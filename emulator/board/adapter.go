package board

import "time"

// Limit is the current limit of a wall adapter. Above it the output is switched off after a moment and tried again later, over
// and over: "hiccup" protection. The moment is the capacitor at the output, which the servo empties [choice: 10 ms].
type Limit struct {
	MA    float64       // 0: none
	After time.Duration // over the limit until the output is off; 0: 10 ms
	Off   time.Duration // until the next try; 0: 500 ms
}

const (
	limitAfter = 10 * time.Millisecond
	limitOff   = 500 * time.Millisecond
)

func (l *Limit) complete() {
	if l.After == 0 {
		l.After = limitAfter
	}
	if l.Off == 0 {
		l.Off = limitOff
	}
}

// SetLimit gives the supply another current limit.
func (b *Board) SetLimit(l Limit) {
	l.complete()
	b.supply.limit = l
	b.supplyChanged()
}

// watchLimit notes when the output will be switched off, or that it need not be.
func (b *Board) watchLimit(now uint64) {
	s := &b.supply
	if s.tripped {
		return
	}
	over := s.limit.MA > 0 && s.drawnMA > s.limit.MA
	switch {
	case over && b.due[slotLimit] == never:
		b.set(slotLimit, now+uint64(s.limit.After))
	case !over:
		b.set(slotLimit, never)
	}
}

// limitTimer switches the output off, or on again.
func (b *Board) limitTimer(now uint64) {
	s := &b.supply
	s.tripped = !s.tripped
	if s.tripped {
		b.set(slotLimit, now+uint64(s.limit.Off))
	}
	b.supplyChanged()
	if s.tripped {
		b.mcu.Scramble(b.random.next())
	}
}
