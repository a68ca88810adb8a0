package lab

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"os"
	"path"
	"strings"
	"unicode"
	"unicode/utf8"

	"fairpull/campaign"
	"fairpull/ingest"
	"fairpull/internal/store"
)

// maxImportBytes bounds the logs of one campaign, which are held in memory while
// it is taken in.
const maxImportBytes = 1 << 30

// ImportResult is what an import did.
type ImportResult struct {
	Campaign   string // its id
	Pulls      int
	Changed    bool // false: the workspace held the same already, and nothing was written
	Superseded bool // an earlier version was there, and stays beside this one
	Version    int64
	Attached   int // documents that were not there
}

// Import takes the campaign folder at path into the workspace: campaign.toml,
// pulls.csv and every log that it names, byte for byte. When it returns, they
// are on the disk.
//
// The same folder again changes nothing. One that says something else than the
// workspace is an error that lists the differences, and nothing is written,
// unless supersede is set: then it becomes a new version, for which by.Why is
// the reason. The folder must be one that can be analysed, as far as that can be
// told without reading its logs.
//
// The documents that attachments.csv lists come along. They are added: to one that
// is there already nothing happens, and none is taken away.
func (w *Workspace) Import(ctx context.Context, path string, by Author, supersede bool) (ImportResult, error) {
	record, documents, err := readRecord(ctx, path)
	if err != nil {
		return ImportResult{}, err
	}
	put := w.store.Put
	if supersede {
		put = w.store.Supersede
	}
	id := record.Campaign.ID
	change, err := put(ctx, record, by)
	var different *store.DifferentError
	if errors.As(err, &different) {
		return ImportResult{}, differs(different, path)
	}
	if errors.Is(err, store.ErrNotOpen) {
		return ImportResult{}, fmt.Errorf("campaign %s is closed or withdrawn in the workspace, and takes no new version: nothing was written", id)
	}
	if err != nil {
		return ImportResult{}, err
	}
	attached, err := w.attachListed(ctx, documents, by)
	return ImportResult{
		Campaign: id, Pulls: len(record.Campaign.Pulls), Changed: change.Changed(),
		Superseded: change.Action == store.Superseded, Version: change.Version, Attached: attached,
	}, err
}

// readRecord reads a whole campaign folder.
func readRecord(ctx context.Context, path string) (r store.Record, documents []document, err error) {
	before, err := originals(path)
	if err != nil {
		return r, nil, err
	}
	folder, err := ingest.OpenDir(path)
	if err != nil {
		return r, nil, err
	}
	defer folder.Close()
	after, err := originals(path)
	if err != nil {
		return r, nil, err
	}
	if !bytes.Equal(before[0], after[0]) || !bytes.Equal(before[1], after[1]) {
		return r, nil, fmt.Errorf("%s was changed while it was read: nothing was written. Do it again", path)
	}
	r = store.Record{Campaign: folder.Campaign, CampaignFile: after[0], PullsFile: after[1], Logs: map[string][]byte{}}
	total := 0
	for _, p := range folder.Campaign.Pulls {
		if _, read := r.Logs[p.Log]; read {
			continue
		}
		if err := ctx.Err(); err != nil {
			return r, nil, err
		}
		data, err := folder.Bytes(p.Log)
		if err != nil {
			return r, nil, err
		}
		if total += len(data); total > maxImportBytes {
			return r, nil, fmt.Errorf("the logs of %s are larger than %d MiB together: nothing was written. Split the campaign", path, maxImportBytes>>20)
		}
		r.Logs[p.Log] = data
	}
	documents, err = readAttachments(path, folder)
	return r, documents, err
}

// originals returns campaign.toml and pulls.csv as they are, of a folder that
// can be analysed.
func originals(path string) (files [2][]byte, err error) {
	folder, err := ingest.OpenDir(path)
	if err != nil {
		return files, err
	}
	defer folder.Close()
	for i, name := range []string{ingest.CampaignFile, ingest.PullsFile} {
		if files[i], err = folder.Bytes(name); err != nil {
			return files, err
		}
	}
	return files, nil
}

// longestList is how many differences are told.
const longestList = 40

// differs words what a folder says otherwise than the workspace.
func differs(e *store.DifferentError, path string) error {
	var b strings.Builder
	fmt.Fprintf(&b, "campaign %s is in the workspace already and says something else there; nothing was written:\n", e.Campaign)
	for i, d := range e.Differences {
		if i == longestList {
			fmt.Fprintf(&b, "  … and %d more\n", len(e.Differences)-i)
			break
		}
		fmt.Fprintf(&b, "  %s: %s there, %s here\n", placeInWords(d.Path), orNothing(d.From), orNothing(d.To))
	}
	fmt.Fprintf(&b, "  To keep both, this one as the new version: fairpull import %s --supersede --why \"…\"", path)
	return &differentError{b.String(), e}
}

// placeInWords writes the place of a difference as a person would: "pull 3,
// weather, pressure" for "pull 3.Weather.Pressure". Ids and files stay as they are.
func placeInWords(path string) string {
	if path == ingest.CampaignFile || path == ingest.PullsFile {
		return path
	}
	words, member := "", false
	for i, part := range strings.Split(path, ".") {
		first, _ := utf8.DecodeRuneInString(part)
		before := member
		member = unicode.IsUpper(first)
		switch {
		case part == "Values": // what a column of pulls.csv says
			continue
		case member:
			part = memberInWords(part)
		}
		if i > 0 && words != "" {
			words += map[bool]string{true: ", ", false: "."}[member || before]
		}
		words += part
	}
	return words
}

// memberInWords turns "MassWithRider" into "mass with rider".
func memberInWords(name string) string {
	var words strings.Builder
	before := ' '
	for _, r := range name {
		if unicode.IsUpper(r) && unicode.IsLower(before) {
			words.WriteByte(' ')
		}
		words.WriteRune(unicode.ToLower(r))
		before = r
	}
	return words.String()
}

func orNothing(value string) string {
	if value == "" {
		return "nothing"
	}
	return value
}

// differentError is a *[store.DifferentError] in words for a person.
type differentError struct {
	text string
	err  error
}

func (e *differentError) Error() string { return e.text }
func (e *differentError) Unwrap() error { return e.err }

// Export writes a version of a campaign, 0 for the latest, as a campaign folder
// to dir, which must not exist or be empty. Logs come out byte for byte, and so
// do campaign.toml and pulls.csv where the version has them as they came; else
// they are written anew with the same meaning. Documents attached to the campaign
// are written below attachments, with their list. It returns how many pulls it has.
func (w *Workspace) Export(ctx context.Context, id string, version int64, dir string) (pulls int, err error) {
	record, err := w.store.GetVersion(ctx, id, version)
	if err != nil {
		return 0, unknownCampaign(err)
	}
	files, err := folderFiles(record)
	if err != nil {
		return 0, fmt.Errorf("campaign %s: %w", id, err)
	}
	if err := w.exportAttachments(ctx, id, files); err != nil {
		return 0, err
	}
	return len(record.Campaign.Pulls), writeFolder(dir, func(staging string) error { return writeFiles(staging, files) })
}

// folderFiles returns the files of a campaign folder by their paths.
func folderFiles(record store.Record) (map[string][]byte, error) {
	files := map[string][]byte{}
	for name, data := range record.Logs {
		files[name] = data
	}
	for _, original := range []struct {
		name  string
		data  []byte
		write func(campaign.Campaign) ([]byte, error)
	}{
		{ingest.CampaignFile, record.CampaignFile, ingest.CampaignTOML},
		{ingest.PullsFile, record.PullsFile, ingest.PullsCSV},
	} {
		if original.data == nil {
			var err error
			if original.data, err = original.write(record.Campaign); err != nil {
				return nil, err
			}
		}
		files[original.name] = original.data
	}
	return files, nil
}

// writeFiles writes files by their slash-separated paths below dir, and nothing
// outside it.
func writeFiles(dir string, files map[string][]byte) error {
	root, err := os.OpenRoot(dir)
	if err != nil {
		return err
	}
	defer root.Close()
	for name, data := range files {
		if err := root.MkdirAll(path.Dir(name), 0o777); err != nil {
			return err
		}
		if err := root.WriteFile(name, data, 0o666); err != nil {
			return err
		}
	}
	return nil
}
