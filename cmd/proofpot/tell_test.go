package main

import (
	"encoding/json"
	"io"
	"net/http"
	"net/http/httptest"
	"os"
	"slices"
	"strings"
	"sync"
	"testing"

	"proofpot/analysis"
	"proofpot/cmd/proofpot/notice"
	"proofpot/rig"
	"proofpot/rig/setup"
)

// TestThoseElsewhereAreToldOfATripAtOnceAndOfTheEndOnce follows a run that trips
// and ends without a pass.
func TestThoseElsewhereAreToldOfATripAtOnceAndOfTheEndOnce(t *testing.T) {
	var mu sync.Mutex
	var told []string
	s := httptest.NewServer(http.HandlerFunc(func(_ http.ResponseWriter, r *http.Request) {
		var e notice.Event
		data, _ := io.ReadAll(r.Body)
		if err := json.Unmarshal(data, &e); err != nil || e.Unit != "KP-01" || e.Bench != "pot-1" {
			t.Errorf("told %s (%v)", data, err)
		}
		mu.Lock()
		told = append(told, e.What+" "+e.Verdict)
		mu.Unlock()
	}))
	defer s.Close()
	all := []setup.Notice{{On: setup.NoticeEvents(), Webhook: s.URL}}
	tell := newTeller(&world{errs: os.Stderr}, all, setup.Run{Bench: setup.Bench{ID: "pot-1"}, Unit: setup.Unit{ID: "KP-01"}})
	state := rig.State{}
	tell.step(&state)
	state.Stopped = rig.OverPressure
	for range 10 {
		tell.step(&state)
	}
	tell.end("records/x", &analysis.Result{Verdict: analysis.Verdict{Verdict: analysis.Inconclusive, Reasons: []string{"stopped"}}})
	slices.Sort(told)
	if want := []string{"end inconclusive", "failure inconclusive", "trip "}; !slices.Equal(told, want) {
		t.Errorf("told %q, want %q", told, want)
	}
	var nobody *teller
	nobody.step(&state)
	nobody.end("", nil)
}

func TestANoticeThatCannotBeIsNamedWithItsKey(t *testing.T) {
	bench, err := os.ReadFile("../../rig/setup/testdata/hand-serial.toml")
	if err != nil {
		t.Fatal(err)
	}
	for text, want := range map[string]string{
		"on = [\"end\"]\nwebhook = \"club.example\"":                          "webhook",
		"on = [\"noon\"]\ncommand = [\"beep\"]":                               "noon",
		"command = [\"beep\"]":                                                "what of",
		"on = [\"end\"]":                                                      "one way",
		"on = [\"end\"]\nmail_server = \"mail\"\nmail_from = \"a@b.example\"": "host:port",
	} {
		_, err := setup.ParseBench("bench.toml", append(slices.Clone(bench), []byte("\n[[notice]]\n"+text+"\n")...))
		if err == nil || !strings.Contains(err.Error(), want) || !strings.Contains(err.Error(), "bench.toml:") {
			t.Errorf("%q: %v", text, err)
		}
	}
}
