package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"os"
	"os/exec"
	"os/signal"
	"runtime"
	"syscall"
	"time"

	"github.com/spf13/cobra"

	"mealtab/cmd/mealtab/internal/known"
	"mealtab/cmd/mealtab/internal/page"
	"mealtab/cmd/mealtab/internal/preview"
	"mealtab/compiler/ical/calendar"
	"mealtab/compiler/plan"
	"mealtab/compiler/zone"
	"mealtab/emulator/avr"
)

// yearsRehearsed is how many years a plan is rehearsed before it is put in force from the page; mealtab upload has the same unless told otherwise.
const yearsRehearsed = 10

type pageFlags struct {
	port      int
	noBrowser bool
	byNumber  bool
}

func (a *app) pageCommand() *cobra.Command {
	var f pageFlags
	cmd := &cobra.Command{
		Use:   "page [PLAN]",
		Short: "See and change a plan in the browser",
		Long: `Open a page in the browser that shows a plan as pictures and lets it be changed: meals as cards, faults
at their field as one types, undo, import and export of calendars. Without PLAN it shows the built-in
example; a PLAN that does not exist yet is begun from it and written when it is first saved.

The page comes from this program and from nowhere else, and is for this computer's user only: it
listens on the loopback interface under a name that nobody else knows, and the link that opens it
works once. A browser that does not find that name needs --by-number. Saving changes single
values of the file and keeps comments and order. Starting it again for the same plan finds the page
that is already there. It ends with Ctrl-C.`,
		Example: `  mealtab page plan.toml
  mealtab page                               the built-in example
  mealtab page plan.toml --no-browser        print the link only`,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) > 1 {
				return fmt.Errorf("one PLAN is wanted, there are %d arguments", len(args))
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			name := ""
			if len(args) == 1 {
				name = args[0]
			}
			return a.runPage(cmd.Context(), name, f)
		},
	}
	flags := cmd.Flags()
	flags.IntVar(&f.port, "port", 0, "`PORT` to listen on (default: a free one)")
	flags.BoolVar(&f.byNumber, "by-number", false, "put the page at 127.0.0.1, for a browser that does not know names under .localhost")
	flags.BoolVar(&f.noBrowser, "no-browser", false, "do not start a browser")
	return cmd
}

func (a *app) runPage(ctx context.Context, name string, f pageFlags) error {
	if name == "-" {
		return usagef("the page needs a file that it can save: standard input is none")
	}
	if ctx == nil {
		ctx = context.Background()
	}
	ctx, stop := signal.NotifyContext(ctx, os.Interrupt, syscall.SIGTERM)
	defer stop()
	if link, ok := page.FindLink(ctx, name); ok {
		fmt.Fprintf(a.out, "The page is already there: %s\n", link)
		if err := a.browse(name, link, f); err != nil {
			fmt.Fprintf(a.err, "no browser could be started (%v): open the link yourself\n", err)
		}
		return nil
	}
	s, err := a.newPage(name, f.byNumber, stop)
	if err != nil {
		return err
	}
	return a.servePage(ctx, s, name, f)
}

// newPage makes the page for a plan file; stop ends the program.
func (a *app) newPage(name string, byNumber bool, stop func()) (*page.Server, error) {
	text, fresh := demoPlan, false
	if name != "" {
		src, err := a.read(name)
		switch {
		case err == nil:
			text = src
		case errors.Is(err, os.ErrNotExist):
			fresh = true
		default:
			return nil, err
		}
	}
	db, err := a.database()
	if err != nil {
		return nil, err
	}
	started := time.Now()
	return page.New(page.Options{
		Name: name, Text: text, New: fresh, Compile: a.compileForPage,
		ReadFile: func() ([]byte, error) {
			src, err := a.read(name)
			if errors.Is(err, os.ErrNotExist) {
				return nil, nil // not written yet
			}
			return src, err
		},
		WriteFile: func(data []byte) error { return a.write(name, data) },
		Export: func(w io.Writer, p *plan.Plan) error {
			z, err := db.Load(p.Zone)
			if err != nil {
				return err
			}
			return calendar.Write(w, p, z, time.Now())
		},
		Now:      func() time.Time { return a.now.Add(time.Since(started)) }, // --now goes on from there
		Stop:     stop,
		ByNumber: byNumber,
		Firmware: func(board string) (*avr.Image, error) { return a.firmwareNamed("", board) },
		UTC:      zone.UTC(),
		Boards:   boardsForPage,
		Open:     a.openFeeder,
		Years:    yearsRehearsed,
		Preview: func(f preview.Feeder, c *page.Compiled) preview.Change {
			_ = known.Keep(c.Output.Bytes, known.Names{Plan: c.Plan.Name, Zone: c.Plan.Zone, Meals: c.Schedule().Names})
			return preview.Of(db, f, preview.Next{Bytes: c.Output.Bytes, Schedule: c.Schedule(), Zones: []string{c.Plan.Zone}})
		},
	})
}

// compileForPage reads the zone data anew each time: they may be renewed while the page is open.
func (a *app) compileForPage(name string, src []byte) *page.Compiled {
	db, err := a.database()
	if err != nil {
		return &page.Compiled{Diagnostics: plan.Diagnostics{{Severity: plan.Error, Message: err.Error()}}}
	}
	return page.Compile(db, a.now, name, src)
}

// Limits of the page's connections: it serves one person on one machine.
const (
	readTimeout = 30 * time.Second
	headerBytes = 64 << 10
)

func (a *app) servePage(ctx context.Context, s *page.Server, name string, f pageFlags) error {
	listener, err := net.Listen("tcp", fmt.Sprintf("127.0.0.1:%d", f.port))
	if err != nil {
		return fmt.Errorf("the page cannot listen: %w", err)
	}
	host := listener.Addr().String()
	forget, err := page.Instance{Host: host, Secret: s.Secret(), PID: os.Getpid()}.Remember(name)
	if err != nil {
		fmt.Fprintf(a.err, "a second start will not find this page: %v\n", err)
	} else {
		defer forget()
	}
	defer s.Close()
	server := &http.Server{Handler: s.Handler(), ReadTimeout: readTimeout, MaxHeaderBytes: headerBytes}
	ended := make(chan error, 1)
	go func() { ended <- server.Serve(listener) }()
	link := s.Link(host)
	fmt.Fprintf(a.out, "The page is at %s\nThe link works once; start again for another. Ctrl-C ends the page.\n", link)
	if err := a.browse(name, link, f); err != nil {
		fmt.Fprintf(a.err, "no browser could be started (%v): open the link yourself\n", err)
	}
	select {
	case err := <-ended:
		return err
	case <-ctx.Done():
	}
	ctx, cancel := context.WithTimeout(context.Background(), time.Second)
	defer cancel()
	_ = server.Shutdown(ctx) // what still hangs after a second is cut off
	return a.keepUnsaved(s, name)
}

// keepUnsaved loses nothing that its owner has typed.
func (a *app) keepUnsaved(s *page.Server, name string) error {
	text, ok := s.Unsaved()
	if !ok {
		return nil
	}
	file, err := page.KeepUnsaved(name, text)
	if err != nil {
		return fmt.Errorf("the changes were not saved, and could not be kept: %w", err)
	}
	fmt.Fprintf(a.err, "the changes to %s were not saved; they are kept in %s\n", name, file)
	return nil
}

// browse opens a link in the user's browser, by a file that only the user can read: what a program is started with everybody can.
func (a *app) browse(name, link string, f pageFlags) error {
	if f.noBrowser {
		return nil
	}
	file, err := page.OpeningFile(name, link)
	if err != nil {
		return err
	}
	command := []string{"xdg-open", file}
	switch runtime.GOOS {
	case "darwin":
		command[0] = "open"
	case "windows":
		command = []string{"rundll32", "url.dll,FileProtocolHandler", file}
	}
	return exec.Command(command[0], command[1:]...).Start()
}
