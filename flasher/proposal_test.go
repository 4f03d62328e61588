package flasher_test

import (
	"errors"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"mealtab/flasher"
	"mealtab/flasher/flashertest"
)

func heldBy(t *testing.T, f *flasher.Feeder) []byte {
	t.Helper()
	s, err := f.Status()
	require.NoError(t, err)
	held, err := f.Table(s)
	require.NoError(t, err)
	return held
}

// An answer is one to the question that was asked: another table on the feeder meanwhile, or another one to be sent, is another question.
func TestKeyOfAProposal(t *testing.T) {
	old, next := flashertest.Table(t, "m328-mains", []uint16{420}, 0), flashertest.Table(t, "m328-mains", []uint16{480}, 0)
	f := connect(t, flashertest.New(t, "m328-mains", old, nil))
	propose := func(tab []byte) *flasher.Proposal {
		p, err := f.Propose(tab)
		require.NoError(t, err)
		return p
	}
	p := propose(next)
	require.Equal(t, old, p.Held)
	require.False(t, p.Same)
	require.Equal(t, p.Key(), propose(next).Key())
	require.NotEqual(t, p.Key(), propose(old).Key())
	require.True(t, propose(old).Same)
	staged, err := p.Stage(nil)
	require.NoError(t, err)
	require.NoError(t, staged.Commit(nil))
	require.NotEqual(t, p.Key(), propose(next).Key())
	require.True(t, propose(next).Same)
}

// A rehearsal that ends badly leaves the table in the spare bank, void.
func TestNoCommitWithoutTheRehearsal(t *testing.T) {
	old, next := flashertest.Table(t, "m328-mains", []uint16{420}, 0), flashertest.Table(t, "m328-mains", []uint16{480}, 0)
	f := connect(t, flashertest.New(t, "m328-mains", old, nil))
	p, err := f.Propose(next)
	require.NoError(t, err)
	staged, err := p.Stage(nil)
	require.NoError(t, err)
	failed := errors.New("a pocket too many")
	require.Equal(t, failed, staged.Commit(func() error { return failed }))
	require.Equal(t, old, heldBy(t, f))
	require.NoError(t, staged.Commit(func() error { return nil }))
	require.True(t, flasher.Holds(heldBy(t, f), next))
}

// Every answer to the commit is lost, for as long as it is repeated; then the feeder is asked what it holds, and the upload has succeeded.
func TestCommitWhoseAnswerIsLost(t *testing.T) {
	e := flashertest.New(t, "m328-mains", flashertest.Table(t, "m328-mains", []uint16{420}, 0), nil)
	f := connect(t, e)
	p, err := f.Propose(flashertest.Table(t, "m328-mains", []uint16{480}, 0))
	require.NoError(t, err)
	deafUntil := time.Time{}
	e.OnAnswer = func() bool { return e.Now().Before(deafUntil) }
	staged, err := p.Stage(func(step flasher.Step, _, _ int) {
		if step == flasher.Committing {
			deafUntil = e.Now().Add(25100 * time.Millisecond)
		}
	})
	require.NoError(t, err)
	require.NoError(t, staged.Commit(nil))
	require.True(t, flasher.Holds(heldBy(t, f), p.Table))
}
