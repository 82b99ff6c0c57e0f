package mutation

import (
	"fmt"
	"go/ast"
	"go/importer"
	"go/token"
	"go/types"
	"path/filepath"
	"reflect"
	"strings"
)

// A schema is a file in which all of its mutants stand at once, each behind its
// number, so that one build serves for all of them (Untch, Offutt and Harrold,
// Mutation analysis using mutant schemata, ISSTA 1993). Constants cannot stand in
// it: their mutants are built one by one.
type schema struct {
	fset  *token.FileSet
	info  *types.Info
	next  int
	all   []string        // what each mutant does, from number 1 on
	named map[string]bool // packages whose types the rewritten file names
}

// support is what a schema calls.
const support = `

import (
	"os"
	"strconv"
)

var mutantNow = func() int { n, _ := strconv.Atoi(os.Getenv("PROOFPOT_MUTANT")); return n }()

func mutantOf[T any](n int, was, other func() T) T {
	if n == mutantNow {
		return other()
	}
	return was()
}
`

// typed checks the types of a package's files.
func typed(fset *token.FileSet, files []*ast.File) (*types.Info, error) {
	info := &types.Info{Types: map[ast.Expr]types.TypeAndValue{}}
	c := types.Config{Importer: importer.ForCompiler(fset, "source", nil)}
	_, err := c.Check("proofpot/"+files[0].Name.Name, fset, files, info)
	return info, err
}

func (s *schema) number(at token.Pos, format string, args ...any) int {
	p := s.fset.Position(at)
	s.all = append(s.all, fmt.Sprintf("%s:%d: ", filepath.Base(p.Filename), p.Line)+fmt.Sprintf(format, args...))
	s.next++
	return s.next
}

// rewrite puts the mutants into whatever lies below a node.
func (s *schema) rewrite(n reflect.Value) {
	switch n.Kind() {
	case reflect.Interface, reflect.Pointer:
		if !n.IsNil() {
			s.rewrite(n.Elem())
		}
		return
	case reflect.Slice:
		for i := range n.Len() {
			s.field(n.Index(i))
		}
		return
	case reflect.Struct:
	default:
		return
	}
	switch node := n.Addr().Interface().(type) {
	case *ast.ArrayType, *ast.CommentGroup, *ast.ImportSpec, *ast.FuncType:
		return
	case *ast.GenDecl:
		if node.Tok != token.VAR {
			return
		}
	case *ast.KeyValueExpr: // the key of an array must stay a constant
		s.field(n.FieldByName("Value"))
		return
	case *ast.IfStmt:
		at, words := node.Cond.Pos(), text(s.fset, node.Cond)
		s.fields(n)
		k := s.number(at, "negated: %s", words)
		node.Cond = choose(k, node.Cond, &ast.UnaryExpr{Op: token.NOT, X: &ast.ParenExpr{X: node.Cond}})
		return
	}
	s.fields(n)
}

func (s *schema) fields(n reflect.Value) {
	for i := range n.NumField() {
		if f := n.Field(i); f.CanSet() {
			s.field(f)
		}
	}
}

// field rewrites what stands in a place of its parent, and puts what came of it there.
func (s *schema) field(at reflect.Value) {
	if at.Kind() == reflect.Interface && !at.IsNil() {
		switch was := at.Interface().(type) {
		case *ast.BinaryExpr:
			begins, words, whole := was.Pos(), text(s.fset, was), s.info.Types[was]
			s.rewrite(at)
			if other, ok := swaps[was.Op]; ok {
				set(at, s.either(begins, whole, was, &ast.BinaryExpr{X: was.X, Op: other, Y: was.Y}, "%s for %s in %s", other, was.Op, words))
			}
			return
		case *ast.BasicLit:
			if was.Kind == token.INT || was.Kind == token.FLOAT {
				twice := &ast.BasicLit{Kind: was.Kind, Value: "(2*" + was.Value + "+1)"}
				set(at, s.either(was.Pos(), s.info.Types[was], was, twice, "2 * %s", was.Value))
			}
			return
		case *ast.AssignStmt, *ast.IncDecStmt, *ast.ExprStmt:
			if a, is := was.(*ast.AssignStmt); is && a.Tok == token.DEFINE || at.Type() != reflect.TypeFor[ast.Stmt]() {
				break
			}
			begins, words := was.(ast.Node).Pos(), text(s.fset, was.(ast.Node))
			s.rewrite(at)
			k := s.number(begins, "a statement dropped: %s", words)
			set(at, &ast.IfStmt{Cond: &ast.BinaryExpr{X: ast.NewIdent("mutantNow"), Op: token.NEQ, Y: ast.NewIdent(fmt.Sprint(k))},
				Body: &ast.BlockStmt{List: []ast.Stmt{was.(ast.Stmt)}}})
			return
		}
	}
	s.rewrite(at)
}

func set(at reflect.Value, to any) { at.Set(reflect.ValueOf(to)) }

// either is an expression with one mutant of it, or itself where none can stand there.
func (s *schema) either(begins token.Pos, is types.TypeAndValue, was, other ast.Expr, format string, args ...any) ast.Expr {
	basic, _ := is.Type.Underlying().(*types.Basic)
	switch {
	case basic == nil || basic.Info()&types.IsUntyped != 0:
		return was
	case basic.Info()&types.IsBoolean != 0:
		return choose(s.number(begins, format, args...), was, other)
	case basic.Info()&types.IsString != 0:
		return was
	}
	k := s.number(begins, format, args...)
	as := ast.NewIdent(types.TypeString(is.Type, func(p *types.Package) string {
		if p.Name() == "rig" {
			return ""
		}
		s.named[p.Path()] = true
		return p.Name()
	}))
	lazy := func(x ast.Expr) ast.Expr {
		return &ast.FuncLit{Type: &ast.FuncType{Params: &ast.FieldList{}, Results: &ast.FieldList{List: []*ast.Field{{Type: as}}}},
			Body: &ast.BlockStmt{List: []ast.Stmt{&ast.ReturnStmt{Results: []ast.Expr{x}}}}}
	}
	return &ast.CallExpr{Fun: ast.NewIdent("mutantOf"), Args: []ast.Expr{ast.NewIdent(fmt.Sprint(k)), lazy(was), lazy(other)}}
}

// choose is one of two conditions, without a call.
func choose(k int, was, other ast.Expr) ast.Expr {
	now := func(op token.Token, x ast.Expr) ast.Expr {
		return &ast.ParenExpr{X: &ast.BinaryExpr{X: &ast.BinaryExpr{X: ast.NewIdent("mutantNow"), Op: op, Y: ast.NewIdent(fmt.Sprint(k))}, Op: token.LAND, Y: &ast.ParenExpr{X: x}}}
	}
	return &ast.ParenExpr{X: &ast.BinaryExpr{X: now(token.EQL, other), Op: token.LOR, Y: now(token.NEQ, was)}}
}

// words are what a mutant does, without its place, which moves.
func words(what string) string { return what[strings.Index(what, " ")+1:] }
