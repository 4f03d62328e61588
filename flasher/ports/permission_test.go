package ports

import (
	"testing"

	"github.com/stretchr/testify/require"
)

// Joining the superuser's group for a port is no advice.
func TestNoPermission(t *testing.T) {
	require.Equal(t, "no permission to open the port; join its group and log in again: sudo usermod -aG dialout $USER", noPermission("dialout"))
	require.NotContains(t, noPermission("root"), "usermod")
}
