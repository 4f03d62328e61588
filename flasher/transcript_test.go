package flasher_test

import (
	"encoding/hex"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"mealtab/flasher/flashertest"
	"mealtab/flasher/link"
)

var update = flag.Bool("update", false, "rewrite the answers in testdata/line")

// The firmware on two machines against the same conversations, octet by octet.
func TestTranscripts(t *testing.T) {
	files, err := filepath.Glob(filepath.Join("..", "testdata", "line", "*.txt"))
	require.NoError(t, err)
	require.NotEmpty(t, files)
	for _, file := range files {
		t.Run(filepath.Base(file), func(t *testing.T) {
			if *update {
				require.NoError(t, os.WriteFile(file, []byte(replayed(t, file, flashertest.NewPiped(t, 57600, flashertest.Sanitized))), 0o644))
			}
			want, err := os.ReadFile(file)
			require.NoError(t, err)
			require.Equal(t, string(want), replayed(t, file, flashertest.NewPiped(t, 57600, flashertest.Sanitized)), "the protocol on the host")
			require.Equal(t, string(want), replayed(t, file, flashertest.New(t, "m328-mains", nil, nil)), "the firmware on the emulated board")
		})
	}
}

// replayed is the transcript with the answers that a board gives.
func replayed(t *testing.T, file string, board link.Transport) string {
	t.Helper()
	src, err := os.ReadFile(file)
	require.NoError(t, err)
	board.Sleep(time.Second) // it starts
	var out strings.Builder
	for line := range strings.Lines(string(src)) {
		line = strings.TrimRight(line, "\n")
		switch {
		case strings.HasPrefix(line, "<"):
		case strings.HasPrefix(line, ">"):
			octets, err := hex.DecodeString(strings.ReplaceAll(line[1:], " ", ""))
			require.NoError(t, err, line)
			out.WriteString(line + "\n")
			out.WriteString(strings.TrimRight(fmt.Sprintf("< % X", exchange(t, board, octets)), " ") + "\n")
		default:
			out.WriteString(line + "\n")
		}
	}
	return out.String()
}

// exchange sends octets and returns what comes until the line has been quiet for a while.
func exchange(t *testing.T, board link.Transport, octets []byte) (answer []byte) {
	t.Helper()
	_, err := board.Write(octets)
	require.NoError(t, err)
	var b [256]byte
	for {
		n, err := board.Read(b[:], 1500*time.Millisecond)
		require.NoError(t, err)
		if n == 0 {
			return answer
		}
		answer = append(answer, b[:n]...)
	}
}
