package page

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"net/http"
	"strings"
	"time"
)

// Options of a server.
type Options struct {
	Local   bool  // listens on loopback alone
	Codes   Codes // for a server that others reach
	Records string
	Viewers int // at once; 0: 64
}

// Server serves the page of one bench.
type Server struct {
	work   *work
	hub    *hub
	holder *holder
	access *access
	bench  Bench
	opts   Options
	tight  tight
}

const (
	mostBody    = 64 << 10
	mostPhoto   = 12 << 20
	writeWithin = 10 * time.Second
)

// New makes a server for a bench. The context ends its run: it is aborted and
// vented then.
func New(ctx context.Context, b Bench, o Options) *Server {
	if o.Viewers == 0 {
		o.Viewers = 64
	}
	s := &Server{hub: newHub(o.Viewers), holder: &holder{now: time.Now, open: map[string]int{}}, access: newAccess(o.Local, o.Codes), bench: b, opts: o}
	s.work = &work{hub: s.hub, holder: s.holder, bench: b, what: idle, base: ctx}
	s.work.tell()
	go s.work.watch(ctx)
	return s
}

// GoOn runs something that no page has asked for: a run that was cut off goes on.
func (s *Server) GoOn(do func(context.Context, *Console) (Outcome, error)) error {
	return s.work.goOn(do)
}

// Wait returns when the run under way, if any, has ended and its valves are safe.
func (s *Server) Wait() { s.work.ended.Wait() }

// Handler gives everything that the server answers.
func (s *Server) Handler() http.Handler {
	open := http.NewServeMux() // without a code
	for name := range assets() {
		open.HandleFunc("GET "+name, serveAsset)
	}
	open.HandleFunc("GET /{$}", serveAsset)
	open.HandleFunc("POST /api/pair", s.pair)
	open.HandleFunc("GET /api/me", s.me)

	see := http.NewServeMux() // for whoever may see
	see.HandleFunc("GET /api/news", s.news)
	see.HandleFunc("POST /api/abort", s.abort)
	see.HandleFunc("GET /api/choices", s.choices)
	see.HandleFunc("GET /api/plan", s.plan)
	see.HandleFunc("GET /api/records", s.records)
	see.HandleFunc("GET /api/units", s.units)
	see.HandleFunc("GET /api/picture", s.picture)
	see.HandleFunc("GET /records/{record}/{file}", s.recordFile)
	see.HandleFunc("GET /records/{record}/photos/{file}", s.photoFile)

	command := http.NewServeMux() // for whoever may command
	command.HandleFunc("POST /api/take", s.take)
	command.HandleFunc("POST /api/give", s.give)
	for path, do := range map[string]func(*http.Request) (any, error){
		"/api/preflight": s.preflight, "/api/start": s.start, "/api/resume": s.resume, "/api/skip": s.skip, "/api/pause": s.pause, "/api/go": s.goOn, "/api/ready": s.ready,
		"/api/note": s.note, "/api/photo": s.photo, "/api/analyse": s.analyse,
	} {
		command.HandleFunc("POST "+path, s.held(do))
	}

	root := http.NewServeMux()
	root.Handle("/", open)
	root.Handle("/api/", s.at(watcher, see))
	root.Handle("/records/", s.at(watcher, see))
	for _, path := range []string{"pair", "me"} {
		root.Handle("/api/"+path, open)
	}
	for _, path := range []string{"take", "give", "preflight", "start", "resume", "skip", "pause", "go", "ready", "note", "photo", "analyse"} {
		root.Handle("/api/"+path, s.at(operator, command))
	}
	return s.guarded(http.NewCrossOriginProtection().Handler(root))
}

// guarded sets what holds for every answer, and refuses what no page of ours asks.
func (s *Server) guarded(next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		h := w.Header()
		h.Set("Content-Security-Policy", "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data: blob:; connect-src 'self'; media-src 'none'; form-action 'none'; base-uri 'none'; frame-ancestors 'none'")
		h.Set("X-Content-Type-Options", "nosniff")
		h.Set("Referrer-Policy", "no-referrer")
		h.Set("Cross-Origin-Resource-Policy", "same-origin")
		h.Set("Cross-Origin-Opener-Policy", "same-origin")
		h.Set("Permissions-Policy", "geolocation=(), microphone=(), camera=(self)")
		h.Set("Cache-Control", "no-store")
		if s.opts.Local && !localHost(r.Host) {
			refuse(w, http.StatusMisdirectedRequest, errors.New("this page answers to localhost alone"))
			return
		}
		most := int64(mostBody)
		if r.URL.Path == "/api/photo" {
			most = mostPhoto + mostBody
		}
		r.Body = http.MaxBytesReader(w, r.Body, most)
		next.ServeHTTP(w, r)
	})
}

// at lets in whoever has at least a role.
func (s *Server) at(least role, next http.Handler) http.Handler {
	return http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		switch got := s.access.roleOf(r); {
		case got >= least:
			next.ServeHTTP(w, r)
		case got == stranger:
			refuse(w, http.StatusUnauthorized, errors.New("enter the pairing code first"))
		default:
			refuse(w, http.StatusForbidden, errors.New("the code that you have lets you see and abort, and nothing else"))
		}
	})
}

// held lets the client command that holds the control.
func (s *Server) held(do func(*http.Request) (any, error)) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		if client := r.Header.Get("X-Client"); !s.holder.has(client) {
			h := s.holder.seen()
			if h.Client == "" {
				refuse(w, http.StatusConflict, errors.New("take the control first"))
			} else {
				refuse(w, http.StatusConflict, fmt.Errorf("%s has the control", h.Name))
			}
			return
		}
		out, err := do(r)
		if err != nil {
			refuse(w, statusOf(err), err)
			return
		}
		reply(w, out)
	}
}

func statusOf(err error) int {
	var big *http.MaxBytesError
	switch {
	case errors.As(err, &big):
		return http.StatusRequestEntityTooLarge
	case errors.Is(err, errBusy):
		return http.StatusConflict
	}
	return http.StatusBadRequest
}

func reply(w http.ResponseWriter, what any) {
	w.Header().Set("Content-Type", "application/json")
	if what == nil {
		what = struct{}{}
	}
	_ = json.NewEncoder(w).Encode(what) // whoever has gone away does not hear it
}

func refuse(w http.ResponseWriter, status int, err error) {
	w.Header().Set("Content-Type", "application/json")
	w.WriteHeader(status)
	_ = json.NewEncoder(w).Encode(map[string]string{"error": err.Error()})
}

// body reads a request's JSON, strictly.
func body(r *http.Request, to any) error {
	if t := r.Header.Get("Content-Type"); !strings.HasPrefix(t, "application/json") {
		return fmt.Errorf("the request is %q, not application/json", t)
	}
	d := json.NewDecoder(r.Body)
	d.DisallowUnknownFields()
	if err := d.Decode(to); err != nil {
		return fmt.Errorf("the request cannot be read: %w", err)
	}
	if _, err := d.Token(); err != io.EOF {
		return errors.New("the request goes on after its end")
	}
	return nil
}

func (s *Server) pair(w http.ResponseWriter, r *http.Request) {
	var ask struct {
		Code string `json:"code"`
	}
	if err := body(r, &ask); err != nil {
		refuse(w, statusOf(err), err)
		return
	}
	cookie, _, err := s.access.pair(r.RemoteAddr, ask.Code)
	switch {
	case errors.Is(err, errWait):
		w.Header().Set("Retry-After", "60")
		refuse(w, http.StatusTooManyRequests, err)
	case err != nil:
		refuse(w, http.StatusForbidden, err)
	default:
		http.SetCookie(w, cookie)
		reply(w, nil)
	}
}

// me says what the client may do.
func (s *Server) me(w http.ResponseWriter, r *http.Request) {
	reply(w, map[string]any{"role": []string{"stranger", "watcher", "operator"}[s.access.roleOf(r)], "local": s.opts.Local})
}

// news is the stream of server-sent events.
func (s *Server) news(w http.ResponseWriter, r *http.Request) {
	v := s.hub.join()
	if v == nil {
		w.Header().Set("Retry-After", "10")
		refuse(w, http.StatusServiceUnavailable, errors.New("too many pages are open"))
		return
	}
	defer s.work.tell()
	defer s.hub.leave(v)
	client := r.URL.Query().Get("client")
	s.holder.page(client, 1)
	defer s.holder.page(client, -1)
	s.work.tell()
	w.Header().Set("Content-Type", "text/event-stream")
	out := http.NewResponseController(w)
	alive := time.NewTicker(5 * time.Second)
	defer alive.Stop()
	for {
		_ = out.SetWriteDeadline(time.Now().Add(writeWithin))
		err := v.take(func(kind string, data []byte) error {
			_, err := fmt.Fprintf(w, "event: %s\ndata: %s\n\n", kind, data)
			return err
		})
		if err == nil {
			err = out.Flush()
		}
		if err != nil {
			return
		}
		select {
		case <-r.Context().Done():
			return
		case <-s.work.base.Done():
			return
		case <-v.news:
		case <-alive.C:
			_ = out.SetWriteDeadline(time.Now().Add(writeWithin))
			if _, err := fmt.Fprint(w, "event: alive\ndata: {}\n\n"); err != nil {
				return
			}
		}
	}
}

// abort is always taken, first, from whoever may see.
func (s *Server) abort(w http.ResponseWriter, r *http.Request) {
	if on := s.work.now(); on != nil {
		on.abort()
	}
	reply(w, nil)
}

func (s *Server) take(w http.ResponseWriter, r *http.Request) {
	var ask struct {
		Name string `json:"name"`
		Over bool   `json:"over"`
	}
	client := r.Header.Get("X-Client")
	if err := body(r, &ask); err != nil {
		refuse(w, statusOf(err), err)
		return
	}
	if len(client) < 8 || len(client) > 64 || len(ask.Name) > 80 {
		refuse(w, http.StatusBadRequest, errors.New("the page did not say who it is"))
		return
	}
	name := strings.TrimSpace(ask.Name)
	if name == "" {
		name = "somebody"
	}
	if !s.holder.take(client, name, ask.Over) {
		refuse(w, http.StatusConflict, fmt.Errorf("%s has the control", s.holder.seen().Name))
		return
	}
	s.work.tell()
	reply(w, nil)
}

func (s *Server) give(w http.ResponseWriter, r *http.Request) {
	s.holder.give(r.Header.Get("X-Client"))
	s.work.tell()
	reply(w, nil)
}

func (s *Server) preflight(r *http.Request) (any, error) {
	var c Choice
	if err := body(r, &c); err != nil {
		return nil, err
	}
	return nil, s.work.preflight(c)
}

func (s *Server) start(r *http.Request) (any, error) {
	var c Choice
	if err := body(r, &c); err != nil {
		return nil, err
	}
	if !c.Acknowledged {
		return nil, errors.New("read the cautions, and tick that you have")
	}
	return nil, s.work.run(c)
}

func (s *Server) resume(r *http.Request) (any, error) {
	var ask struct {
		Record       string `json:"record"`
		Acknowledged bool   `json:"acknowledged"`
	}
	if err := body(r, &ask); err != nil {
		return nil, err
	}
	if !safeName(ask.Record) {
		return nil, errNoRecord
	}
	if !ask.Acknowledged {
		return nil, errors.New("read the cautions, and tick that you have")
	}
	return nil, s.work.resume(ask.Record)
}

var errIdle = errors.New("nothing is being run")

func (s *Server) pause(*http.Request) (any, error) { return nil, s.tell((*Console).pause) }
func (s *Server) goOn(*http.Request) (any, error)  { return nil, s.tell((*Console).goOn) }
func (s *Server) skip(*http.Request) (any, error)  { return nil, s.tell((*Console).skip) }
func (s *Server) ready(*http.Request) (any, error) { return nil, s.tell((*Console).ready) }

func (s *Server) tell(do func(*Console)) error {
	on := s.work.now()
	if on == nil {
		return errIdle
	}
	do(on)
	return nil
}

func (s *Server) note(r *http.Request) (any, error) {
	var ask struct {
		Text string `json:"text"`
	}
	if err := body(r, &ask); err != nil {
		return nil, err
	}
	on := s.work.now()
	text := strings.Join(strings.Fields(ask.Text), " ")
	switch {
	case on == nil:
		return nil, errIdle
	case text == "":
		return nil, errors.New("the note is empty")
	case len(text) > 500:
		return nil, errors.New("a note has at most 500 letters")
	}
	return nil, on.note(text)
}

func (s *Server) analyse(r *http.Request) (any, error) {
	var ask struct {
		Record string `json:"record"`
	}
	if err := body(r, &ask); err != nil {
		return nil, err
	}
	if !safeName(ask.Record) {
		return nil, errNoRecord
	}
	return s.bench.Analyse(ask.Record)
}

func (s *Server) choices(w http.ResponseWriter, r *http.Request) { answer(w, s.bench.Choices) }
func (s *Server) records(w http.ResponseWriter, r *http.Request) { answer(w, s.bench.Records) }
func (s *Server) units(w http.ResponseWriter, r *http.Request)   { answer(w, s.bench.Units) }

func (s *Server) plan(w http.ResponseWriter, r *http.Request) {
	q := r.URL.Query()
	answer(w, func() (PlanView, error) {
		return s.bench.Plan(Choice{Unit: q.Get("unit"), Profile: q.Get("profile")})
	})
}

func answer[T any](w http.ResponseWriter, ask func() (T, error)) {
	out, err := ask()
	if err != nil {
		refuse(w, statusOf(err), err)
		return
	}
	reply(w, out)
}
