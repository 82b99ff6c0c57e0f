package catalogue

import (
	"fmt"
	"os"
	"path/filepath"
	"reflect"
	"testing"
	"time"
)

const sheet = `format = 1
[unit]
id = %q
variant = %q
free_volume_ml = 500.0
[bench]
id = "club-pot"
[profile]
name = "steps"
[[profile.stage]]
depth_m = 9.0
[[profile.stage]]
depth_m = 30.0
`

// lay puts n small records into a folder: every third failed, every seventh was
// not analysed.
func lay(t testing.TB, n int) string {
	t.Helper()
	dir := t.TempDir()
	start := time.Date(2026, 3, 14, 8, 0, 0, 0, time.UTC)
	for i := range n {
		unit := fmt.Sprintf("KP-%02d", i%24+1)
		folder := filepath.Join(dir, start.Add(time.Duration(i)*time.Hour).Format(stampLayout)+"-"+unit)
		put(t, folder, "run.toml", fmt.Sprintf(sheet, unit, "ABCDE"[i%5:i%5+1]))
		put(t, folder, "readings.lp", "note text=\"x\" 1773476102000000000\nrun,event=end text=\"end\" 1773476102000000001\n")
		switch {
		case i%7 == 6:
		case i%3 == 2:
			put(t, folder, "verdict.json", `{"format":1,"verdict":"fail","proved_depth_m":9,"first_failure":{"depth_m":24.4,"mode":"seep"}}`)
		default:
			put(t, folder, "verdict.json", `{"format":1,"verdict":"pass","proved_depth_m":30,"rated_depth_m":24}`)
		}
	}
	return dir
}

func put(t testing.TB, folder, name, text string) {
	t.Helper()
	if err := os.MkdirAll(folder, 0o777); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(filepath.Join(folder, name), []byte(text), 0o666); err != nil {
		t.Fatal(err)
	}
}

func list(t testing.TB, dir string) []Entry {
	t.Helper()
	all, err := List(dir)
	if err != nil {
		t.Fatal(err)
	}
	return all
}

func TestRecordsAreFoundByWhatTheyAre(t *testing.T) {
	all := list(t, lay(t, 42))
	if len(all) != 42 {
		t.Fatalf("%d records, want 42", len(all))
	}
	day := time.Date(2026, 3, 15, 0, 0, 0, 0, time.UTC)
	for _, c := range []struct {
		q    Query
		want int
	}{
		{Query{}, 42},
		{Query{Unit: "KP-01"}, 2},
		{Query{Variant: "A"}, 9},
		{Query{Verdict: "fail"}, 12},
		{Query{Verdict: NotAnalysed}, 6},
		{Query{MinM: 20, MaxM: 25}, 12},
		{Query{MinM: 26}, 30}, // passed to 30 m, and those that were only planned
		{Query{Since: day}, 26},
		{Query{Until: day}, 16},
		{Query{Unit: "KP-03", Verdict: "fail"}, 2},
		{Query{Unit: "nobody"}, 0},
	} {
		if found := Find(all, c.q); len(found) != c.want {
			t.Errorf("%+v: %d records, want %d", c.q, len(found), c.want)
		}
	}
}

func TestTheIndexSaysWhatTheRecordsSayWhateverHappensToIt(t *testing.T) {
	dir := lay(t, 20)
	index := filepath.Join(dir, IndexFile)
	want := list(t, dir)
	for what, spoil := range map[string]func() error{
		"as it was": func() error { return nil },
		"deleted":   func() error { return os.Remove(index) },
		"torn":      func() error { return os.Truncate(index, 100) },
		"empty":     func() error { return os.WriteFile(index, nil, 0o644) },
		"older":     func() error { return os.WriteFile(index, []byte(`{"version":0,"records":{"x":{}}}`), 0o644) },
	} {
		if err := spoil(); err != nil {
			t.Fatal(err)
		}
		if got := list(t, dir); !reflect.DeepEqual(got, want) {
			t.Errorf("index %s: other entries than without it", what)
		}
	}
}

func TestARecordThatChangedIsReadAgain(t *testing.T) {
	dir := lay(t, 7)
	before := list(t, dir)
	last := before[6]
	if last.Verdict != "" || last.CutOff {
		t.Fatalf("%+v", last)
	}
	put(t, filepath.Join(dir, last.Name), "verdict.json", `{"verdict":"inconclusive"}`)
	if got := list(t, dir)[6].Verdict; got != "inconclusive" {
		t.Errorf("verdict %q, want the new one", got)
	}
	put(t, filepath.Join(dir, last.Name), "verdict.json", `{"verd`)
	if got := list(t, dir)[6]; got.Unusable == "" {
		t.Error("a verdict that is torn is not named")
	}
	if err := os.RemoveAll(filepath.Join(dir, last.Name)); err != nil { // somebody moved it away
		t.Fatal(err)
	}
	put(t, filepath.Join(dir, "20260401T000000Z-KP-99"), "run.toml", "format = [")
	put(t, filepath.Join(dir, "20260401T000000Z-KP-99"), "readings.lp", "note text=\"cut\" 17734761020")
	got := list(t, dir)
	if len(got) != 7 || got[6].Unit != "KP-99" || got[6].Unusable == "" || !got[6].CutOff {
		t.Errorf("%+v", got[len(got)-1])
	}
}

func TestAFolderThatCannotBeWrittenToIsListedAllTheSame(t *testing.T) {
	dir := lay(t, 3)
	if err := os.Mkdir(filepath.Join(dir, IndexFile), 0o777); err != nil { // no index can be put there
		t.Fatal(err)
	}
	if n := len(list(t, dir)); n != 3 {
		t.Errorf("%d records, want 3", n)
	}
	if none := list(t, filepath.Join(dir, "nowhere")); len(none) != 0 {
		t.Errorf("%d records in a folder that is not there", len(none))
	}
}

// BenchmarkList lists 10,000 records: with the index as it is, and without it.
func BenchmarkList(b *testing.B) {
	dir := lay(b, 10000)
	list(b, dir)
	b.Run("indexed", func(b *testing.B) {
		for b.Loop() {
			if n := len(Find(list(b, dir), Query{Verdict: "fail", MinM: 20})); n != 2857 {
				b.Fatal(n)
			}
		}
	})
	b.Run("index-alone", func(b *testing.B) { // the share of it that reads the file
		for b.Loop() {
			openIndex(dir)
		}
	})
	b.Run("rebuilt", func(b *testing.B) {
		for b.Loop() {
			os.Remove(filepath.Join(dir, IndexFile))
			list(b, dir)
		}
	})
}
