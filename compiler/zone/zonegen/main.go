// Command zonegen writes the time zone data that the program carries, from a zoneinfo directory.
//
// Fat files are made slim: transitions that the footer's rule gives as well are dropped, and the
// result is compared with the original. The 32-bit block goes too. Links are recognised by equal content.
// Slim files from older releases of the IANA compiler will not do: some of those compilers lose the late
// irregular transitions of Asia/Gaza, which the fat files have.
package main

import (
	"encoding/binary"
	"flag"
	"fmt"
	"log"
	"os"
	"path/filepath"

	"mealtab/compiler/zone"
	"mealtab/compiler/zone/internal/tzif"
)

func main() {
	log.SetFlags(0)
	log.SetPrefix("zonegen: ")
	from := flag.String("from", "/usr/share/zoneinfo", "zoneinfo `directory`")
	to := flag.String("to", "zoneinfo.bin", "`file` to write")
	flag.Parse()
	b, err := bundle(*from)
	if err == nil {
		err = os.WriteFile(*to, b, 0o644)
	}
	if err != nil {
		log.Fatal(err)
	}
}

// The layout stands in compiler/zone/bundle.go.
const (
	headerSize = 20
	recordSize = 40
	nameSize   = 32
)

func bundle(dir string) ([]byte, error) {
	db, err := zone.Dir(dir)
	if err != nil {
		return nil, err
	}
	if v := db.Version(); v == "unknown" || len(v) > 8 {
		return nil, fmt.Errorf("%s: release %q cannot be recorded", dir, v)
	}
	names := db.Names()
	head := append([]byte("zones 1\n"), make([]byte, 8)...)
	copy(head[8:], db.Version())
	head = binary.BigEndian.AppendUint32(head, uint32(len(names)))
	base := uint32(headerSize + recordSize*len(names))
	var body []byte
	stored := map[string]uint32{}
	for _, name := range names {
		slim, err := slimFile(dir, name)
		if err != nil {
			return nil, fmt.Errorf("%s: %w", name, err)
		}
		at, known := stored[string(slim)]
		if !known {
			at = base + uint32(len(body))
			stored[string(slim)] = at
			body = append(body, slim...)
		}
		if len(name) > nameSize {
			return nil, fmt.Errorf("%s: the name has more than %d bytes", name, nameSize)
		}
		head = append(head, name...)
		head = append(head, make([]byte, nameSize-len(name))...)
		head = binary.BigEndian.AppendUint32(head, at)
		head = binary.BigEndian.AppendUint32(head, uint32(len(slim)))
	}
	log.Printf("release %s: %d names, %d distinct zones, %d bytes", db.Version(), len(names), len(stored), len(head)+len(body))
	return append(head, body...), nil
}

func slimFile(dir, name string) ([]byte, error) {
	original, err := os.ReadFile(filepath.Join(dir, filepath.FromSlash(name)))
	if err != nil {
		return nil, err
	}
	data, err := tzif.Parse(original)
	if err != nil {
		return nil, err
	}
	dropIdle(data)
	if err := dropRegular(data); err != nil {
		return nil, err
	}
	slim, err := data.Encode()
	if err != nil {
		return nil, err
	}
	return slim, compare(name, original, slim)
}

// dropIdle removes transitions that change nothing.
func dropIdle(data *tzif.Data) {
	kept := data.Transitions[:0]
	before := data.Types[0]
	for _, t := range data.Transitions {
		if data.Types[t.Type] != before {
			kept = append(kept, t)
		}
		before = data.Types[t.Type]
	}
	data.Transitions = kept
}

// dropRegular removes last transitions as long as the footer gives them, and nothing else, from the one
// before on.
func dropRegular(data *tzif.Data) error {
	footer, err := zone.ParseFooter(data.Footer)
	if err != nil {
		return err
	}
	agrees := func(t tzif.Transition) bool {
		o, want := footer.At(t.At), data.Types[t.Type]
		return o.Seconds == want.Seconds && o.DST == want.DST && o.Abbrev == want.Abbrev
	}
	for n := len(data.Transitions); n >= 2; n-- {
		before, last := data.Transitions[n-2], data.Transitions[n-1]
		if !agrees(before) || !agrees(last) || footer.NextAfter(before.At) != last.At {
			break
		}
		data.Transitions = data.Transitions[:n-1]
	}
	return nil
}

// compare asks for the same answers, names included, around every transition of both files.
func compare(name string, original, slim []byte) error {
	a, err := zone.Parse(name, "", original)
	if err != nil {
		return err
	}
	b, err := zone.Parse(name, "", slim)
	if err != nil {
		return err
	}
	for _, file := range [][]byte{original, slim} {
		data, err := tzif.Parse(file)
		if err != nil {
			return err
		}
		for _, t := range data.Transitions {
			for _, at := range []int64{t.At - 1, t.At, t.At + 1} {
				if a.At(at) != b.At(at) {
					return fmt.Errorf("slim file differs at %d: %v became %v", at, a.At(at), b.At(at))
				}
			}
		}
	}
	if at, differs := zone.Differs(a, b, -1<<59, zone.Horizon); differs {
		return fmt.Errorf("slim file differs at %d", at)
	}
	return nil
}
