package sitter

import (
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/stretchr/testify/require"

	"mealtab/compiler"
	"mealtab/compiler/profile"
	"mealtab/compiler/reader"
	"mealtab/compiler/report/chart"
	"mealtab/compiler/report/review"
	"mealtab/compiler/table"
	"mealtab/compiler/zone"
)

// first is Saturday 12 December 2026.
var first = table.Day(time.Date(2026, 12, 12, 0, 0, 0, 0, time.UTC).Sub(time.Date(2000, 1, 1, 0, 0, 0, 0, time.UTC)) / (24 * time.Hour))

func input(t *testing.T, text string, from, to table.Day) Input {
	t.Helper()
	in, ok := compiledPlans[text]
	if !ok {
		in = compile(t, text)
		compiledPlans[text] = in
	}
	in.Now = table.Minute(from) * table.MinutesPerDay
	return Input{Input: in, From: from, To: to, Hopper: true, Sensors: true}
}

var compiledPlans = map[string]review.Input{} // proving takes longer than drawing

func compile(t *testing.T, text string) review.Input {
	t.Helper()
	p, ds := reader.Parse("plan.toml", []byte(text))
	require.False(t, ds.HasErrors(), "%v", ds)
	z, err := zone.Embedded().Load(p.Zone)
	require.NoError(t, err)
	board, err := profile.Load(profile.Default)
	require.NoError(t, err)
	out, err := compiler.Compile(p, z, compiler.Options{Board: board, From: first})
	require.NoError(t, err)
	return review.Input{Plan: p, Zone: z, Table: out.Table, MealOf: out.MealOf}
}

const household = `plan = "Juniper and Moss"
zone = "Europe/Lisbon"
[wheel]
pocket = "6.2 g"
[hopper]
holds = "400 g"
`

func meal(name, portion, at string) string {
	return fmt.Sprintf("[[meal]]\nname = %q\nportion = %q\nat = [%s]\n", name, portion, at)
}

// plans are the edges of what a household has.
func plans() map[string]string {
	var forty []string
	for i := range 40 {
		forty = append(forty, fmt.Sprintf("%q", fmt.Sprintf("%02d:%02d", i*36/60, i*36%60)))
	}
	long := strings.Repeat("W", 60)
	words := "the second breakfast of Juniper and of Moss after the long ni"
	rtl := "ארוחת הבוקר של גינג'ר ומוס אחרי הלילה הארוך בליסבון היפה"
	return map[string]string{
		"two":   household + meal("breakfast", "18 g", `"07:00"`) + meal("supper", "22 g", `"18:30"`),
		"forty": household + meal("a little something", "1 g", strings.Join(forty, ", ")),
		"long":  strings.Replace(household, "Juniper and Moss", long, 1) + meal(long, "18 g", `"07:00"`) + meal(words[:60], "18 g", `"12:00"`),
		"rtl":   strings.Replace(household, "Juniper and Moss", rtl, 1) + meal(rtl, "18 g", `"07:00"`) + meal("早餐早餐早餐早餐早餐早餐早餐早餐早餐早餐早餐早餐早餐早餐早餐早餐早餐早餐早餐早餐", "18 g", `"12:00"`),
		"odd": household + "[[meal]]\nname = \"breakfast\"\nportion = \"18 g\"\ndtstart = 2026-12-12T07:00:00\nrrule = \"FREQ=DAILY;INTERVAL=2\"\n" +
			"[[meal]]\nname = \"noon\"\nportion = \"10 g\"\ndtstart = 2026-12-12T12:00:00\nrrule = \"FREQ=DAILY;INTERVAL=3\"\n" +
			"[[meal]]\nname = \"supper\"\nportion = \"12 g\"\ndtstart = 2026-12-12T18:00:00\nrrule = \"FREQ=DAILY;INTERVAL=5\"\n",
		"none":    household + "[[meal]]\nname = \"once\"\nportion = \"18 g\"\nrdate = [2028-01-01T07:00:00]\n",
		"presets": household + "[[meal]]\nname = \"breakfast\"\nportion = \"18 g\"\nat = [\"07:00\"]\npresets = [\"home\", \"away\"]\n[[meal]]\nname = \"extra\"\nportion = \"6 g\"\nat = [\"12:00\"]\npresets = [\"away\"]\n",
	}
}

// words are all that a sheet says, without spaces: pages break lines anywhere.
func (s *Sheet) words() (list []string) {
	list = append(list, s.Dates)
	for _, section := range s.Sections {
		list = append(list, section.Heading)
		for _, b := range section.Blocks {
			switch b := b.(type) {
			case Text:
				list = append(list, string(b))
			case Rows:
				for _, row := range b.Cells {
					list = append(list, row[0], row[1])
				}
			case Ticks:
				list = append(list, b...)
			case Blanks:
				list = append(list, b...)
			}
		}
	}
	return list
}

func squeezed(s string) string { return strings.Join(strings.Fields(plain(s)), "") }

// letters counts them.
func letters(s string) map[rune]int {
	n := map[rune]int{}
	for _, r := range squeezed(s) {
		n[r]++
	}
	return n
}

func add(a, b map[rune]int) map[rune]int {
	for r, n := range b {
		a[r] += n
	}
	return a
}

// Everything that the sheet says stands on its pages, inside the margins, black on white; what is said to have gone to a second page is there.
func TestNothingIsClipped(t *testing.T) {
	for name, text := range plans() {
		for _, days := range []table.Day{1, 2, 7, 14, 31, 92, mostDays} {
			for _, paper := range Papers() {
				s, err := New(input(t, text, first, first+days-1))
				require.NoError(t, err)
				pages, second := s.Pages(paper)
				require.Equal(t, len(pages) > 1, len(second) > 0)
				w, h := paper.pixels()
				var all strings.Builder
				for n, page := range pages {
					require.Equal(t, paper.MM, page.Millimetres)
					for _, m := range page.Marks {
						switch m := m.(type) {
						case chart.Text:
							all.WriteString(m.S + " ")
							require.Equal(t, chart.Black, m.Paint)
							end := m.X + width(m.S, m.Size)
							if m.Anchor == chart.End {
								end = m.X
							}
							require.LessOrEqual(t, end, w-paper.margin+0.01, "%s, %d days: %s", name, days, m.S)
							require.LessOrEqual(t, m.Y, h-20)
						case chart.Line:
							require.Equal(t, chart.Black, m.Paint)
							for _, p := range m.Points {
								require.LessOrEqual(t, p.X, w-paper.margin+0.01)
								require.LessOrEqual(t, p.Y, h-20, "%s, %d days, page %d", name, days, n+1)
							}
						default:
							t.Fatalf("a %T", m)
						}
					}
				}
				// Letter for letter: lines are broken, and columns stand side by side, but none may be lost.
				want := letters(strings.Join(s.words(), ""))
				for n := range pages {
					want = add(want, letters(s.Title+s.Dates))
					if len(pages) > 1 {
						want = add(want, letters(fmt.Sprintf("page %d of %d", n+1, len(pages))))
					}
				}
				require.Equal(t, want, add(letters(s.Dates), letters(all.String())), name)
				if name != "odd" && days <= 14 && name != "rtl" && name != "long" {
					require.Len(t, pages, 1, "%s, %d days, %s", name, days, paper.Name)
				}
			}
		}
	}
}

// What a sheet says of the days is what the plan says, worked out by hand here.
func TestDays(t *testing.T) {
	all := func(name string, from, to table.Day) string {
		s, err := New(input(t, plans()[name], from, to))
		require.NoError(t, err)
		return strings.Join(s.words(), "\n")
	}
	require.Contains(t, all("two", first, first+15), "Every day (40 g in all):\n07:00\nbreakfast 18 g\n18:30\nsupper 22 g\n")
	// 400 g for ten days of 40 g.
	require.Contains(t, all("two", first, first+15), "in the evening of:\nMon 21 Dec\n")
	require.Contains(t, all("two", first, first+9), "Filled on Sat 12 December it lasts all these days; 0 g are left then.")
	require.Contains(t, all("none", first, first+3), "Nothing: on these days the plan has no meal.")
	require.Contains(t, all("odd", first, first+3), "Sat 12 Dec (40 g in all):\n07:00\nbreakfast 18 g\n12:00\nnoon 10 g\n18:00\nsupper 12 g\nSun 13 Dec: nothing.\nMon 14 Dec:\n07:00\nbreakfast 18 g\nTue 15 Dec:\n12:00\nnoon 10 g\n")
	// The clocks of Lisbon change at 01:00 UTC on the last Sundays of March and October (EU Directive 2000/84/EC).
	require.Contains(t, all("two", first+103, first+110), "On Sun 28 March the clocks go forward by 1 h")
	require.NotContains(t, all("two", first+103, first+105), "clocks go")
	require.Contains(t, all("presets", first, first+3), "This sheet is for “home”, number 1.")

	for _, bad := range [][2]table.Day{{first, first - 1}, {first, first + mostDays}} {
		_, err := New(input(t, plans()["two"], bad[0], bad[1]))
		require.Error(t, err)
	}
}

// A browser prints the HTML on one page of its paper, with all its words and without a colour. The referees are Chromium and poppler.
func TestPrinted(t *testing.T) {
	chromium, err := exec.LookPath("chromium")
	if err != nil || exec.Command("pdftotext", "-v").Run() != nil {
		t.Fatal("needs chromium and poppler-utils: ./check packages installs them")
	}
	dir := t.TempDir()
	cases := []struct {
		plan  string
		days  table.Day
		paper string
		pages int // at most
	}{{"forty", 14, "letter", 1}}
	if os.Getenv("SITTER_PRINTS") != "" { // ./check deep
		cases = nil
		for name := range plans() {
			for _, paper := range Papers() {
				for _, days := range []table.Day{14, 92} {
					cases = append(cases, struct {
						plan  string
						days  table.Day
						paper string
						pages int
					}{name, days, paper.Name, 0})
				}
			}
		}
	}
	for _, c := range cases {
		s, err := New(input(t, plans()[c.plan], first, first+c.days-1))
		require.NoError(t, err)
		paper, _ := PaperNamed(c.paper)
		pages, _ := s.Pages(paper)
		page, pdf := filepath.Join(dir, "page.html"), filepath.Join(dir, "page.pdf")
		require.NoError(t, os.WriteFile(page, []byte(s.Document(paper)), 0o644))
		run := func(name string, args ...string) string {
			out, err := exec.Command(name, args...).CombinedOutput()
			require.NoError(t, err, "%s: %s", name, out)
			return string(out)
		}
		run(chromium, "--headless", "--no-sandbox", "--disable-gpu", "--disable-background-networking", "--disable-component-update", "--disable-sync", "--no-first-run",
			"--user-data-dir="+filepath.Join(dir, "profile"), "--no-pdf-header-footer", "--print-to-pdf="+pdf, "file://"+page)
		info := run("pdfinfo", pdf)
		require.Contains(t, info, map[string]string{"a4": "(A4)", "letter": "(letter)"}[c.paper])
		require.Regexp(t, fmt.Sprintf(`Pages: +[1-%d]\n`, len(pages)), info, "%s, %d days, %s: the picture has %d pages", c.plan, c.days, c.paper, len(pages))
		got := squeezed(run("pdftotext", "-raw", pdf, "-"))
		for _, part := range s.words() {
			// A PDF has its own order of right to left, and no letters where the machine has no font, as of Chinese.
			if len(part) < 200 && !strings.ContainsFunc(part, func(r rune) bool { return r > 0x500 && r < 0x2000 || r >= 0x2E80 }) {
				require.Contains(t, got, squeezed(part), c.plan)
			}
		}
		run("pdftoppm", "-r", "40", pdf, filepath.Join(dir, "page"))
		pictures, err := filepath.Glob(filepath.Join(dir, "page*.ppm"))
		require.NoError(t, err)
		require.NotEmpty(t, pictures)
		for _, name := range pictures {
			b, err := os.ReadFile(name)
			require.NoError(t, err)
			var w, h, most int
			_, err = fmt.Sscanf(string(b[:32]), "P6\n%d %d\n%d", &w, &h, &most)
			require.NoError(t, err)
			pixels := b[len(b)-3*w*h:]
			for i := 0; i < len(pixels); i += 3 {
				require.True(t, pixels[i] == pixels[i+1] && pixels[i] == pixels[i+2], "a colour")
			}
			require.NoError(t, os.Remove(name))
		}
	}
}
