package store

import (
	"context"
	"fmt"
	"os"
	"strconv"
)

// The tests start themselves again as another process, which then adds pulls.
const (
	childEnv    = "FAIRPULL_STORE_CHILD"          // the workspace
	campaignEnv = "FAIRPULL_STORE_CHILD_CAMPAIGN" // the campaign to add to
	firstEnv    = "FAIRPULL_STORE_CHILD_FIRST"    // the first pull's number
	countEnv    = "FAIRPULL_STORE_CHILD_COUNT"    // how many pulls
)

// child adds pulls and prints the name of each once it is acknowledged.
func child(where string) int {
	do := addPulls
	if round := os.Getenv(roundEnv); round != "" {
		do = func(ctx context.Context, where string) error { return help(ctx, where, round) }
	}
	err := do(context.Background(), where)
	if err != nil {
		fmt.Fprintln(os.Stderr, err)
		return 1
	}
	return 0
}

func addPulls(ctx context.Context, where string) error {
	first, err := strconv.Atoi(os.Getenv(firstEnv))
	if err != nil {
		return err
	}
	count, err := strconv.Atoi(os.Getenv(countEnv))
	if err != nil {
		return err
	}
	s, err := Open(ctx, where)
	if err != nil {
		return err
	}
	id := os.Getenv(campaignEnv)
	for i := first; i < first+count; i++ {
		pull, log := examplePull(id, i)
		if _, err := s.AddPull(ctx, id, pull, log, anna); err != nil {
			return err
		}
		if _, err := fmt.Println("acknowledged " + pull.Name); err != nil {
			return err
		}
	}
	return s.Close()
}
