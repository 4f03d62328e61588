package board

// The memory chip of the clock module: 4096 bytes in pages of 32, two address bytes, at most 10 ms for a write, during
// which it does not answer [AT24C32 data sheet, 2.7 to 5.5 V].
const (
	memoryAddress   = 0x57
	memoryBytes     = 4096
	memoryPage      = 32
	memoryWriteTime = 10_000_000 // ns
)

type memory struct {
	data    [memoryBytes]byte
	page    [memoryPage]byte // bytes to be programmed
	dirty   uint32           // which of them
	place   uint16
	bytes   uint8  // address bytes still to come
	busy    uint64 // a write goes on until then
	base    uint16 // of the page being written
	old     [memoryPage]byte
	writing uint32
	writes  uint64 // page writes so far
}

func (m *memory) init() {
	for i := range m.data {
		m.data[i] = 0xFF
	}
}

// start answers unless a write goes on.
func (m *memory) start(now uint64, reading bool) bool {
	if now < m.busy {
		return false
	}
	m.writing = 0
	m.dirty = 0
	if !reading {
		m.bytes = 2
	}
	return true
}

func (m *memory) write(v uint8) {
	if m.bytes > 0 {
		m.bytes--
		m.place = (m.place<<8 | uint16(v)) % memoryBytes
		return
	}
	at := m.place % memoryPage
	m.page[at] = v
	m.dirty |= 1 << at
	m.place = m.place&^(memoryPage-1) | (at+1)%memoryPage // wraps inside the page
}

func (m *memory) read() uint8 {
	v := m.data[m.place]
	m.place = (m.place + 1) % memoryBytes
	return v
}

// stop starts programming what was written.
func (m *memory) stop(now uint64) {
	if m.dirty == 0 {
		return
	}
	m.base = m.place &^ (memoryPage - 1)
	m.writing = m.dirty
	copy(m.old[:], m.data[m.base:])
	for i := range m.page {
		if m.dirty>>i&1 != 0 {
			m.data[int(m.base)+i] = m.page[i]
		}
	}
	m.dirty = 0
	m.busy = now + memoryWriteTime
	m.writes++
}

// powerOff tears a write that goes on: each of its bytes is the old one, the new one or a mixture [choice: the sheets say
// only that the supply must last].
func (m *memory) powerOff(now uint64, r *random) {
	if now < m.busy {
		for i := range m.page {
			if m.writing>>i&1 != 0 {
				mask := uint8(r.next())
				at := int(m.base) + i
				m.data[at] = m.old[i]&mask | m.data[at]&^mask
			}
		}
	}
	m.busy, m.dirty, m.bytes = 0, 0, 0
}

// Memory is the contents of the clock module's memory chip.
func (b *Board) Memory() []byte { return b.memory.data[:] }

// MemoryWrites is how many page writes it has seen.
func (b *Board) MemoryWrites() uint64 { return b.memory.writes }
