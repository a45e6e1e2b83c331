// Package doc holds the manual for readers without a network: the pages beside this file,
// in the reader's order, and their pictures. The first page is the README: packaging/doc/make
// copies it, and a test holds the copy to it.
package doc

import "embed"

// Pages are html/NAME.html, those with a number in the order of reading, and the pictures.
// They are made of the Markdown beside them before the program is built, so that it holds
// no reader of Markdown; a test in cmd/internal/deps holds them fresh.
//
//go:embed html/*.html *.png *.svg
var Pages embed.FS
