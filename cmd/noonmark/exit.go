package main

import "errors"

// Exit codes.
const (
	exitOK     = 0
	exitNo     = 1
	exitUsage  = 2
	exitCannot = 3
)

// usageError is a mistake in what was asked for: exit 2.
type usageError struct{ err error }

func (e usageError) Error() string { return e.err.Error() }
func (e usageError) Unwrap() error { return e.err }

// codeError carries an exit code with its reason.
type codeError struct {
	code int
	err  error
}

func (e codeError) Error() string { return e.err.Error() }
func (e codeError) Unwrap() error { return e.err }

// asUsage makes a mistake in what was asked for of an error: exit 2.
func asUsage(err error) error { return usageError{err} }

// withCode gives an error its exit code.
func withCode(code int, err error) error { return codeError{code, err} }

// exitCode is the exit code that an error asks for; exitNo unless it names one.
func exitCode(err error) int {
	var ue usageError
	var ce codeError
	switch {
	case errors.As(err, &ue):
		return exitUsage
	case errors.As(err, &ce):
		return ce.code
	}
	return exitNo
}
