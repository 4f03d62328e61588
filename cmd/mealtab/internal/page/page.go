// Package page serves the local page on which an owner sees a plan, changes it, and tries it.
//
// In: the text of one plan file, a compiler for it, a clock. Out: HTML, SVG and JSON over HTTP on the loopback interface, and the
// plan file saved when its owner says so. The page is net/http, html/template and a little script by hand, all embedded: it has
// few moving parts, needs no build and no network, and weighs less than the smallest of the usual frameworks.
//
// What keeps it safe is in guard.go: loopback only, a link that works once, host and origin checked, no change by GET, and a
// content security policy that lets nothing in from elsewhere. Times shown are local times of the plan's zone.
package page

import (
	"embed"
	"html/template"
	"io"
	"net/http"
	"sync"
	"time"

	"mealtab/cmd/mealtab/internal/preview"
	"mealtab/compiler"
	"mealtab/compiler/plan"
	"mealtab/compiler/profile"
	"mealtab/compiler/report/chart"
	"mealtab/compiler/zone"
	"mealtab/emulator/avr"
	"mealtab/flasher"
)

// Compiled is what a compiler makes of a text. With errors Plan or Output is nil.
type Compiled struct {
	Plan        *plan.Plan
	Zone        *zone.Zone
	ZoneData    string // release of the time zone data
	Output      *compiler.Output
	Board       *profile.Profile
	Diagnostics plan.Diagnostics // errors, warnings and what the compiler says about the whole
}

// ok reports whether there is a proved table.
func (c *Compiled) ok() bool { return c.Output != nil }

// Options are what the page needs from outside.
type Options struct {
	Name    string // of the file, as the owner gave it; "" where nothing can be saved
	Text    []byte
	New     bool // the file is not there yet: Text is what it may begin with
	Compile func(name string, src []byte) *Compiled
	// ReadFile and WriteFile reach the plan file, and no other. ReadFile gives nil where there is no file.
	ReadFile  func() ([]byte, error)
	WriteFile func([]byte) error
	// Export writes a plan as iCalendar.
	Export func(io.Writer, *plan.Plan) error
	// Firmware is the image for a board by its name; UTC the local time where no plan says another.
	Firmware func(board string) (*avr.Image, error)
	UTC      *zone.Zone
	Years    int // that a plan is rehearsed before it is put in force
	// Boards lists the ports on which a feeder may be, Open begins a conversation with the feeder on one.
	Boards func() ([]FoundBoard, error)
	Open   func(port string) (*flasher.Feeder, error)
	// Preview says what a plan changes on a feeder.
	Preview  func(preview.Feeder, *Compiled) preview.Change
	Now      func() time.Time
	Stop     func() // ends the program
	ByNumber bool   // the page is at 127.0.0.1, not under a name of its own
}

// Server is the page. Its methods may be called from several goroutines.
type Server struct {
	o     Options
	guard *guard
	mu    sync.Mutex
	s     *session
	views map[string]*template.Template
	mux   *http.ServeMux
	style []byte

	boards boards
}

//go:embed assets
var assets embed.FS

// New returns a page for a plan.
func New(o Options) (*Server, error) {
	s := &Server{o: o, guard: newGuard(o.ByNumber), views: map[string]*template.Template{}, mux: http.NewServeMux()}
	s.s = newSession(o)
	if err := s.loadAssets(); err != nil {
		return nil, err
	}
	s.routes()
	return s, nil
}

// views are the pages; each is a file of assets put into layout.html.
var viewNames = []string{"see", "change", "send", "try"}

func (s *Server) loadAssets() error {
	for _, name := range viewNames {
		t, err := template.New("layout.html").Funcs(templateFuncs).ParseFS(assets, "assets/layout.html", "assets/parts.html", "assets/"+name+".html")
		if err != nil {
			return err
		}
		s.views[name] = t
	}
	style, err := assets.ReadFile("assets/style.css")
	if err != nil {
		return err
	}
	s.style = append(style, chart.CSS("svg.chart ")...)
	return nil
}

func (s *Server) routes() {
	s.mux.HandleFunc("GET /{$}", s.showSee)
	s.mux.HandleFunc("GET /change", s.showChange)
	s.mux.HandleFunc("GET /export.ics", s.export)
	s.mux.HandleFunc("GET /plan.toml", s.download)
	s.mux.HandleFunc("GET /style.css", s.showStyle)
	s.mux.HandleFunc("GET /send", s.showPlain("send"))
	s.mux.HandleFunc("GET /try", s.showPlain("try"))
	for _, script := range []string{"queue.js", "cards.js", "change.js", "page.js", "send.js", "try.js"} {
		s.mux.HandleFunc("GET /"+script, s.asset(script, "text/javascript; charset=utf-8"))
	}
	s.mux.HandleFunc("GET /icon.svg", s.asset("icon.svg", "image/svg+xml"))
	s.apiRoutes()
	s.boardRoutes()
}

// Handler is the page behind its guard.
func (s *Server) Handler() http.Handler { return s.guard.wrap(s.mux) }

// Unguarded is the page for a browser that runs it itself: nobody else can ask it anything.
func (s *Server) Unguarded() http.Handler { return s.mux }

// Link is the address that lets a browser in, once; host is "127.0.0.1:port".
func (s *Server) Link(host string) string { return s.guard.address(host) }

// Secret lets a second start of the program ask this one for a link. It belongs into a file that only the user can read.
func (s *Server) Secret() string { return s.guard.secret }

func (s *Server) asset(name, kind string) http.HandlerFunc {
	return func(w http.ResponseWriter, _ *http.Request) {
		data, err := assets.ReadFile("assets/" + name)
		if err != nil {
			http.Error(w, err.Error(), http.StatusInternalServerError)
			return
		}
		send(w, kind, data)
	}
}

func (s *Server) showStyle(w http.ResponseWriter, _ *http.Request) {
	send(w, "text/css; charset=utf-8", s.style)
}

func send(w http.ResponseWriter, kind string, data []byte) {
	w.Header().Set("Content-Type", kind)
	_, _ = w.Write(data)
}

func (s *Server) showSee(w http.ResponseWriter, r *http.Request) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.render(w, "see", "layout.html", s.s.see(r.URL.Query()))
}

func (s *Server) showChange(w http.ResponseWriter, _ *http.Request) {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.render(w, "change", "layout.html", s.s.cards())
}

// plainView is a view whose contents come by script.
type plainView struct {
	frame
	Today    string
	Cautions []string
}

func (s *Server) showPlain(view string) http.HandlerFunc {
	return func(w http.ResponseWriter, _ *http.Request) {
		s.mu.Lock()
		defer s.mu.Unlock()
		v := plainView{frame: s.s.frame(view), Today: s.o.Now().Format(time.DateOnly)}
		if c := s.s.good; c != nil {
			first, _ := s.s.firstDay(c, presetOf(c, ""))
			v.Today = dateText(first, time.DateOnly)
		}
		s.render(w, view, "layout.html", v)
	}
}

// Close ends what runs in the background.
func (s *Server) Close() {
	s.boards.trialMu.Lock()
	if s.boards.stop != nil {
		s.boards.stop()
	}
	s.boards.trialMu.Unlock()
	s.boards.mu.Lock()
	defer s.boards.mu.Unlock()
	s.boards.hangUp()
}

func (s *Server) render(w http.ResponseWriter, view, part string, data any) {
	b := &buffer{}
	if err := s.views[view].ExecuteTemplate(b, part, data); err != nil {
		http.Error(w, err.Error(), http.StatusInternalServerError)
		return
	}
	send(w, "text/html; charset=utf-8", *b)
}

// buffer collects a page, so that a fault in a template is no half page.
type buffer []byte

func (b *buffer) Write(p []byte) (int, error) {
	*b = append(*b, p...)
	return len(p), nil
}
