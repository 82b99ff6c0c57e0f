package certificate

import (
	"fmt"
	"path/filepath"
	"strings"
	"testing"

	"proofpot/analysis"
	"proofpot/rig/record"
)

// analysed runs the whole way from a record's folder to its result.
func analysed(t testing.TB, folder string) scene {
	t.Helper()
	opened, err := record.Open(folder)
	if err != nil {
		t.Fatal(err)
	}
	defer opened.Close()
	r, err := analysis.Analyse(opened.Run, opened.Name, opened)
	if err != nil {
		t.Fatal(err)
	}
	return scene{opened.Run, r}
}

// agrees wants a document to say what its result says.
func agrees(t *testing.T, s scene) {
	t.Helper()
	document := written(t, s.run, s.r, options())
	text, v := plain(document), s.r.Verdict
	word := map[string]string{analysis.Pass: "Pass", analysis.Fail: "Fail: do not dive", analysis.Inconclusive: "Inconclusive: not a pass"}[v.Verdict]
	if !strings.Contains(document, "<span>"+word+"</span>") {
		t.Errorf("%s: the verdict is %s, the document does not say %q", v.Record, v.Verdict, word)
	}
	for _, reason := range v.Reasons[:min(len(v.Reasons), mostList)] {
		if !strings.Contains(text, reason) {
			t.Errorf("%s: the reason %q is missing", v.Record, reason)
		}
	}
	if f := v.FirstFailure; f != nil {
		for _, want := range []string{fmt.Sprintf("%.1f m (95 %%: ", f.DepthM), f.Time.UTC().Format("15:04:05 UTC"), f.Mode} {
			if got := section(t, document, "Where it began to fail"); !strings.Contains(got, want) {
				t.Errorf("%s: %q is missing in %q", v.Record, want, got)
			}
		}
	}
	judged := 0
	for _, row := range rows(t, document, "Result of each stage") {
		if len(row) == 9 && row[0] != "Stage" {
			h := v.Holds[judged]
			if row[1] != fmt.Sprintf("%.1f m", h.DepthM) || row[8] != h.Verdict {
				t.Errorf("%s: row %q for %+v", v.Record, row, h)
			}
			checkInterval(t, row[5], h.LeakMLPerH)
			judged++
		}
	}
	if judged != min(len(v.Holds), mostHolds) {
		t.Errorf("%s: %d rows for %d holds", v.Record, judged, len(v.Holds))
	}
	if found := notANumber.FindString(document); found != "" {
		t.Errorf("%s: %q is printed", v.Record, found)
	}
}

func TestTheDocumentSaysWhatTheAnalysisFound(t *testing.T) {
	agrees(t, analysed(t, filepath.Join("testdata", "20260712T033618Z-HC020")))
}

func TestEveryRecordOfTheSharedCorpusHasItsDocument(t *testing.T) {
	records, err := filepath.Glob(filepath.Join("..", "..", "..", "shared", "corpus", "*", record.ReadingsFile))
	if err != nil {
		t.Fatal(err)
	}
	if testing.Short() && len(records) > 4 {
		records = records[:4]
	}
	for _, readings := range records {
		agrees(t, analysed(t, filepath.Dir(readings)))
	}
}
