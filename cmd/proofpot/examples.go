package main

import (
	"strings"

	"github.com/alecthomas/kong"

	"proofpot/cmd/proofpot/manual"
)

// examples are those of verbs whose own text has none.
var examples = map[string]string{
	"run":              "proofpot run proof-30m-sea --unit-fault 'seep at 24 m, 3 ml/h'",
	"plan":             "proofpot plan proof-30m-sea --picture plan.svg",
	"analyse":          "proofpot analyse records/20260314T081502Z-KP-01",
	"certificate":      "proofpot certificate records/20260314T081502Z-KP-01",
	"records list":     "proofpot records",
	"records compress": "proofpot records compress records/20260314T081502Z-KP-01",
	"verify":           "proofpot verify records/20260314T081502Z-KP-01",
	"key new":          "proofpot key new --key bench.key",
	"key show":         "proofpot key show --key bench.key",
	"key backup":       "proofpot key backup --key bench.key stick",
	"key sign":         "proofpot key sign --key bench.key records/20260314T081502Z-KP-01",
	"export":           "proofpot export --csv --to out records/20260314T081502Z-KP-01",
	"forward":          "proofpot forward --engine http://localhost:8428/write records/20260314T081502Z-KP-01",
	"replay":           "proofpot replay records/20260314T081502Z-KP-01",
	"depth":            "proofpot depth 30m --water sea",
	"profiles list":    "proofpot profiles",
	"profiles show":    "proofpot profiles show proof-30m-sea",
	"profiles copy":    "proofpot profiles copy proof-30m-sea my.toml",
	"unit close":       "proofpot unit close kp-01.toml --at 2026-03-14",
	"unit tests":       "proofpot unit tests records/20260314T081502Z-KP-01",
	"unit dive":        "proofpot unit dive KP-01 24.5 --minutes 41",
	"unit dives":       "proofpot unit dives KP-01 week.uddf",
	"unit list":        "proofpot unit",
	"unit show":        "proofpot unit show KP-01",
	"unit log":         "proofpot unit log KP-01 opened --text 'new battery'",
	"unit due":         "proofpot unit due tests.ics",
	"trip":             "proofpot trip lake-week.toml --sheet lake-week.pdf",
	"demo":             "proofpot demo season --rounds 1",
	"compare":          "proofpot compare 'one seal' 'two seals' --pictures drawn",
	"rating":           "proofpot rating 'two seals'",
}

// withExamples gives each verb its example where its own text has none.
func withExamples(app *kong.Node) {
	for _, n := range app.Leaves(true) {
		if _, has := manual.Examples(n.Detail); len(has) > 0 {
			continue
		}
		if e := examples[strings.TrimPrefix(n.Path(), app.Name+" ")]; e != "" {
			n.Detail = strings.TrimSpace(n.Detail + "\n\nExample: " + e)
		}
	}
}
