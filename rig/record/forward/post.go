package forward

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"io"
	"net"
	"net/http"
	"net/url"
	"strconv"
	"strings"
	"time"
)

// Engine is where lines go.
type Engine struct {
	URL   *url.URL
	token string
	http  *http.Client
}

// mostWait bounds what an engine may ask for by Retry-After.
const mostWait = 10 * time.Minute

// NewEngine reads an engine's address, http://host:8086/write?db=pot say; without
// a path it is /write. The token is sent as `Token …`, or as it is where it names
// its scheme itself (`Bearer …`, `Basic …`); it may be empty.
func NewEngine(address, token string) (*Engine, error) {
	u, err := url.Parse(address)
	if err != nil || u.Host == "" || u.Scheme != "http" && u.Scheme != "https" {
		return nil, fmt.Errorf("%q is no address of an engine; want http://HOST:PORT/write?db=NAME", address)
	}
	if u.User != nil {
		return nil, errors.New("an address with a password in it is seen by everybody on this machine: put it into a file or the environment, as a token")
	}
	if strings.ContainsAny(token, "\r\n") {
		return nil, errors.New("the token has more than one line")
	}
	if u.Path == "" || u.Path == "/" {
		u.Path = "/write"
	}
	q := u.Query()
	switch p := q.Get("precision"); p {
	case "":
		q.Set("precision", "ns")
	case "n", "ns", "nanosecond":
	default:
		return nil, fmt.Errorf("precision=%s: times are sent in ns; leave precision out", p)
	}
	u.RawQuery, u.Fragment = q.Encode(), ""
	if token != "" && !strings.Contains(token, " ") {
		token = "Token " + token
	}
	return &Engine{URL: u, token: token, http: &http.Client{
		Timeout:       30 * time.Second,
		CheckRedirect: func(*http.Request, []*http.Request) error { return http.ErrUseLastResponse }, // a token goes to one address
	}}, nil
}

// Exposed says that the token would go over a network as plain text.
func (e *Engine) Exposed() bool {
	ip := net.ParseIP(e.URL.Hostname())
	return e.token != "" && e.URL.Scheme == "http" && e.URL.Hostname() != "localhost" && (ip == nil || !ip.IsLoopback())
}

// The kinds of what becomes of a batch.
type kind uint8

const (
	taken  kind = iota
	later       // no answer, or one that says to come again
	gone        // later, and the connection broke: what was acknowledged last may be lost
	split       // something in it is not wanted
	denied      // nothing will be taken until somebody sees to it
)

// answer is what an engine said.
type answer struct {
	kind kind
	wait time.Duration // later: how long at least
	text string
}

// post sends one body.
func (e *Engine) post(ctx context.Context, body []byte) answer {
	req, err := http.NewRequestWithContext(ctx, http.MethodPost, e.URL.String(), bytes.NewReader(body))
	if err != nil {
		return answer{kind: denied, text: err.Error()}
	}
	req.Header.Set("Content-Type", "text/plain; charset=utf-8")
	if e.token != "" {
		req.Header.Set("Authorization", e.token)
	}
	resp, err := e.http.Do(req)
	if err != nil {
		return answer{kind: gone, text: plainly(err)}
	}
	defer resp.Body.Close()
	said, err := io.ReadAll(io.LimitReader(resp.Body, 1000))
	text := strings.TrimSpace(resp.Status + " " + strings.Join(strings.Fields(string(said)), " "))
	switch code := resp.StatusCode; {
	case code >= 200 && code < 300 && err != nil:
		return answer{kind: gone, text: plainly(err)}
	case code >= 200 && code < 300:
		return answer{kind: taken}
	case code == http.StatusTooManyRequests || code == http.StatusRequestTimeout || code >= 500:
		return answer{kind: later, wait: retryAfter(resp.Header.Get("Retry-After")), text: text}
	case code == http.StatusBadRequest || code == http.StatusRequestEntityTooLarge || code == http.StatusUnprocessableEntity:
		return answer{kind: split, text: text}
	case code >= 300 && code < 400:
		return answer{kind: denied, text: text + ": it has moved to " + resp.Header.Get("Location")}
	default:
		return answer{kind: denied, text: text}
	}
}

// plainly leaves the address out of an error of the network.
func plainly(err error) string {
	var u *url.Error
	if errors.As(err, &u) {
		err = u.Err
	}
	return err.Error()
}

// retryAfter reads seconds or a date (RFC 9110, 10.2.3).
func retryAfter(head string) time.Duration {
	if s, err := strconv.Atoi(head); err == nil && s >= 0 {
		return min(time.Duration(s)*time.Second, mostWait)
	}
	if at, err := http.ParseTime(head); err == nil {
		return min(max(time.Until(at), 0), mostWait)
	}
	return 0
}
