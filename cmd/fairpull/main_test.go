package main

import (
	"os"
	"os/exec"
	"path/filepath"
	"runtime"
	"syscall"
	"testing"
	"time"
)

// asProgram makes the test binary the program itself.
const asProgram = "FAIRPULL_TEST_AS_PROGRAM"

func TestMain(m *testing.M) {
	if os.Getenv(asProgram) != "" {
		main()
		return
	}
	os.Exit(m.Run())
}

func program(args ...string) *exec.Cmd {
	cmd := exec.Command(os.Args[0], args...)
	cmd.Env = append(os.Environ(), asProgram+"=1")
	return cmd
}

// A first signal asks the program to end; while it cannot, here because nobody
// takes its output, a second one ends it.
func TestSecondSignalEnds(t *testing.T) {
	if runtime.GOOS == "windows" {
		t.Skip("needs signals")
	}
	dir := filepath.Join(t.TempDir(), "twin")
	if out, err := program("simulate", "--scenario", "demo", dir).CombinedOutput(); err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	cmd := program("reduce", dir, "--json") // more than a pipe holds
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	if _, err := out.Read(make([]byte, 1)); err != nil {
		t.Fatal(err)
	}
	ended := make(chan *os.ProcessState, 1)
	go func() {
		state, _ := cmd.Process.Wait() // nil: it could not be waited for
		ended <- state
	}()
	for range 2 {
		if err := cmd.Process.Signal(syscall.SIGINT); err != nil {
			t.Fatal(err)
		}
		time.Sleep(time.Second) // for the program to take note of it
	}
	select {
	case state := <-ended:
		if status, ok := state.Sys().(syscall.WaitStatus); !ok || !status.Signaled() || status.Signal() != syscall.SIGINT {
			t.Errorf("it ended with %v, want by the second signal", state)
		}
	case <-time.After(20 * time.Second):
		t.Error("it goes on after two signals")
		if err := cmd.Process.Kill(); err != nil {
			t.Error(err)
		}
		<-ended
	}
}
