package avr

type napState struct {
	enabled bool
}

func (n *napState) reset() { *n = napState{} }

func (m *MCU) skipNaps(limit uint64) bool { return false }
