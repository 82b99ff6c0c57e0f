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
	"reflect"
	"slices"
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

func text(fset *token.FileSet, n ast.Node) string {
	var b bytes.Buffer
	_ = printer.Fprint(&b, fset, n)
	line, _, _ := strings.Cut(b.String(), "\n")
	return line
}

// constants doubles the numbers that stand in a file's constants, one after the
// other, and hands each time the changed file to try.
func constants(fset *token.FileSet, f *ast.File, try func(what string)) {
	for _, d := range f.Decls {
		if g, is := d.(*ast.GenDecl); is && g.Tok == token.CONST {
			ast.Inspect(g, func(n ast.Node) bool {
				if l, is := n.(*ast.BasicLit); is && (l.Kind == token.INT || l.Kind == token.FLOAT) {
					p, was := fset.Position(l.Pos()), l.Value
					l.Value = "(2*" + was + "+1)"
					try(fmt.Sprintf("%s:%d: 2 * %s", filepath.Base(p.Filename), p.Line, was))
					l.Value = was
				}
				return true
			})
		}
	}
}

// bench builds and runs the tests of a package with one file changed.
type bench struct {
	t         *testing.T
	root, dir string
}

func (b bench) build(name string, fset *token.FileSet, f *ast.File, with string) (string, error) {
	var changed bytes.Buffer
	if err := printer.Fprint(&changed, fset, f); err != nil {
		b.t.Fatal(err)
	}
	replace := map[string]string{}
	put := func(name, content string) {
		file := filepath.Join(b.dir, name)
		if err := os.WriteFile(file, []byte(content), 0o600); err != nil {
			b.t.Fatal(err)
		}
		replace[filepath.Join(b.root, name)] = file
	}
	put(name, changed.String())
	if with != "" {
		put("mutant_support.go", with)
	}
	overlay, _ := json.Marshal(map[string]any{"Replace": replace})
	file, program := filepath.Join(b.dir, "overlay.json"), filepath.Join(b.dir, "mutants.test")
	if err := os.WriteFile(file, overlay, 0o600); err != nil {
		b.t.Fatal(err)
	}
	c := exec.Command("go", "test", "-c", "-vet=off", "-overlay", file, "-o", program, ".")
	c.Dir = b.root
	out, err := c.CombinedOutput()
	if err != nil {
		err = fmt.Errorf("%w: %s", err, out)
	}
	return program, err
}

// notices tells whether a test fails with a mutant; number 0 is none.
func (b bench) notices(program string, number int) bool {
	fails := func(which ...string) bool {
		c := exec.Command(program, append([]string{"-test.short", "-test.failfast", "-test.timeout=240s"}, which...)...)
		c.Dir, c.Env = b.root, append(os.Environ(), "PROOFPOT_STEPS=60000", "PROOFPOT_MUTANTS=", fmt.Sprint("PROOFPOT_MUTANT=", number))
		return c.Run() != nil
	}
	if last := os.Getenv("PROOFPOT_MUTANTS_LAST"); last != "" {
		return fails("-test.skip="+last) || fails("-test.run="+last)
	}
	return fails()
}

// TestMutantsOfTheCoreAreNoticed runs where PROOFPOT_MUTANTS names files to change,
// from the folder of rig, and lists the mutants that their package's tests do not
// notice:
//
//	PROOFPOT_MUTANTS=limits.go,protect.go,control.go,sequencer.go go test ./rig/mutation -v -timeout 4h
//	PROOFPOT_MUTANTS=../analysis/judge.go go test ./rig/mutation -v -timeout 4h
//
// PROOFPOT_MUTANTS_ONLY names a file: then those alone are tried whose words stand in it.
// PROOFPOT_MUTANTS_LAST is a pattern of slow tests: they see only what the others do not
// notice; TestEvery|ByHand|EndsAnywhere|LiveEnds|StagesRun|OwnBenches|Pulses of analysis.
func TestMutantsOfTheCoreAreNoticed(t *testing.T) {
	files := os.Getenv("PROOFPOT_MUTANTS")
	if files == "" {
		t.Skip("PROOFPOT_MUTANTS names no file")
	}
	known, err := os.ReadFile("SURVIVORS.md")
	if err != nil {
		t.Fatal(err)
	}
	var only []byte
	if file := os.Getenv("PROOFPOT_MUTANTS_ONLY"); file != "" {
		if only, err = os.ReadFile(file); err != nil {
			t.Fatal(err)
		}
	}
	wanted := func(what string) bool { return only == nil || strings.Contains(string(only), words(what)) }
	for asked := range strings.SplitSeq(files, ",") {
		path, err := filepath.Abs(filepath.Join("..", asked))
		if err != nil {
			t.Fatal(err)
		}
		root, name := filepath.Split(path)
		b := bench{t, filepath.Clean(root), t.TempDir()}
		noticed, survived, unbuilt := 0, 0, 0
		judge := func(what string, seen bool) {
			switch {
			case seen:
				noticed++
			case strings.Contains(string(known), "| `"+asked+"` | `"+words(what)+"` |"):
				survived++
			default:
				survived++
				t.Errorf("not noticed: %s", what)
			}
		}
		fset, all, f := parsed(t, b.root, name)
		info, err := typed(fset, all)
		if err != nil {
			t.Fatal(err)
		}
		s := schema{fset: fset, info: info, named: map[string]bool{}}
		s.rewrite(reflect.ValueOf(f))
		for _, have := range f.Imports {
			delete(s.named, strings.Trim(have.Path.Value, `"`))
		}
		for path := range s.named { // of a type whose name the file had no need of
			spec := &ast.ImportSpec{Path: &ast.BasicLit{Kind: token.STRING, Value: strconv.Quote(path)}}
			f.Decls = append([]ast.Decl{&ast.GenDecl{Tok: token.IMPORT, Specs: []ast.Spec{spec}}}, f.Decls...)
		}
		program, err := b.build(name, fset, f, "package "+f.Name.Name+support)
		if err != nil {
			t.Fatal(err)
		}
		if b.notices(program, 0) {
			t.Fatalf("%s: the tests fail without any mutant", name)
		}
		for i, what := range s.all {
			if wanted(what) {
				judge(what, b.notices(program, i+1))
			}
		}
		fset, _, f = parsed(t, b.root, name)
		constants(fset, f, func(what string) {
			if !wanted(what) {
				return
			}
			program, err := b.build(name, fset, f, "")
			if err != nil {
				unbuilt++
				return
			}
			judge(what, b.notices(program, 0))
		})
		t.Logf("%s: %d noticed, %d not, %d do not build", asked, noticed, survived, unbuilt)
	}
}

// parsed are the files of a package, and the one of this name.
func parsed(t *testing.T, root, name string) (fset *token.FileSet, all []*ast.File, one *ast.File) {
	t.Helper()
	fset = token.NewFileSet()
	names, err := filepath.Glob(filepath.Join(root, "*.go"))
	if err != nil {
		t.Fatal(err)
	}
	names = slices.DeleteFunc(names, func(n string) bool { return strings.HasSuffix(n, "_test.go") })
	for _, path := range names {
		f, err := parser.ParseFile(fset, path, nil, parser.SkipObjectResolution)
		if err != nil {
			t.Fatal(err)
		}
		if all = append(all, f); filepath.Base(path) == name {
			one = f
		}
	}
	if one == nil {
		t.Fatalf("%s has no file %s", root, name)
	}
	return fset, all, one
}
