package setup

import (
	"fmt"
	"net"
	"net/url"
	"slices"
	"strings"
)

// Notice tells somebody elsewhere of an event, in one of three ways. It stands in
// bench.toml alone: no record holds it.
type Notice struct {
	On      []string `toml:"on"`                // of NoticeEvents
	Command []string `toml:"command,omitempty"` // a program and its arguments
	Webhook string   `toml:"webhook,omitempty"` // http or https address

	MailServer       string   `toml:"mail_server,omitempty"` // host:port
	MailFrom         string   `toml:"mail_from,omitempty"`
	MailTo           []string `toml:"mail_to,omitempty"`
	MailUser         string   `toml:"mail_user,omitempty"`
	MailPasswordFile string   `toml:"mail_password_file,omitempty"`
}

// NoticeEvents lists what a notice can be on.
func NoticeEvents() []string { return []string{"end", "failure", "trip"} }

// checkNotices checks that each says when, and how, in one way.
func (b *Bench) checkNotices() error {
	for i, n := range b.Notices {
		key := func(name string) string { return fmt.Sprintf("notice[%d].%s", i, name) }
		if len(n.On) == 0 {
			return wrong(key("on"), "a notice needs to know what of: %s", strings.Join(NoticeEvents(), ", "))
		}
		for _, on := range n.On {
			if !slices.Contains(NoticeEvents(), on) {
				return wrong(key("on"), "%q is no event; %s are", on, strings.Join(NoticeEvents(), ", "))
			}
		}
		ways := 0
		for _, has := range []bool{len(n.Command) > 0, n.Webhook != "", n.MailServer != ""} {
			if has {
				ways++
			}
		}
		if ways != 1 {
			return wrong(key("on"), "a notice goes one way: give command, webhook or mail_server, and a [[notice]] of its own for each")
		}
		if n.Webhook != "" {
			if u, err := url.Parse(n.Webhook); err != nil || u.Host == "" || u.Scheme != "http" && u.Scheme != "https" {
				return wrong(key("webhook"), "%q is no address; one begins with https:// or http://", n.Webhook)
			}
		}
		if n.MailServer != "" {
			if _, _, err := net.SplitHostPort(n.MailServer); err != nil {
				return wrong(key("mail_server"), "%q is not host:port, mail.club.example:587 say", n.MailServer)
			}
			if !strings.Contains(n.MailFrom, "@") || len(n.MailTo) == 0 {
				return wrong(key("mail_to"), "a mail needs mail_from and mail_to")
			}
			if (n.MailUser == "") != (n.MailPasswordFile == "") {
				return wrong(key("mail_user"), "mail_user and mail_password_file belong together")
			}
		}
	}
	return nil
}
