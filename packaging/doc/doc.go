// Package doc holds the manual for readers without a network: the pages beside this file,
// in the reader's order, and their pictures. The first page is the README: packaging/doc/make
// copies it, and a test holds the copy to it.
package doc

import "embed"

// Pages are NAME.md, those with a number in the order of reading, and the pictures.
//
//go:embed *.md *.png *.svg
var Pages embed.FS
