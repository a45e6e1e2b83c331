package main

import (
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"os"
	"path/filepath"
	"strconv"
	"strings"
)

// mutation is one change of one file: the bytes from..to become text.
type mutation struct {
	file     string
	line     int
	from, to int
	text     string
	what     string // for a person
}

// swaps is what an operator becomes.
var swaps = map[token.Token]token.Token{
	token.EQL: token.NEQ, token.NEQ: token.EQL,
	token.LSS: token.LEQ, token.LEQ: token.LSS, token.GTR: token.GEQ, token.GEQ: token.GTR,
	token.ADD: token.SUB, token.SUB: token.ADD, token.MUL: token.QUO, token.QUO: token.MUL,
	token.LAND: token.LOR, token.LOR: token.LAND,
}

// mutations lists what can be changed in the package's own files, by line.
func mutations(dir string) ([][]mutation, error) {
	names, err := filepath.Glob(filepath.Join(dir, "*.go"))
	if err != nil {
		return nil, err
	}
	var lines [][]mutation
	for _, name := range names {
		if strings.HasSuffix(name, "_test.go") {
			continue
		}
		if name, err = filepath.Abs(name); err != nil {
			return nil, err
		}
		src, err := os.ReadFile(name)
		if err != nil {
			return nil, err
		}
		of, err := inFile(name, src)
		if err != nil {
			return nil, err
		}
		lines = append(lines, of...)
	}
	return lines, nil
}

func inFile(name string, src []byte) ([][]mutation, error) {
	set := token.NewFileSet()
	f, err := parser.ParseFile(set, name, src, 0)
	if err != nil {
		return nil, err
	}
	byLine := map[int]int{}
	var lines [][]mutation
	add := func(from, to token.Pos, text, what string) {
		p := set.Position(from)
		i, ok := byLine[p.Line]
		if !ok {
			i = len(lines)
			byLine[p.Line] = i
			lines = append(lines, nil)
		}
		lines[i] = append(lines[i], mutation{file: name, line: p.Line, from: p.Offset, to: set.Position(to).Offset, text: text, what: what})
	}
	text := func(n ast.Node) string { return string(src[set.Position(n.Pos()).Offset:set.Position(n.End()).Offset]) }
	for _, d := range f.Decls {
		body, ok := d.(*ast.FuncDecl)
		if !ok || body.Body == nil {
			continue
		}
		ast.Inspect(body.Body, func(n ast.Node) bool {
			switch n := n.(type) {
			case *ast.BinaryExpr:
				if to, ok := swaps[n.Op]; ok {
					add(n.OpPos, n.OpPos+token.Pos(len(n.Op.String())), to.String(), fmt.Sprintf("%s became %s in %s", n.Op, to, short(text(n))))
				}
			case *ast.IfStmt:
				add(n.Cond.Pos(), n.Cond.End(), "!("+text(n.Cond)+")", "the opposite of if "+short(text(n.Cond)))
			case *ast.BasicLit:
				if v, err := strconv.Atoi(n.Value); err == nil && n.Kind == token.INT {
					add(n.Pos(), n.End(), strconv.Itoa(v+1), fmt.Sprintf("%d became %d", v, v+1))
				}
			case *ast.ExprStmt:
				add(n.Pos(), n.End(), "", "without "+short(text(n)))
			case *ast.AssignStmt:
				if n.Tok == token.ASSIGN {
					add(n.Pos(), n.End(), "", "without "+short(text(n)))
				}
			}
			return true
		})
	}
	return lines, nil
}

// short is the first line of a piece of source, at most 60 characters.
func short(s string) string {
	s, _, _ = strings.Cut(s, "\n")
	if r := []rune(s); len(r) > 60 {
		s = string(r[:59]) + "…"
	}
	return s
}
