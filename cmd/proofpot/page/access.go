package page

import (
	"crypto/rand"
	"crypto/subtle"
	"encoding/base32"
	"errors"
	"net"
	"net/http"
	"strings"
	"sync"
	"time"
)

// role is what a client may do. Whoever may see the bench may stop it.
type role int

const (
	stranger role = iota
	watcher       // sees everything, and may abort
	operator      // commands too
)

// Codes let clients in that are not on this machine. Empty: nobody.
type Codes struct{ Control, View string }

// NewCode makes a code that can be read out: 8 letters and digits, 40 bits.
func NewCode() string {
	return strings.ToLower(base32.NewEncoding("ABCDEFGHJKLMNPQRSTUVWXYZ23456789").WithPadding(base32.NoPadding).EncodeToString(random(5)))
}

func random(n int) []byte {
	b := make([]byte, n)
	rand.Read(b) // never fails, or ends the program
	return b
}

// access knows who was let in.
type access struct {
	local bool // loopback only: this machine's own users are let in without a code
	codes Codes

	mu       sync.Mutex
	sessions map[string]session
	tries    map[string]*tries // by address
	all      tries             // by everybody together
	now      func() time.Time
}

type session struct {
	role role
	till time.Time
}

// tries is a bucket of tries at a code.
type tries struct {
	left float64
	at   time.Time
}

const (
	cookieName  = "pairing"
	sessionLong = 7 * 24 * time.Hour
	triesBurst  = 5    // wrong codes before waiting
	triesPerS   = 0.1  // then one every ten seconds from one address
	allBurst    = 20   // and from all together
	allPerS     = 0.5  // so that 40 bits last longer than anyone lives
	mostClients = 4096 // addresses and sessions remembered
)

func newAccess(local bool, codes Codes) *access {
	return &access{local: local, codes: codes, sessions: map[string]session{}, tries: map[string]*tries{}, all: tries{left: allBurst}, now: time.Now}
}

// roleOf says what a request's sender may do.
func (a *access) roleOf(r *http.Request) role {
	if a.local {
		return operator
	}
	c, err := r.Cookie(cookieName)
	if err != nil {
		return stranger
	}
	a.mu.Lock()
	defer a.mu.Unlock()
	s, ok := a.sessions[c.Value]
	if !ok || a.now().After(s.till) {
		return stranger
	}
	return s.role
}

// errWait says that too many codes were tried.
var errWait = errors.New("too many wrong codes; wait a minute")

// pair trades a code for a cookie.
func (a *access) pair(address, code string) (*http.Cookie, role, error) {
	host, _, err := net.SplitHostPort(address)
	if err != nil {
		host = address
	}
	a.mu.Lock()
	defer a.mu.Unlock()
	now := a.now()
	t := a.tries[host]
	if t == nil {
		if len(a.tries) >= mostClients {
			clear(a.tries)
		}
		t = &tries{left: triesBurst, at: now}
		a.tries[host] = t
	}
	if !t.take(now, triesBurst, triesPerS) || !a.all.take(now, allBurst, allPerS) {
		return nil, stranger, errWait
	}
	code = strings.ToLower(strings.Join(strings.Fields(code), ""))
	got := stranger
	for _, c := range []struct {
		code string
		role role
	}{{a.codes.View, watcher}, {a.codes.Control, operator}} {
		if c.code != "" && subtle.ConstantTimeCompare([]byte(c.code), []byte(code)) == 1 {
			got = c.role
		}
	}
	if got == stranger {
		return nil, stranger, errors.New("that code is not right")
	}
	t.left, a.all.left = triesBurst, allBurst // who knows the code has not been guessing
	if len(a.sessions) >= mostClients {
		clear(a.sessions)
	}
	token := base32.StdEncoding.EncodeToString(random(20))
	a.sessions[token] = session{got, now.Add(sessionLong)}
	return &http.Cookie{Name: cookieName, Value: token, Path: "/", MaxAge: int(sessionLong.Seconds()), HttpOnly: true, Secure: true, SameSite: http.SameSiteStrictMode}, got, nil
}

func (t *tries) take(now time.Time, burst, perS float64) bool {
	if !t.at.IsZero() {
		t.left = min(burst, t.left+perS*now.Sub(t.at).Seconds())
	}
	t.at = now
	if t.left < 1 {
		return false
	}
	t.left--
	return true
}

// localHost says whether a request's Host header names this machine by loopback:
// a page elsewhere whose name was made to point here (DNS rebinding) does not.
func localHost(host string) bool {
	name := host
	if h, _, err := net.SplitHostPort(host); err == nil {
		name = h
	}
	if strings.EqualFold(name, "localhost") {
		return true
	}
	ip := net.ParseIP(strings.Trim(name, "[]"))
	return ip != nil && ip.IsLoopback()
}
