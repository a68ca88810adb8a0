// Command fairpull tells what a motorcycle part does from chassis dynamometer
// pulls: torque and power by physics, a gain with an honest interval, checks.
package main

import (
	"context"
	"os"
	"os/signal"
	"syscall"

	"fairpull/internal/cli"
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	context.AfterFunc(ctx, stop) // a second signal ends the program at once
	code := cli.Run(ctx, os.Args[1:], os.Stdin, os.Stdout, os.Stderr)
	stop()
	os.Exit(code)
}
