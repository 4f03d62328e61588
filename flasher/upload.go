package flasher

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"slices"
	"time"

	"mealtab/compiler/profile"
	"mealtab/compiler/table"
	"mealtab/flasher/frame"
	"mealtab/flasher/link"
)

// Step is how far an upload has come.
type Step int

// The steps of an upload, in order.
const (
	Writing Step = iota // and comparing what the cells then hold
	Committing
	Done
)

// UploadError says at which step an upload ended, and what the board holds now.
type UploadError struct {
	Port string
	Step Step
	Err  error
}

func (e *UploadError) Error() string {
	holds := "the old table stays in force"
	var refused frame.StatusError
	if e.Step == Committing && !errors.As(e.Err, &refused) { // else it has been asked to, and may have done it
		holds = "the board holds the old table or the new one, whole: mealtab status says which"
	}
	reason := e.Err.Error()
	var request *RequestError
	if errors.As(e.Err, &request) {
		reason = request.Reason()
	}
	return fmt.Sprintf("%s: %s; %s", e.Port, reason, holds)
}

func (e *UploadError) Unwrap() error { return e.Err }

// Check says why a table cannot be put on this board; nil: it can. Nothing is sent.
func (f *Feeder) Check(tab []byte) error {
	t, err := table.Decode(tab)
	if err != nil {
		return fmt.Errorf("this is not a valid table: %w (nothing was written)", err)
	}
	if f.ID.Format > table.Version || f.ID.Format < table.OldestVersion {
		return &VersionError{f.Port(), "table format", f.ID.Format, table.Version}
	}
	if t.Version() > f.ID.Format {
		return f.cannot(t)
	}
	if t.Board != f.ID.Board {
		return fmt.Errorf("the table is for %s, the board on %s is %s (nothing was written)", BoardName(t.Board), f.Port(), f.BoardName())
	}
	if len(tab) > f.Map.TableRoom() {
		return fmt.Errorf("the table has %d bytes, a bank of the board on %s holds %d (nothing was written)", len(tab), f.Port(), f.Map.TableRoom())
	}
	return nil
}

// cannot says what the table needs that this board's firmware cannot do, and what would.
func (f *Feeder) cannot(t *table.Table) error {
	what, instead := t.Needs()
	if b, ok := profile.ByCode(f.ID.Board); ok && b.TableVersion() <= f.ID.Format {
		return fmt.Errorf("%s, for which the firmware of %s on %s has no room: %s (nothing was written)", what, f.BoardName(), f.Port(), instead)
	}
	return fmt.Errorf("%s, which the firmware on %s is too old for: mealtab install puts the new one on it (nothing was written)", what, f.Port())
}

// Upload writes a table to the spare bank, reads it back, and commits it with one byte; until then the old table stays in force.
// s is the board's status before. The table gets the sequence number after that of the table in force, and is written
// even if it is the same: see [Proposal.Same].
//
// progress, if not nil, is told how many of a step's bytes are done. The error is that of [Feeder.Check] or an [*UploadError].
func (f *Feeder) Upload(tab []byte, s Status, progress func(step Step, done, total int)) error {
	staged, err := f.Stage(tab, s, progress)
	if err != nil {
		return err
	}
	return staged.Commit(nil)
}

// Staged is a table in the spare bank, whole and read back, but void: nothing changes until it is committed. Leaving it there costs nothing; the
// next upload writes over it.
type Staged struct {
	f        *Feeder
	tab      []byte
	progress func(step Step, done, total int)
}

// Stage is the part of [Feeder.Upload] that changes nothing. The feeder keeps no name: [Proposal.Stage] does that.
func (f *Feeder) Stage(tab []byte, s Status, progress func(step Step, done, total int)) (*Staged, error) {
	return f.stage(tab, s, "", progress)
}

// stage puts a table and, unless it is "", the feeder's name into the spare bank.
func (f *Feeder) stage(tab []byte, s Status, name string, progress func(step Step, done, total int)) (*Staged, error) {
	if err := f.Check(tab); err != nil {
		return nil, err
	}
	if progress == nil {
		progress = func(Step, int, int) {}
	}
	tab = table.WithSequence(tab, s.Sequence+1)
	err := f.write(tab, 0, func(done int) { progress(Writing, done, len(tab)) })
	if err == nil && name != "" {
		err = f.writeName(name, tab)
	}
	if err != nil {
		return nil, &UploadError{f.Port(), Writing, err}
	}
	return &Staged{f, tab, progress}, nil
}

// Commit puts a staged table in force when rehearsed, which may take its time, has returned nil; rehearsed nil: nobody wants a rehearsal.
// Its error leaves the table void. Where the answer is lost the feeder is asked what it holds.
func (s *Staged) Commit(rehearsed func() error) error {
	if rehearsed != nil {
		if err := rehearsed(); err != nil {
			return err
		}
	}
	s.progress(Committing, 0, 1)
	err := s.f.commit(s.tab)
	if errors.Is(err, link.ErrSilent) && s.inForce() {
		err = nil
	}
	if err != nil {
		return &UploadError{s.f.Port(), Committing, err}
	}
	s.progress(Done, 1, 1)
	return nil
}

// inForce reports whether the feeder says that it holds the staged table.
func (s *Staged) inForce() bool {
	st, err := s.f.Status()
	return err == nil && st.Bank != NoBank && st.Sequence == s.tab[3] && st.CRC == binary.LittleEndian.Uint16(s.tab[len(s.tab)-2:])
}

// Holds reports whether the table in force is this one, whatever their sequence numbers.
func Holds(inForce, tab []byte) bool {
	return len(inForce) >= len(tab) && bytes.Equal(table.WithSequence(inForce, 0), table.WithSequence(tab, 0))
}

// write puts bytes into the spare bank, from the place on where its table begins plus from. Each answer brings back what the cells hold, so that
// nothing has to be asked for again.
func (f *Feeder) write(data []byte, from int, progress func(done int)) error {
	progress(0)
	return f.blocks(len(data), func(at, n int, patience time.Duration) error {
		request := append(binary.LittleEndian.AppendUint16(nil, uint16(from+at)), data[at:at+n]...)
		work := time.Duration(n+3) * byteWrite // and the commit byte, which the first block voids, with the seal of the journal before and after
		b, err := f.ask(link.Call{Code: frame.BankWrite, Payload: request, Work: work, Patience: patience + work}, "BANK_WRITE")
		if err != nil {
			return err
		}
		if err := compare(data[at:at+n], from+at, b); err != nil {
			return err
		}
		progress(at + n)
		return nil
	})
}

// compare says where what the spare bank holds from at on differs from what was written there.
func compare(written []byte, at int, held []byte) error {
	if len(held) != len(written) {
		return fmt.Errorf("%d bytes were written, the board brings back %d", len(written), len(held))
	}
	for i, b := range written {
		if held[i] != b {
			return fmt.Errorf("byte %d of the spare bank reads %02X after writing %02X: try again; if it stays so, the EEPROM is worn out", at+i, held[i], b)
		}
	}
	return nil
}

// commit puts the spare bank's table in force. Before it the board gives what the old table has due, which takes as long as the wheel
// turns.
func (f *Feeder) commit(tab []byte) error {
	request := append(slices.Clone(tab[len(tab)-2:]), tab[3])
	b, err := f.ask(link.Call{Code: frame.BankCommit, Payload: request, Work: settleWork + 2*recordWork, Patience: turning}, "BANK_COMMIT")
	var status frame.StatusError
	if errors.As(err, &status) && status == frame.BadTable && len(b) == 1 {
		return f.failed("BANK_COMMIT", &faultyTable{status, tableFault(int(b[0]))})
	}
	return err
}

// faultyTable is BAD_TABLE with the reason.
type faultyTable struct {
	status frame.StatusError
	fault  string
}

func (e *faultyTable) Error() string {
	return "the board answers BAD_TABLE: what has come to its spare bank is not a valid table (" + e.fault + ")"
}

func (e *faultyTable) Unwrap() error { return e.status }

// tableFault is what the firmware found wrong with a table.
func tableFault(code int) string {
	for _, f := range table.Faults() {
		if f.Value == code {
			return f.Meaning
		}
	}
	return fmt.Sprintf("fault %d", code)
}
