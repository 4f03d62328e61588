package main

import (
	"bytes"
	"cmp"
	"fmt"
	"path/filepath"
	"slices"
	"strings"

	"mealtab/cmd/mealtab/internal/moment"
	"mealtab/compiler/profile"
	"mealtab/compiler/report/sitter"
	"mealtab/compiler/table"
)

const (
	sitterName  = "sitter"
	sitterAbout = "for the fridge: what the feeder does and when, and what whoever looks in does"
)

// sitterDays is how long somebody is away, if nobody says.
const sitterDays = 14

var kindSheet = kind{"not a sheet for the sitter", func(b []byte) bool { return bytes.Contains(b, []byte(`<article class="sitter"`)) }}

func (a *app) runSitter(file string, f sheetFlags) error {
	if file == "" {
		return usagef("the sheet %s is about a PLAN: name its file", sitterName)
	}
	paper, ok := sitter.PaperNamed(cmp.Or(f.paper, "a4"))
	if !ok {
		return usagef("--paper %s does not exist: a4 or letter", f.paper)
	}
	html := strings.EqualFold(filepath.Ext(f.output), ".html")
	k := kindSheet
	if !html {
		var err error
		if k, err = pictureKind(f.output); err != nil {
			return err
		}
	}
	s, err := a.sitterSheet(file, f)
	if err != nil {
		return err
	}
	if html {
		if err := a.mayReplace(f.output, k, f.force, file); err != nil {
			return err
		}
		if err := a.write(f.output, []byte(s.Document(paper))); err != nil {
			return err
		}
		fmt.Fprintf(a.out, "%s: %s, %s\n", f.output, s.Title, s.Dates)
		return nil
	}
	pages, second := s.Pages(paper)
	if f.output == "-" && len(pages) > 1 {
		return fmt.Errorf("the sheet has %d pages (%s do not fit on the first): write it into files with -o, or as HTML", len(pages), strings.Join(second, ", "))
	}
	names := make([]string, len(pages))
	for i := range pages {
		names[i] = pageName(f.output, i)
		if err := a.mayReplace(names[i], k, f.force, file); err != nil {
			return err
		}
	}
	for i, page := range pages {
		if err := a.writePicture(names[i], page, sheetScale, false); err != nil {
			return err
		}
	}
	if f.output == "-" {
		return nil
	}
	fmt.Fprintf(a.out, "%s: %s, %s\n", f.output, s.Title, s.Dates)
	if len(pages) > 1 {
		fmt.Fprintf(a.out, "One page does not hold it: %s went on to %s\n", strings.Join(second, ", "), strings.Join(names[1:], ", "))
	}
	return nil
}

// pageName is FILE for the first page, FILE-2 for the second.
func pageName(output string, page int) string {
	if page == 0 {
		return output
	}
	ext := filepath.Ext(output)
	return fmt.Sprintf("%s-%d%s", strings.TrimSuffix(output, ext), page+1, ext)
}

func (a *app) sitterSheet(file string, f sheetFlags) (*sitter.Sheet, error) {
	l, err := a.readPlan(file)
	if err != nil {
		return nil, err
	}
	c, err := a.compile(l, compileOptions{board: f.board})
	if err != nil {
		return nil, err
	}
	in := sitter.Input{Input: a.reviewInput(c), Sensors: c.board.LightBarrier, Cells: c.board.Supply == profile.Cells, Hopper: !slices.Contains(c.board.LeaveOut, "hopper")}
	if in.Preset, err = choosePreset(c.Table, c, f.preset); err != nil {
		return nil, err
	}
	if in.Preset < 0 {
		if len(l.plan.Presets) > 1 {
			return nil, usagef("--preset all: one preset is in force at a time; name it")
		}
		in.Preset = 0
	}
	now := in.Now.Unix()
	in.From = table.Day(int(table.MinuteOf(now+int64(in.Zone.At(now).Seconds))) / table.MinutesPerDay)
	if f.from != "" {
		if in.From, err = moment.Date(f.from); err != nil {
			return nil, usagef("--from: %v", err)
		}
	}
	in.To = in.From + sitterDays - 1
	if f.to != "" {
		if in.To, err = moment.Date(f.to); err != nil {
			return nil, usagef("--to: %v", err)
		}
	}
	s, err := sitter.New(in)
	if err != nil {
		return nil, fmt.Errorf("%s: %w", file, err)
	}
	return s, nil
}
