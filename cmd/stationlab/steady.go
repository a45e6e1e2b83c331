package main

import (
	"io"

	"noonmark/cmd/internal/baseline"
)

type steady struct {
	Nights int `default:"16" help:"Nights a station."`
}

func (s steady) Run(out io.Writer) error {
	baseline.Report(out, s.Nights)
	return nil
}
