// Package exit holds the program's exit codes and the errors that carry one.
package exit

import "errors"

// Exit codes.
const (
	OK     = 0
	No     = 1
	Misuse = 2
	Cannot = 3
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

// Usage makes a mistake in what was asked for of an error: exit 2.
func Usage(err error) error { return usageError{err} }

// With gives an error its exit code.
func With(code int, err error) error { return codeError{code, err} }

// Code is the exit code that an error asks for; exitNo unless it names one.
func Code(err error) int {
	var ue usageError
	var ce codeError
	switch {
	case errors.As(err, &ue):
		return Misuse
	case errors.As(err, &ce):
		return ce.code
	}
	return No
}
