// Package deps holds the rules of the tree that the compiler cannot hold: which
// package may import which, where a clock may be read, and that no serial port
// is ever opened by an enumerator. It has tests only.
//
// The source is read, not the build: files for other systems are held to the
// rules too. TestRulesBite shows that each rule refuses what it is there for.
package deps
