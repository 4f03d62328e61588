package main

import (
	"encoding/binary"
	"fmt"
	"math/rand/v2"
	"testing"

	"github.com/stretchr/testify/require"

	"mealtab/flasher/flashertest"
	"mealtab/flasher/frame"
)

// strangers answer every request with good frames, but are no feeders: their payloads are random, of random length; or as long as a feeder's; or
// they know even how a feeder answers who it is, and nothing else.
var strangers = map[string]func(r *rand.Rand, code byte) (status byte, payload []byte){
	"any length": func(r *rand.Rand, _ byte) (byte, []byte) { return frame.OK, randomOctets(r, r.IntN(100)) },
	"right length": func(r *rand.Rand, code byte) (byte, []byte) {
		n := 0
		for _, m := range frame.Messages() {
			if m.Code == int(code) {
				n = frame.Size(m.Response)
			}
		}
		return frame.OK, randomOctets(r, n+r.IntN(2)*8*r.IntN(12))
	},
	"knows its name": func(r *rand.Rand, code byte) (byte, []byte) {
		if code == frame.Identify {
			return frame.OK, feederIdentity()
		}
		return frame.OK, randomOctets(r, r.IntN(frame.MaxData+5))
	},
	"knows its name and every length": func(r *rand.Rand, code byte) (byte, []byte) {
		if code == frame.Identify {
			return frame.OK, feederIdentity()
		}
		for _, m := range frame.Messages() {
			if m.Code == int(code) {
				return frame.OK, randomOctets(r, frame.Size(m.Response)+r.IntN(13)*8)
			}
		}
		return frame.OK, nil
	},
	"random statuses": func(r *rand.Rand, code byte) (byte, []byte) {
		return byte(r.IntN(12)), randomOctets(r, r.IntN(40))
	},
}

func randomOctets(r *rand.Rand, n int) []byte {
	b := make([]byte, n)
	for i := range b {
		b[i] = byte(r.Uint32())
	}
	return b
}

// feederIdentity is what an m328-mains answers to IDENTIFY.
func feederIdentity() []byte {
	b := make([]byte, frame.Size(frame.MessageNamed("IDENTIFY").Response))
	for name, v := range map[string]uint16{"PROTOCOL": frame.Version, "FORMAT": 2, "FIRMWARE": frame.FirmwareVersion, "BOARD": 1, "EEPROM_SIZE": 1024, "BANK_SIZE": 416, "MAX_DATA": frame.MaxData, "CLOCK_KHZ": 16000, "HISTORY_SLOTS": 511} {
		field := frame.MessageNamed("IDENTIFY").Answered(b, name)
		if len(field) == 1 {
			field[0] = byte(v)
		} else {
			binary.LittleEndian.PutUint16(field, v)
		}
	}
	return b
}

// No command takes what a stranger says for a feeder's word.
func TestStrangersAreNotBelieved(t *testing.T) {
	plan, _ := planFile(t, planBefore)
	pulled := t.TempDir() + "/pulled.toml"
	for name, stranger := range strangers {
		t.Run(name, func(t *testing.T) {
			h := newHome(t, nil, nil)
			runs := 0
			for seed := range uint64(30) {
				for _, args := range [][]string{{"journal"}, {"status"}, {"clock"}, {"clock", "--set"}, {"serve"}, {"pull", "-o", pulled}, {"upload", plan, "--rehearse", "0", "--yes"}, {"hopper", "--filled"}} {
					r := rand.New(rand.NewPCG(seed, 15))
					h.boards["desk"] = &flashertest.Answering{Octets: flashertest.Messages(func(code byte, _ []byte) (byte, []byte) { return stranger(r, code) })}
					code, out, errs := h.start("", append(args, "--port", "desk")...)
					require.NotZero(t, code, fmt.Sprint(args, " seed ", seed, "\n", out, errs))
					runs++
				}
			}
			t.Log(runs, "runs")
		})
	}
}
