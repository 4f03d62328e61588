package flasher

import "mealtab/compiler/table"

// Name reads the feeder's name, which stands beside the table in force; "": it has none.
func (f *Feeder) Name(s Status) (string, error) {
	if s.Bank == NoBank {
		return "", nil
	}
	b, err := f.EEPROM(f.Map.TableOffset(s.Bank)+f.nameOffset(), table.NameSize)
	if err != nil {
		return "", err
	}
	name, _ := table.DecodeName(b, s.CRC, s.Sequence)
	return name, nil
}

// nameOffset is where a name stands in a bank, counted from where its table begins.
func (f *Feeder) nameOffset() int { return f.Map.TableRoom() - table.NameSize }

// NameFits reports whether the table leaves room for a name.
func (p *Proposal) NameFits() bool { return len(p.Table) <= p.f.nameOffset() }

// Renames reports whether the feeder will have another name than before.
func (p *Proposal) Renames() bool { return p.Name != p.Named }

// Writes reports whether there is anything to stage: another table, or another name that there is room for.
func (p *Proposal) Writes() bool { return !p.Same || p.Renames() && p.NameFits() }

// writeName puts the name beside a staged table.
func (f *Feeder) writeName(name string, tab []byte) error {
	b, err := table.EncodeName(name, tab)
	if err != nil {
		return err
	}
	return f.write(b, f.nameOffset(), func(int) {})
}
