package zone

import (
	"errors"
	"fmt"
)

// The ranges of a POSIX TZ string. POSIX has rule times of 0 to 24 h; RFC 9636 §3.3.1 widens them to
// ±167 h for version 3 files, and Asia/Jerusalem needs 26 h.
const (
	maxOffsetHours = 24
	maxRuleHours   = 167
	minNameLength  = 3
)

// Where POSIX leaves the rule to the system, the IANA code has taken the United States' since 2007.
const defaultRule = ",M3.2.0,M11.1.0"

const defaultRuleSeconds = 2 * 3600

// ParseFooter reads a POSIX TZ string such as "CET-1CEST,M3.5.0,M10.5.0/3". The offset of a TZ string counts
// west; Offset counts east. Errors name the column, from 1.
func ParseFooter(text string) (Footer, error) {
	p := footerParser{text: text}
	f := Footer{Text: text}
	var err error
	if f.Std, err = p.standard(); err == nil && !p.done() {
		f.DST, err = p.daylight(f.Std.Seconds)
	}
	if err == nil && !p.done() {
		err = errors.New("nothing may follow here")
	}
	if err != nil {
		return Footer{}, fmt.Errorf("TZ string %q, column %d: %w", text, p.pos+1, err)
	}
	return f, nil
}

// footerParser reads text from pos on. Its methods leave pos where they found the error.
type footerParser struct {
	text string
	pos  int
}

func (p *footerParser) done() bool { return p.pos >= len(p.text) }

// peek returns the next byte, 0 at the end.
func (p *footerParser) peek() byte {
	if p.done() {
		return 0
	}
	return p.text[p.pos]
}

func (p *footerParser) accept(b byte) bool {
	if p.peek() != b || p.done() {
		return false
	}
	p.pos++
	return true
}

func (p *footerParser) expect(b byte) error {
	if !p.accept(b) {
		return fmt.Errorf("%q expected", b)
	}
	return nil
}

func (p *footerParser) standard() (Offset, error) {
	name, err := p.name()
	if err != nil {
		return Offset{}, err
	}
	west, err := p.time(maxOffsetHours)
	return Offset{Seconds: -west, Abbrev: name}, err
}

func (p *footerParser) daylight(std int) (*FooterDST, error) {
	name, err := p.name()
	if err != nil {
		return nil, err
	}
	d := &FooterDST{Offset: Offset{Seconds: std + 3600, Abbrev: name, DST: true}}
	if !p.done() && p.peek() != ',' {
		west, err := p.time(maxOffsetHours)
		if err != nil {
			return nil, err
		}
		d.Offset.Seconds = -west
	}
	if p.done() {
		rest := footerParser{text: defaultRule}
		err = rest.rules(d)
		return d, err
	}
	return d, p.rules(d)
}

func (p *footerParser) rules(d *FooterDST) (err error) {
	if err = p.expect(','); err != nil {
		return err
	}
	if d.Start, err = p.rule(); err != nil {
		return err
	}
	if err = p.expect(','); err != nil {
		return err
	}
	d.End, err = p.rule()
	return err
}

// name reads a designation: letters, or letters, digits and signs between angle brackets.
func (p *footerParser) name() (string, error) {
	quoted := p.accept('<')
	start := p.pos
	for isLetter(p.peek()) || quoted && isQuotable(p.peek()) {
		p.pos++
	}
	name := p.text[start:p.pos]
	if len(name) < minNameLength {
		return "", fmt.Errorf("a name of at least %d letters expected", minNameLength)
	}
	if quoted {
		return name, p.expect('>')
	}
	return name, nil
}

func isLetter(b byte) bool   { return b|0x20 >= 'a' && b|0x20 <= 'z' }
func isDigit(b byte) bool    { return b >= '0' && b <= '9' }
func isQuotable(b byte) bool { return isDigit(b) || b == '+' || b == '-' }

// time reads [+-]hh[:mm[:ss]] and returns seconds.
func (p *footerParser) time(maxHours int) (int, error) {
	negative := p.accept('-')
	if !negative {
		p.accept('+')
	}
	hours, err := p.number(0, maxHours)
	if err != nil {
		return 0, err
	}
	seconds := hours * 3600
	for unit := 60; unit > 0 && p.accept(':'); unit /= 60 {
		n, err := p.number(0, 59)
		if err != nil {
			return 0, err
		}
		seconds += n * unit
	}
	if negative {
		seconds = -seconds
	}
	return seconds, nil
}

// number reads decimal digits; it stops adding once the number is out of range, so it cannot overflow.
func (p *footerParser) number(low, high int) (int, error) {
	start, n := p.pos, 0
	for isDigit(p.peek()) {
		if n <= high {
			n = n*10 + int(p.peek()-'0')
		}
		p.pos++
	}
	if p.pos == start || n < low || n > high {
		p.pos = start
		return 0, fmt.Errorf("a number from %d to %d expected", low, high)
	}
	return n, nil
}

// rule reads Mm.w.d, Jn or n, and the time after a slash.
func (p *footerParser) rule() (r FooterRule, err error) {
	switch {
	case p.accept('M'):
		r.Kind = 'M'
		err = p.monthRule(&r)
	case p.accept('J'):
		r.Kind = 'J'
		r.Day, err = p.number(1, 365)
	default:
		r.Kind = 'n'
		r.Day, err = p.number(0, 365)
	}
	r.Seconds = defaultRuleSeconds
	if err == nil && p.accept('/') {
		r.Seconds, err = p.time(maxRuleHours)
	}
	return r, err
}

func (p *footerParser) monthRule(r *FooterRule) (err error) {
	if r.Month, err = p.number(1, 12); err != nil {
		return err
	}
	if err = p.expect('.'); err != nil {
		return err
	}
	if r.Week, err = p.number(1, 5); err != nil {
		return err
	}
	if err = p.expect('.'); err != nil {
		return err
	}
	r.Day, err = p.number(0, 6)
	return err
}
