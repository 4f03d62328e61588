package table_test

import (
	"encoding/hex"
	"testing"

	"github.com/stretchr/testify/require"

	"mealtab/compiler/table"
)

// A weekday below Monday in a list of weekdays: the listing said what it meant before the decoder had refused it, and panicked.
func TestListingOfARefusedTable(t *testing.T) {
	b, err := hex.DecodeString("201a010040671dac26000001b03800011b400103200103485317")
	require.NoError(t, err)
	_, refusal := table.Decode(b)
	require.Error(t, refusal)
	_, err = table.Listing(b)
	require.Equal(t, refusal, err)
}
