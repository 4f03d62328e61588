package board

import "time"

// The buttons.
const (
	ButtonFeed = iota
	ButtonPortion
	ButtonPreset
	buttonCount
)

// Contacts bounce for up to about 5 ms [common practice].
const (
	mostBounces   = 8
	shortestBreak = 50_000 // ns
	longestBreak  = 700_000
)

type buttonState struct {
	closed  bool // the contact now
	pressed bool // where it settles
	bounces uint8
	release uint64 // never: stays
}

// Press closes a button's contact, with bounce, for so long; 0 or less: until [Board.Release].
func (b *Board) Press(button int, hold time.Duration) {
	s := &b.buttons[button]
	s.release = never
	if hold > 0 {
		s.release = b.Nanos() + uint64(hold)
	}
	b.move(button, true)
}

// Release opens it.
func (b *Board) Release(button int) { b.move(button, false) }

// move starts the bounce towards closed or open.
func (b *Board) move(button int, pressed bool) {
	s := &b.buttons[button]
	s.pressed = pressed
	s.bounces = uint8(b.random.between(0, mostBounces/2))*2 + 1
	b.contact(button, b.Nanos())
}

// contact makes the next edge of a bounce, or ends the press.
func (b *Board) contact(button int, now uint64) {
	s := &b.buttons[button]
	if s.bounces == 0 {
		if s.pressed && now >= s.release {
			b.move(button, false)
		}
		return
	}
	s.bounces--
	s.closed = s.pressed == (s.bounces%2 == 0)
	b.input(b.cfg.wires.buttons[button], s.closed)
	b.eventArg(ButtonContact, uint8(button), bit(s.closed))
	next := now + b.random.between(shortestBreak, longestBreak)
	if s.bounces == 0 {
		b.eventArg(Button, uint8(button), bit(s.closed))
		next = never
		if s.pressed {
			next = max(s.release, now+1)
		}
	}
	b.set(slotButton0+button, next)
}
