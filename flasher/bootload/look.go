package bootload

import "fmt"

// Look resets the board, asks which bootloader listens and which chip is under it, and lets it go on to its firmware. Nothing is
// written. The error wraps [ErrNoBootloader] where none answers.
func (l *Loader) Look() (f Family, signature [3]byte, err error) {
	if f, err = l.find(); err != nil {
		return f, signature, err
	}
	sig, err := l.command(len(signature), cmdSignature)
	if err != nil {
		return f, signature, fmt.Errorf("reading the chip's signature: %w", err)
	}
	copy(signature[:], sig)
	_, err = l.command(0, cmdLeave)
	return f, signature, err
}
