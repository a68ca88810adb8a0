package lab

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"fairpull/internal/store"
)

// The first bytes by which a type is told: PNG (ISO/IEC 15948, 5.2) and PDF
// (ISO 32000-1, 7.5.2).
var (
	pngBytes = []byte("\x89PNG\r\n\x1a\n the rest is invented")
	pdfBytes = []byte("%PDF-1.7\n invented")
)

func write(t *testing.T, file string, data []byte) string {
	t.Helper()
	if err := os.MkdirAll(filepath.Dir(file), 0o755); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(file, data, 0o644); err != nil {
		t.Fatal(err)
	}
	return file
}

// What is attached goes out with an export and comes back with an import, to
// another workspace too.
func TestAttachmentsGoOutAndIn(t *testing.T) {
	w, dir := newWorkspace(t), t.TempDir()
	s := labScenario(0)
	putScenario(t, w, s)
	photo, data := write(t, filepath.Join(dir, "strap down.png"), pngBytes), write(t, filepath.Join(dir, "data.pdf"), pdfBytes)
	setup := Attachment{Campaign: s.ID, Kind: AttachSetup, Subject: "s1", Note: "rear strap, \"as found\""}
	part := Attachment{Campaign: s.ID, Kind: AttachConfiguration, Subject: "B"}
	if n, err := w.Attach(t.Context(), setup, []string{photo, data}, anna); err != nil || n != 2 {
		t.Fatalf("%d, %v", n, err)
	}
	if n, err := w.Attach(t.Context(), setup, []string{photo}, anna); err != nil || n != 0 {
		t.Errorf("again: %d, %v; want no change", n, err)
	}
	if n, err := w.Attach(t.Context(), part, []string{data}, anna); err != nil || n != 1 {
		t.Fatalf("%d, %v", n, err)
	}
	if _, err := w.store.AddSetup(t.Context(), s.ID, "never used", anna); err != nil {
		t.Fatal(err)
	}
	unused := Attachment{Campaign: s.ID, Kind: AttachSetup, Subject: "never used"}
	if _, err := w.Attach(t.Context(), unused, []string{photo}, anna); err != nil {
		t.Fatal(err)
	}
	out := filepath.Join(dir, "out")
	if _, err := w.Export(t.Context(), s.ID, 0, out); err != nil {
		t.Fatal(err)
	}
	if r, err := w.Import(t.Context(), out, anna, false); err != nil || r.Changed || r.Attached != 0 {
		t.Errorf("back into the same workspace: %+v, %v; want no change", r, err)
	}
	other := newWorkspace(t)
	if r, err := other.Import(t.Context(), out, anna, false); err != nil || r.Attached != 4 {
		t.Fatalf("into another workspace: %+v, %v", r, err)
	}
	want, err := w.Attachments(t.Context(), s.ID)
	got, errGot := other.Attachments(t.Context(), s.ID)
	if err != nil || errGot != nil || len(want) != 4 || len(got) != 4 {
		t.Fatalf("%+v, %v; %+v, %v", want, err, got, errGot)
	}
	for i := range want {
		want[i].ID, got[i].ID = "", ""
		if want[i] != got[i] {
			t.Errorf("attachment %d was %+v and is %+v", i+1, want[i], got[i])
		}
	}
	if want[0].Media != "image/png" || want[1].Media != "application/pdf" || want[0].Name != "strap down.png" {
		t.Errorf("the types and names are %+v", want)
	}
	if data, err := other.store.Blob(t.Context(), got[0].Digest); err != nil || !bytes.Equal(data, pngBytes) {
		t.Errorf("the photograph came back as %q, %v", data, err)
	}
}

func TestAttachRefuses(t *testing.T) {
	w, dir := newWorkspace(t), t.TempDir()
	s := labScenario(0)
	putScenario(t, w, s)
	photo := write(t, filepath.Join(dir, "photo.png"), pngBytes)
	large := filepath.Join(dir, "large.bin")
	if err := os.WriteFile(large, nil, 0o644); err != nil {
		t.Fatal(err)
	}
	if err := os.Truncate(large, MaxAttachment+1); err != nil {
		t.Fatal(err)
	}
	for _, row := range []struct {
		campaign, subject, file, want string
	}{
		{"nowhere", "s1", photo, "fairpull campaigns"},
		{s.ID, "s99", photo, "not in the workspace"},
		{s.ID, "s1", filepath.Join(dir, "none.png"), "there is no file"},
		{s.ID, "s1", dir, "not a regular file"},
		{s.ID, "s1", large, "larger than 64 MiB"},
	} {
		_, err := w.Attach(t.Context(), Attachment{Campaign: row.campaign, Kind: AttachSetup, Subject: row.subject}, []string{row.file}, anna)
		if err == nil || !strings.Contains(err.Error(), row.want) {
			t.Errorf("%+v gives %v", row, err)
		}
	}
}

// A list that a person writes: short where it can be, and refused, with nothing
// written, where it has a slip of the pen.
func TestAttachmentListByHand(t *testing.T) {
	for name, row := range map[string]struct {
		list string
		want string // of the refusal; empty: taken
	}{
		"short":             {"file,setup\nphotos/a.png,s1\n", ""},
		"spreadsheet":       {"\ufefffile,configuration,note\r\nphotos/a.png,B,\"cam, new\"\r\n", ""},
		"no list":           {"", "EOF"},
		"unknown column":    {"file,set up\nphotos/a.png,s1\n", `column "set up"`},
		"unknown setup":     {"file,setup\nphotos/a.png,S1\n", `line 2: the campaign has no setup "S1"`},
		"unknown part":      {"file,configuration\nphotos/a.png,Z\n", `no configuration "Z"`},
		"belongs to both":   {"file,setup,configuration\nphotos/a.png,s1,B\n", "one setup or to one configuration"},
		"belongs nowhere":   {"file,setup\nphotos/a.png,\n", "one setup or to one configuration"},
		"no file":           {"file,setup\nphotos/b.png,s1\n", "b.png"},
		"outside":           {"file,setup\n../../etc/passwd,s1\n", "line 2"},
		"digest of another": {"file,setup,sha256\nphotos/a.png,s1," + strings.Repeat("0", 64) + "\n", "not the file of the list"},
		"short row":         {"file,setup\nphotos/a.png\n", "wrong number of fields"},
		"no media type":     {"file,setup,media\nphotos/a.png,s1,picture\n", "not a media type"},
	} {
		t.Run(name, func(t *testing.T) {
			w, dir := newWorkspace(t), filepath.Join(t.TempDir(), "folder")
			if err := labScenario(0).WriteContext(t.Context(), dir); err != nil {
				t.Fatal(err)
			}
			write(t, filepath.Join(dir, "photos", "a.png"), pngBytes)
			write(t, filepath.Join(dir, "attachments.csv"), []byte(row.list))
			r, err := w.Import(t.Context(), dir, anna, false)
			if row.want == "" {
				if err != nil || r.Attached != 1 {
					t.Errorf("got %+v, %v", r, err)
				}
				return
			}
			if err == nil || !strings.Contains(err.Error(), row.want) {
				t.Errorf("got %v, want %q", err, row.want)
			}
			if page, err := w.Campaigns(t.Context(), store.Query{}); err != nil || len(page.Campaigns) != 0 {
				t.Errorf("something was written: %+v, %v", page, err)
			}
		})
	}
}
