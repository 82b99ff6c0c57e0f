package mutation

import (
	"bytes"
	"encoding/json"
	"fmt"
	"go/ast"
	"go/parser"
	"go/printer"
	"go/token"
	"os"
	"os/exec"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
)

// swaps are what an operator is changed into.
var swaps = map[token.Token]token.Token{
	token.LSS: token.LEQ, token.LEQ: token.LSS, token.GTR: token.GEQ, token.GEQ: token.GTR,
	token.EQL: token.NEQ, token.NEQ: token.EQL, token.LAND: token.LOR, token.LOR: token.LAND,
	token.ADD: token.SUB, token.SUB: token.ADD, token.MUL: token.QUO,
}

// mutant is one change of a file.
type mutant struct {
	what string
	line int
	do   func() // and undo, when called again
}

// mutants lists the changes that can be made to a file: an operator swapped, a
// condition negated, a statement dropped, a number doubled.
func mutants(fset *token.FileSet, f *ast.File) (all []mutant) {
	at := func(n ast.Node, format string, args ...any) string {
		p := fset.Position(n.Pos())
		return fmt.Sprintf("%s:%d: ", filepath.Base(p.Filename), p.Line) + fmt.Sprintf(format, args...)
	}
	drop := func(list []ast.Stmt) {
		for i := range list {
			switch list[i].(type) {
			case *ast.ExprStmt, *ast.IncDecStmt:
			case *ast.AssignStmt:
				if list[i].(*ast.AssignStmt).Tok == token.DEFINE {
					continue
				}
			default:
				continue
			}
			was, empty := list[i], ast.Stmt(&ast.EmptyStmt{})
			all = append(all, mutant{at(was, "a statement dropped: %s", text(fset, was)), fset.Position(was.Pos()).Line, func() {
				if list[i] == was {
					list[i] = empty
				} else {
					list[i] = was
				}
			}})
		}
	}
	ast.Inspect(f, func(n ast.Node) bool {
		switch n := n.(type) {
		case *ast.BinaryExpr:
			if other, ok := swaps[n.Op]; ok {
				was := n.Op
				all = append(all, mutant{at(n, "%s for %s in %s", other, was, text(fset, n)), fset.Position(n.Pos()).Line, func() {
					if n.Op == was {
						n.Op = other
					} else {
						n.Op = was
					}
				}})
			}
		case *ast.IfStmt:
			was := n.Cond
			negated := &ast.UnaryExpr{Op: token.NOT, X: &ast.ParenExpr{X: was}}
			all = append(all, mutant{at(n, "negated: %s", text(fset, was)), fset.Position(n.Pos()).Line, func() {
				if n.Cond == was {
					n.Cond = negated
				} else {
					n.Cond = was
				}
			}})
		case *ast.BlockStmt:
			drop(n.List)
		case *ast.CaseClause:
			drop(n.Body)
		case *ast.BasicLit:
			if n.Kind == token.INT || n.Kind == token.FLOAT {
				was := n.Value
				all = append(all, mutant{at(n, "2 * %s", was), fset.Position(n.Pos()).Line, func() {
					if n.Value == was {
						n.Value = "(2*" + was + "+1)"
					} else {
						n.Value = was
					}
				}})
			}
		}
		return true
	})
	return all
}

func text(fset *token.FileSet, n ast.Node) string {
	var b bytes.Buffer
	_ = printer.Fprint(&b, fset, n)
	line, _, _ := strings.Cut(b.String(), "\n")
	return line
}

// TestMutantsOfTheCoreAreNoticed runs where PROOFPOT_MUTANTS names the files of
// rig to change, and lists the mutants that the tests of rig do not notice:
//
//	PROOFPOT_MUTANTS=limits.go,sequencer.go go test ./rig/mutation -v -timeout 4h
//
// A file may be tried from a line on (protect.go:300), and PROOFPOT_MUTANTS_ONLY
// names a file: then those are tried whose words stand in it.
func TestMutantsOfTheCoreAreNoticed(t *testing.T) {
	files := os.Getenv("PROOFPOT_MUTANTS")
	if files == "" {
		t.Skip("PROOFPOT_MUTANTS names no file")
	}
	known, err := os.ReadFile("SURVIVORS.md")
	if err != nil {
		t.Fatal(err)
	}
	root, err := filepath.Abs("..")
	if err != nil {
		t.Fatal(err)
	}
	only := ""
	if file := os.Getenv("PROOFPOT_MUTANTS_ONLY"); file != "" {
		b, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		only = string(b)
	}
	dir := t.TempDir()
	for name := range strings.SplitSeq(files, ",") {
		name, line, _ := strings.Cut(name, ":")
		from, _ := strconv.Atoi(line)
		path := filepath.Join(root, name)
		fset := token.NewFileSet()
		f, err := parser.ParseFile(fset, path, nil, parser.SkipObjectResolution)
		if err != nil {
			t.Fatal(err)
		}
		noticed, unbuilt, survived := 0, 0, 0
		for _, m := range mutants(fset, f) {
			words := m.what[strings.Index(m.what, " ")+1:]
			if m.line < from || only != "" && !strings.Contains(only, words) {
				continue
			}
			m.do()
			var b bytes.Buffer
			err := printer.Fprint(&b, fset, f)
			m.do()
			if err != nil {
				t.Fatal(err)
			}
			changed := filepath.Join(dir, name)
			overlay, _ := json.Marshal(map[string]map[string]string{"Replace": {path: changed}})
			file := filepath.Join(dir, "overlay.json")
			if os.WriteFile(changed, b.Bytes(), 0o600) != nil || os.WriteFile(file, overlay, 0o600) != nil {
				t.Fatal("the mutant cannot be written")
			}
			c := exec.Command("go", "test", "-short", "-failfast", "-vet=off", "-timeout", "120s", "-overlay", file, ".")
			c.Dir, c.Env = root, append(os.Environ(), "PROOFPOT_STEPS=60000", "PROOFPOT_MUTANTS=")
			out, err := c.CombinedOutput()
			switch {
			case err != nil && strings.Contains(string(out), "[build failed]"):
				unbuilt++
			case err != nil:
				noticed++
			case strings.Contains(string(known), words):
				survived++
			default:
				survived++
				t.Errorf("not noticed: %s", m.what)
			}
		}
		t.Logf("%s: %d noticed, %d not, %d do not build", name, noticed, survived, unbuilt)
	}
}
