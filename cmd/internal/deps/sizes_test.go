package deps

import (
	"fmt"
	"go/ast"
	"go/token"
	"testing"
)

// What one person can hold in mind at once, in lines, comments counted (common practice, no
// source). Tests are tables for the most part, and are left out.
const (
	longestFile     = 300
	longestFunction = 60
)

func TestSizes(t *testing.T) { held(t, sizes) }

func sizes(s source) (faults []string) {
	if s.test() {
		return nil
	}
	line := func(p token.Pos) int { return s.set.Position(p).Line }
	if n := line(s.file.FileEnd); n > longestFile {
		faults = append(faults, fmt.Sprintf("has %d lines, %d are the most: split it by subject", n, longestFile))
	}
	for _, d := range s.file.Decls {
		if f, ok := d.(*ast.FuncDecl); ok {
			if n := line(f.End()) - line(f.Pos()) + 1; n > longestFunction {
				faults = append(faults, fmt.Sprintf("%s has %d lines, %d are the most", f.Name.Name, n, longestFunction))
			}
		}
	}
	return faults
}
