package web

import (
	"go/ast"
	"go/parser"
	"go/token"
	"path/filepath"
	"strings"
	"testing"
)

// Every failure told to a page says what to do next: no error is written down in
// these packages without a hint.
func TestEveryFailureSaysWhatToDo(t *testing.T) {
	seen := 0
	for _, folder := range []string{".", "../desk", "../feed"} {
		files, err := filepath.Glob(filepath.Join(folder, "*.go"))
		if err != nil || len(files) == 0 {
			t.Fatal("no files in ", folder, err)
		}
		for _, name := range files {
			if strings.HasSuffix(name, "_test.go") {
				continue
			}
			set := token.NewFileSet()
			file, err := parser.ParseFile(set, name, nil, 0)
			if err != nil {
				t.Fatal(err)
			}
			ast.Inspect(file, func(n ast.Node) bool {
				switch n := n.(type) {
				case *ast.CallExpr:
					if f, ok := n.Fun.(*ast.Ident); ok && f.Name == "problem" && len(n.Args) == 5 {
						seen++
						if l, ok := n.Args[4].(*ast.BasicLit); ok && l.Value == `""` {
							t.Errorf("%s: a problem without a hint", set.Position(n.Pos()))
						}
					}
				case *ast.CompositeLit:
					if !isClientError(n.Type) || len(n.Elts) == 0 {
						return true
					}
					seen++
					hint := false
					for _, e := range n.Elts {
						if kv, ok := e.(*ast.KeyValueExpr); ok {
							k, _ := kv.Key.(*ast.Ident)
							l, literal := kv.Value.(*ast.BasicLit)
							hint = hint || k != nil && k.Name == "Hint" && !(literal && l.Value == `""`)
						}
					}
					if !hint {
						t.Errorf("%s: an error without a hint", set.Position(n.Pos()))
					}
				}
				return true
			})
		}
	}
	if seen < 40 {
		t.Errorf("only %d errors were found to look at", seen)
	}
}

func isClientError(e ast.Expr) bool {
	switch e := e.(type) {
	case *ast.Ident:
		return e.Name == "ClientError"
	case *ast.SelectorExpr:
		return e.Sel.Name == "ClientError"
	}
	return false
}
