package cli

import (
	"errors"
	"fmt"
	"os"
	"strings"

	"github.com/spf13/cobra"
	"golang.org/x/term"

	"fairpull/internal/lab"
)

// maxPassphraseFile bounds a file with a passphrase, in bytes.
const maxPassphraseFile = 4096

// keyFlag adds a flag that names a private key's file, and one for a file with its
// passphrase. What comes back opens neither: it returns the two together. The
// passphrase comes from that file, from the environment, or from the terminal, and
// never from the command line, which other users can read.
func keyFlag(cmd *cobra.Command, name, what, env string) func(fresh bool) (lab.KeyFile, error) {
	path := cmd.Flags().String(name, "", what)
	file := cmd.Flags().String(name+"-passphrase-file", "", "the passphrase of --"+name+" is the first line of this file (default: $"+env+", else it is asked for)")
	return func(fresh bool) (lab.KeyFile, error) {
		if *path == "" {
			return lab.KeyFile{}, &usageError{fmt.Errorf("no key is named with --%s", name), cmd.CommandPath() + " --" + name + " my.key"}
		}
		passphrase, err := passphraseOf(cmd, *file, env, *path, fresh)
		return lab.KeyFile{Path: *path, Passphrase: passphrase}, err
	}
}

// passphraseOf returns the passphrase of a key file; a fresh one that is typed is
// asked for twice.
func passphraseOf(cmd *cobra.Command, file, env, path string, fresh bool) (string, error) {
	if file != "" {
		info, err := os.Stat(file)
		if err != nil {
			return "", fmt.Errorf("the passphrase of %s: %w", path, err)
		}
		if !info.Mode().IsRegular() || info.Size() > maxPassphraseFile {
			return "", fmt.Errorf("%s is no file with a passphrase", file)
		}
		data, err := os.ReadFile(file)
		line, _, _ := strings.Cut(string(data), "\n")
		return strings.TrimSuffix(line, "\r"), err
	}
	if passphrase, set := os.LookupEnv(env); set {
		return passphrase, nil
	}
	in, ok := cmd.InOrStdin().(*os.File)
	if !ok || !term.IsTerminal(int(in.Fd())) {
		return "", fmt.Errorf("nothing says the passphrase of %s, and there is no terminal to ask at.\n  Set %s, or name a file with it", path, env)
	}
	prompts := []string{"Passphrase of " + path + ": "}
	if fresh {
		prompts = []string{"A passphrase for " + path + " (10 characters or more): ", "Once more: "}
	}
	var said []string
	for _, prompt := range prompts {
		fmt.Fprint(cmd.ErrOrStderr(), prompt)
		typed, err := term.ReadPassword(int(in.Fd()))
		fmt.Fprintln(cmd.ErrOrStderr())
		if err != nil {
			return "", err
		}
		said = append(said, string(typed))
	}
	if said[0] != said[len(said)-1] {
		return "", errors.New("the two passphrases are not the same: nothing was written")
	}
	return said[0], nil
}
