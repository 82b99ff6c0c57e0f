// Package notice tells people elsewhere that a run has ended, failed or tripped:
// by a command of theirs, a webhook, or e-mail. A notice that cannot be sent is
// said, and holds nothing up.
package notice

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"mime"
	"net"
	"net/http"
	"net/smtp"
	"os"
	"os/exec"
	"slices"
	"strings"
	"time"

	"proofpot/rig/setup"
)

// Event is what a notice tells.
type Event struct {
	What    string  `json:"what"` // end, failure, trip
	Bench   string  `json:"bench"`
	Unit    string  `json:"unit"`
	Profile string  `json:"profile"`
	Verdict string  `json:"verdict,omitempty"`
	RatedM  float64 `json:"rated_m,omitempty"`
	Text    string  `json:"text"`
	Record  string  `json:"record,omitempty"`
	At      string  `json:"at"` // UTC
}

// Line is the event as one line.
func (e Event) Line() string {
	head := map[string]string{"end": "ended", "failure": "did NOT pass", "trip": "TRIPPED"}[e.What]
	return fmt.Sprintf("bench %s, unit %s: test %s: %s", e.Bench, e.Unit, head, e.Text)
}

// Within bounds how long one notice may take.
const Within = 20 * time.Second

// Send sends an event to everyone who asked for its kind, and gives the errors of
// those that could not be reached, one line each.
func Send(ctx context.Context, notices []setup.Notice, e Event) error {
	var failed []error
	for i, n := range notices {
		if !slices.Contains(n.On, e.What) {
			continue
		}
		ctx, cancel := context.WithTimeout(ctx, Within)
		if err := send(ctx, n, e); err != nil {
			failed = append(failed, fmt.Errorf("notice %d (%s): %w", i, e.What, err))
		}
		cancel()
	}
	return errors.Join(failed...)
}

func send(ctx context.Context, n setup.Notice, e Event) error {
	data, err := json.Marshal(e)
	if err != nil {
		return err
	}
	switch {
	case len(n.Command) > 0:
		return command(ctx, n.Command, e, data)
	case n.Webhook != "":
		return webhook(ctx, n.Webhook, data)
	}
	return mail(ctx, n, e)
}

// command runs a command of the user's: the event as JSON on its standard input,
// and its main parts in the environment.
func command(ctx context.Context, argv []string, e Event, data []byte) error {
	c := exec.CommandContext(ctx, argv[0], argv[1:]...)
	c.Stdin = bytes.NewReader(data)
	c.Env = append(os.Environ(), "PROOFPOT_EVENT="+e.What, "PROOFPOT_BENCH="+e.Bench, "PROOFPOT_UNIT="+e.Unit, "PROOFPOT_VERDICT="+e.Verdict,
		"PROOFPOT_RECORD="+e.Record, "PROOFPOT_TEXT="+e.Line())
	c.WaitDelay = time.Second
	out, err := c.CombinedOutput()
	if err != nil {
		return fmt.Errorf("%s: %w %s", argv[0], err, clip(string(out)))
	}
	return nil
}

// webhook posts the event as JSON. It is tried again once: networks of boat
// houses come and go.
func webhook(ctx context.Context, url string, data []byte) error {
	post := func() error {
		r, err := http.NewRequestWithContext(ctx, http.MethodPost, url, bytes.NewReader(data))
		if err != nil {
			return err
		}
		r.Header.Set("Content-Type", "application/json")
		r.Header.Set("User-Agent", "proofpot")
		resp, err := http.DefaultClient.Do(r)
		if err != nil {
			return err
		}
		resp.Body.Close()
		if resp.StatusCode >= 300 {
			return fmt.Errorf("the server answers %s", resp.Status)
		}
		return nil
	}
	err := post()
	if err == nil {
		return nil
	}
	select {
	case <-ctx.Done():
		return err
	case <-time.After(2 * time.Second):
		return post()
	}
}

// mail sends the event by SMTP (RFC 5321), with TLS where the server offers it;
// a password is only sent over TLS.
func mail(ctx context.Context, n setup.Notice, e Event) error {
	host, _, err := net.SplitHostPort(n.MailServer)
	if err != nil {
		return err
	}
	conn, err := (&net.Dialer{}).DialContext(ctx, "tcp", n.MailServer)
	if err != nil {
		return err
	}
	defer conn.Close()
	if at, ok := ctx.Deadline(); ok {
		_ = conn.SetDeadline(at)
	}
	c, err := smtp.NewClient(conn, host)
	if err != nil {
		return err
	}
	defer c.Close()
	if ok, _ := c.Extension("STARTTLS"); ok {
		if err := c.StartTLS(tlsConfig(host)); err != nil {
			return err
		}
	}
	if n.MailUser != "" {
		password, err := os.ReadFile(n.MailPasswordFile)
		if err != nil {
			return err
		}
		if err := c.Auth(smtp.PlainAuth("", n.MailUser, strings.TrimSpace(string(password)), host)); err != nil {
			return err
		}
	}
	if err := c.Mail(n.MailFrom); err != nil {
		return err
	}
	for _, to := range n.MailTo {
		if err := c.Rcpt(to); err != nil {
			return err
		}
	}
	w, err := c.Data()
	if err != nil {
		return err
	}
	if _, err := w.Write(message(n, e)); err != nil {
		return err
	}
	if err := w.Close(); err != nil {
		return err
	}
	return c.Quit()
}

// message is the mail (RFC 5322); no line of an event can become a header.
func message(n setup.Notice, e Event) []byte {
	one := func(s string) string { return strings.Join(strings.Fields(s), " ") }
	var b strings.Builder
	fmt.Fprintf(&b, "From: %s\r\nTo: %s\r\nSubject: %s\r\nDate: %s\r\nMIME-Version: 1.0\r\nContent-Type: text/plain; charset=utf-8\r\nContent-Transfer-Encoding: 8bit\r\n\r\n",
		one(n.MailFrom), one(strings.Join(n.MailTo, ", ")), mime.QEncoding.Encode("utf-8", one(e.Line())), one(e.At))
	fmt.Fprintf(&b, "%s\r\n\r\nprofile: %s\r\nverdict: %s\r\nrecord: %s\r\n", one(e.Line()), one(e.Profile), one(e.Verdict), one(e.Record))
	if e.What != "end" || e.Verdict != "pass" {
		b.WriteString("\r\nDo not dive this unit. Do not open the chamber on the strength of this message: look at its gauge.\r\n")
	}
	return []byte(b.String())
}

func clip(s string) string {
	if s = strings.Join(strings.Fields(s), " "); len(s) > 200 {
		return s[:200] + "…"
	}
	return s
}
