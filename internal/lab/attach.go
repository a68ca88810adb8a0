package lab

import (
	"bytes"
	"context"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"net/http"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strconv"
	"strings"

	"fairpull/campaign"
	"fairpull/evidence"
	"fairpull/ingest"
	"fairpull/internal/store"
)

// Attachment is a photograph or document of a setup or configuration.
type Attachment = store.Attachment

// MaxAttachment is the longest document that is attached, in bytes.
const MaxAttachment = 64 << 20

// The list of a folder's attachments, and the folder of an export's.
const (
	attachmentsFile   = "attachments.csv"
	attachmentsFolder = "attachments"
)

// The kinds of what a document can be attached to.
const (
	AttachSetup         = "setup"
	AttachConfiguration = "configuration"
)

// Attach keeps the files at paths with a setup or configuration of a campaign,
// named as the files are, their media type taken from their content. a says the
// campaign, what they belong to and the note. All files are read before the first
// is kept. The same file again changes nothing; it returns how many were new.
func (w *Workspace) Attach(ctx context.Context, a Attachment, paths []string, by Author) (added int, err error) {
	documents := make([]document, 0, len(paths))
	for _, file := range paths {
		data, err := readBounded(file, MaxAttachment)
		if errors.Is(err, fs.ErrNotExist) {
			err = fmt.Errorf("there is no file %s", file)
		}
		if err != nil {
			return 0, fmt.Errorf("%w: nothing was written", err)
		}
		d := document{Attachment: a, data: data}
		d.Name, d.Media = filepath.Base(file), mediaOf(data)
		documents = append(documents, d)
	}
	return w.attachAll(ctx, documents, by)
}

// document is an attachment and its bytes.
type document struct {
	Attachment
	data         []byte
	unknownSetup bool // no pull has it
}

// attachListed keeps the documents of an imported folder. A setup that no pull has
// is noted first.
func (w *Workspace) attachListed(ctx context.Context, documents []document, by Author) (added int, err error) {
	for _, d := range documents {
		if d.unknownSetup {
			if _, err := w.store.AddSetup(ctx, d.Campaign, d.Subject, by); err != nil {
				return 0, err
			}
		}
	}
	return w.attachAll(ctx, documents, by)
}

func (w *Workspace) attachAll(ctx context.Context, documents []document, by Author) (added int, err error) {
	for _, d := range documents {
		change, err := w.store.Attach(ctx, d.Attachment, d.data, by)
		if err != nil {
			return added, unknownCampaign(err)
		}
		if change.Changed() {
			added++
		}
	}
	return added, nil
}

// mediaOf returns the media type of a content, as the WHATWG's sniffing rules
// have it; application/octet-stream for one that they do not know.
func mediaOf(data []byte) string { return http.DetectContentType(data) }

// Attachments returns the attachments of a campaign, in the order in which they
// came.
func (w *Workspace) Attachments(ctx context.Context, id string) ([]Attachment, error) {
	if _, err := w.store.Entry(ctx, id, 0); err != nil {
		return nil, unknownCampaign(err)
	}
	return w.store.Attachments(ctx, id)
}

// attachmentColumns are the columns of attachments.csv, docs/formats.md section 4.
var attachmentColumns = []string{"file", "setup", "configuration", "name", "media", "note", "sha256"}

// exportAttachments adds the list of a campaign's attachments and their files to
// those of its folder; nothing where it has none.
func (w *Workspace) exportAttachments(ctx context.Context, id string, files map[string][]byte) error {
	list, err := w.store.Attachments(ctx, id)
	if err != nil || len(list) == 0 {
		return err
	}
	if _, taken := files[attachmentsFile]; taken {
		return fmt.Errorf("campaign %s has a log of the name %s, where the list of its attachments belongs: nothing was written", id, attachmentsFile)
	}
	rows := [][]string{attachmentColumns}
	for i, a := range list {
		data, err := w.store.Blob(ctx, a.Digest)
		if err != nil {
			return fmt.Errorf("campaign %s: attachment %s: %w", id, a.Name, err)
		}
		file := path.Join(attachmentsFolder, strconv.Itoa(i+1)+"-"+safeName(a.Name))
		for _, taken := files[file]; taken; _, taken = files[file] { // a log lies there
			file = path.Join(attachmentsFolder, "a-"+path.Base(file))
		}
		files[file] = data
		row := []string{file, "", "", a.Name, a.Media, a.Note, a.Digest.Hex()}
		row[1+slices.Index([]string{AttachSetup, AttachConfiguration}, a.Kind)] = a.Subject
		rows = append(rows, row)
	}
	var text bytes.Buffer
	if err := csv.NewWriter(&text).WriteAll(rows); err != nil {
		return err
	}
	files[attachmentsFile] = text.Bytes()
	return nil
}

// safeName returns a name that every system takes for a file's.
func safeName(name string) string {
	const most = 100
	var b strings.Builder
	for _, r := range name {
		if b.Len() >= most {
			break
		}
		if strings.ContainsRune(`/\:*?"<>|`, r) {
			r = '_'
		}
		b.WriteRune(r)
	}
	return strings.TrimRight(b.String(), ". ")
}

// readAttachments reads the attachments that the campaign folder at dir lists;
// none where it has no list.
func readAttachments(dir string, folder *ingest.Folder) ([]document, error) {
	if _, err := os.Lstat(filepath.Join(dir, attachmentsFile)); errors.Is(err, fs.ErrNotExist) {
		return nil, nil
	}
	text, err := folder.Bytes(attachmentsFile)
	if err != nil {
		return nil, err
	}
	reader := csv.NewReader(bytes.NewReader(bytes.TrimPrefix(text, []byte("\ufeff"))))
	header, err := reader.Read()
	if err != nil {
		return nil, fmt.Errorf("%s: %w", attachmentsFile, err)
	}
	column := map[string]int{}
	for i, name := range header {
		if _, twice := column[name]; twice || !slices.Contains(attachmentColumns, name) {
			return nil, fmt.Errorf("%s: the column %.40q is unknown or there twice; write some of %s", attachmentsFile, name, strings.Join(attachmentColumns, ","))
		}
		column[name] = i
	}
	var documents []document
	total := 0
	for {
		row, err := reader.Read()
		if errors.Is(err, io.EOF) {
			return documents, nil
		}
		if err != nil {
			return nil, fmt.Errorf("%s: %w", attachmentsFile, err)
		}
		line, _ := reader.FieldPos(0)
		cell := func(name string) string {
			if i, there := column[name]; there {
				return row[i]
			}
			return ""
		}
		d, err := readAttachment(folder, cell)
		if err != nil {
			return nil, fmt.Errorf("%s, line %d: %w", attachmentsFile, line, err)
		}
		if total += len(d.data); total > maxImportBytes {
			return nil, fmt.Errorf("the attachments are larger than %d MiB together: nothing was written", maxImportBytes>>20)
		}
		d.Campaign = folder.Campaign.ID
		documents = append(documents, d)
	}
}

// readAttachment reads one row of the list and its file.
func readAttachment(folder *ingest.Folder, cell func(string) string) (document, error) {
	var d document
	file, setup, configuration := cell("file"), cell("setup"), cell("configuration")
	switch {
	case file == "":
		return d, errors.New("it names no file")
	case (setup == "") == (configuration == ""):
		return d, errors.New("it belongs to one setup or to one configuration: fill one of the two columns")
	case setup != "":
		d.Kind, d.Subject = AttachSetup, setup
	default:
		d.Kind, d.Subject = AttachConfiguration, configuration
	}
	stated := cell("sha256")
	if !subjectThere(folder, d.Kind, d.Subject) {
		// A setup may have been photographed and never used; a list that a program
		// wrote says so, one that a person wrote has a slip of the pen.
		if d.unknownSetup = d.Kind == AttachSetup && stated != ""; !d.unknownSetup {
			return d, fmt.Errorf("the campaign has no %s %.80q", d.Kind, d.Subject)
		}
	}
	var err error
	if d.data, err = folder.Bytes(file); err != nil {
		return d, err
	}
	if len(d.data) > MaxAttachment {
		return d, fmt.Errorf("%s is larger than %d MiB", file, MaxAttachment>>20)
	}
	if stated != "" {
		if found := evidence.OfBytes(d.data).Hex(); found != strings.ToLower(stated) {
			return d, fmt.Errorf("%s is not the file of the list: its SHA-256 is %s", file, found)
		}
	}
	if d.Name = cell("name"); d.Name == "" {
		d.Name = path.Base(file)
	}
	if d.Media = cell("media"); d.Media == "" {
		d.Media = mediaOf(d.data)
	}
	d.Note = cell("note")
	return d, d.Check()
}

// subjectThere reports whether the folder has a setup or configuration.
func subjectThere(folder *ingest.Folder, kind, subject string) bool {
	if kind == AttachConfiguration {
		return slices.ContainsFunc(folder.Campaign.Configurations, func(c campaign.Configuration) bool { return c.ID == subject })
	}
	return slices.ContainsFunc(folder.Campaign.Pulls, func(p campaign.Pull) bool { return p.Setup == subject })
}
