package analysis

import (
	"os"
	"strings"
	"testing"
)

// IntoReadme puts a table into the README of this folder, between the line that says
// how it was made and the one that ends it.
func IntoReadme(t *testing.T, from, table, to string) {
	t.Helper()
	readme, err := os.ReadFile("README.md")
	if err != nil {
		t.Fatal(err)
	}
	before, rest, ok := strings.Cut(string(readme), from)
	_, after, ok2 := strings.Cut(rest, to)
	if !ok || !ok2 {
		t.Fatalf("README.md has no place for the table: no %q", from)
	}
	if err := os.WriteFile("README.md", []byte(before+from+table+to+after), 0o644); err != nil {
		t.Fatal(err)
	}
}
