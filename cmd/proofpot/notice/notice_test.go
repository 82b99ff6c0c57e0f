package notice

import (
	"bufio"
	"context"
	"encoding/json"
	"io"
	"net"
	"net/http"
	"net/http/httptest"
	"os"
	"path/filepath"
	"strings"
	"sync/atomic"
	"testing"

	"proofpot/rig/setup"
)

var failed = Event{What: "failure", Bench: "pot-1", Unit: "KP-07", Profile: "proof-30m-sea", Verdict: "fail", Text: "a leak of 3.5 ml/h began at 23.6 m\r\nBcc: all@club.example",
	Record: "records/20260314T081502Z-KP-07", At: "2026-03-14T10:15:02Z"}

func TestACommandGetsTheEvent(t *testing.T) {
	file := filepath.Join(t.TempDir(), "told")
	n := []setup.Notice{{On: []string{"failure"}, Command: []string{"sh", "-c", `{ cat; echo; echo "$PROOFPOT_EVENT $PROOFPOT_UNIT"; } > "$0"`, file}}}
	if err := Send(context.Background(), n, failed); err != nil {
		t.Fatal(err)
	}
	told, err := os.ReadFile(file)
	if err != nil {
		t.Fatal(err)
	}
	var e Event
	line, rest, _ := strings.Cut(string(told), "\n")
	if err := json.Unmarshal([]byte(line), &e); err != nil || e != failed || rest != "failure KP-07\n" {
		t.Errorf("told %q (%v)", told, err)
	}
	if err := Send(context.Background(), []setup.Notice{{On: []string{"failure"}, Command: []string{"sh", "-c", "echo no; exit 3"}}}, failed); err == nil || !strings.Contains(err.Error(), "exit status 3 no") {
		t.Errorf("a command that fails: %v", err)
	}
}

func TestOnlyWhoAskedIsTold(t *testing.T) {
	var told atomic.Int32
	s := httptest.NewServer(http.HandlerFunc(func(http.ResponseWriter, *http.Request) { told.Add(1) }))
	defer s.Close()
	n := []setup.Notice{{On: []string{"trip"}, Webhook: s.URL}, {On: []string{"end", "failure"}, Webhook: s.URL}}
	if err := Send(context.Background(), n, failed); err != nil || told.Load() != 1 {
		t.Errorf("told %d, %v", told.Load(), err)
	}
}

func TestAWebhookIsTriedAgainOnce(t *testing.T) {
	var tries atomic.Int32
	s := httptest.NewServer(http.HandlerFunc(func(w http.ResponseWriter, r *http.Request) {
		var e Event
		if data, err := io.ReadAll(r.Body); err != nil || json.Unmarshal(data, &e) != nil || e != failed {
			t.Errorf("posted %s", data)
		}
		if tries.Add(1) == 1 {
			w.WriteHeader(http.StatusServiceUnavailable)
		}
	}))
	n := []setup.Notice{{On: []string{"failure"}, Webhook: s.URL}}
	if err := Send(context.Background(), n, failed); err != nil || tries.Load() != 2 {
		t.Errorf("%d tries, %v", tries.Load(), err)
	}
	s.Close()
	if err := Send(context.Background(), n, failed); err == nil {
		t.Error("nobody there, and no error")
	}
}

// mailServer is a small SMTP server (RFC 5321) that keeps what it is sent.
func mailServer(t *testing.T, refuse string) (address string, got chan string) {
	l, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { l.Close() })
	got = make(chan string, 4)
	go func() {
		c, err := l.Accept()
		if err != nil {
			return
		}
		defer c.Close()
		say := func(s string) { io.WriteString(c, s+"\r\n") }
		r := bufio.NewReader(c)
		var all strings.Builder
		say("220 here")
		for {
			line, err := r.ReadString('\n')
			if err != nil {
				return
			}
			all.WriteString(line)
			word := strings.ToUpper(strings.Fields(line + " x")[0])
			switch {
			case word == refuse:
				say("550 no")
			case word == "DATA":
				say("354 go")
				for {
					line, err := r.ReadString('\n')
					if err != nil {
						return
					}
					if line == ".\r\n" {
						break
					}
					all.WriteString(line)
				}
				say("250 kept")
			case word == "QUIT":
				say("221 bye")
				got <- all.String()
				return
			default:
				say("250 ok")
			}
		}
	}()
	return l.Addr().String(), got
}

func TestAMailIsSentAndNoTextBecomesAHeader(t *testing.T) {
	address, got := mailServer(t, "")
	n := []setup.Notice{{On: []string{"failure"}, MailServer: address, MailFrom: "bench@club.example", MailTo: []string{"kim@club.example", "jo@club.example"}}}
	if err := Send(context.Background(), n, failed); err != nil {
		t.Fatal(err)
	}
	mail := <-got
	head, text, _ := strings.Cut(mail[strings.Index(mail, "From: "):], "\r\n\r\n")
	for _, want := range []string{"MAIL FROM:<bench@club.example>", "RCPT TO:<kim@club.example>", "RCPT TO:<jo@club.example>"} {
		if !strings.Contains(mail, want) {
			t.Errorf("%q is missing in\n%s", want, mail)
		}
	}
	if strings.Contains(head, "\nBcc:") || !strings.Contains(head, "Subject: bench pot-1, unit KP-07: test did NOT pass") || !strings.Contains(text, "Do not dive this unit") {
		t.Errorf("the mail reads\n%s", mail)
	}
}

func TestARefusedMailIsAnError(t *testing.T) {
	address, _ := mailServer(t, "RCPT")
	n := []setup.Notice{{On: []string{"failure"}, MailServer: address, MailFrom: "bench@club.example", MailTo: []string{"kim@club.example"}}}
	if err := Send(context.Background(), n, failed); err == nil || !strings.Contains(err.Error(), "550") {
		t.Errorf("%v", err)
	}
}

// TestAPasswordNeverGoesInTheClear: a server without TLS is not given it.
func TestAPasswordNeverGoesInTheClear(t *testing.T) {
	file := filepath.Join(t.TempDir(), "password")
	if err := os.WriteFile(file, []byte("secret\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	// By another address than 127.0.0.1, which counts as this machine and as safe.
	l, err := net.Listen("tcp", "127.0.0.2:0")
	if err != nil {
		t.Skipf("127.0.0.2 is not loopback here: %v", err)
	}
	defer l.Close()
	heard := make(chan string, 1)
	go func() {
		c, err := l.Accept()
		if err != nil {
			return
		}
		defer c.Close()
		io.WriteString(c, "220 here\r\n")
		r := bufio.NewReader(c)
		all := ""
		for {
			line, err := r.ReadString('\n')
			all += line
			if err != nil {
				heard <- all
				return
			}
			io.WriteString(c, "250-here\r\n250 AUTH PLAIN\r\n")
		}
	}()
	n := []setup.Notice{{On: []string{"failure"}, MailServer: l.Addr().String(), MailFrom: "b@c.example", MailTo: []string{"k@c.example"}, MailUser: "b", MailPasswordFile: file}}
	if err := Send(context.Background(), n, failed); err == nil || !strings.Contains(err.Error(), "unencrypted") {
		t.Errorf("%v", err)
	}
	if all := <-heard; strings.Contains(all, "AUTH") {
		t.Errorf("the password was sent: %q", all)
	}
}
