//go:build !linux

package netref

import "context"

func watchNetwork(context.Context) <-chan struct{} { return nil }
