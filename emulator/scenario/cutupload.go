package scenario

import (
	"bytes"
	"fmt"
	"time"

	"mealtab/compiler/profile"
	"mealtab/compiler/table"
	"mealtab/emulator/avr"
	"mealtab/emulator/board"
	"mealtab/emulator/cable"
	"mealtab/flasher"
)

// UploadSweep cuts the upload of a new table, from the first request to the commit. Afterwards the table is the old one
// or the new one, whole; nothing has been served; and the same upload works.
func UploadSweep(p *profile.Profile, firmware *avr.Image) (*Sweep, error) {
	old := FivePockets(p)
	t, err := table.Decode(old)
	if err != nil {
		return nil, err
	}
	t.Meals[0].Portion = 3
	fresh, err := table.Encode(t)
	if err != nil {
		return nil, err
	}
	b, err := sweepBoard(p, firmware, old)
	if err != nil {
		return nil, err
	}
	b.Run(2 * time.Minute) // the meal is over
	s := &Sweep{Name: "upload", base: b, start: b.MCU().Cycle()}
	end, err := s.record(fresh)
	if err != nil {
		return nil, err
	}
	before := b.Pockets()
	s.check = func(b *board.Board, _ Cut) string {
		return checkUpload(b, before, old, fresh)
	}
	return s, s.count(func(b *board.Board) bool { return b.MCU().Cycle()-s.start >= end })
}

// record uploads once and notes what the host said when.
func (s *Sweep) record(encoded []byte) (end uint64, err error) {
	b := s.base.Fork()
	c := cable.New(b)
	c.Said = func(data []byte, baud int) {
		s.sends = append(s.sends, send{b.MCU().Cycle() - s.start, bytes.Clone(data), baud})
	}
	if err := upload(c, encoded); err != nil {
		return 0, fmt.Errorf("the undisturbed upload: %w", err)
	}
	return b.MCU().Cycle() - s.start, nil
}

func checkUpload(b *board.Board, before int64, old, fresh []byte) string {
	b.Run(settleTime)
	if n := b.Pockets() - before; n != 0 {
		return fmt.Sprintf("%d pockets fell", n)
	}
	if why := checkBank(b, old, table.WithSequence(fresh, 1)); why != "" {
		return why
	}
	if err := upload(cable.New(b), fresh); err != nil {
		return "the next upload: " + err.Error()
	}
	s, _, err := AskStatus(b)
	if err != nil || s.Bank == flasher.NoBank {
		return fmt.Sprintf("after the next upload no table is in force (%v)", err)
	}
	if why := checkBank(b, table.WithSequence(fresh, 1), table.WithSequence(fresh, 2)); why != "" {
		return "after the next upload " + why
	}
	return ""
}
