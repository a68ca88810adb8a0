package store

import (
	"context"
	"errors"
	"io/fs"
	"net/http"
	"net/http/httptest"
	"net/url"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/johannesboyne/gofakes3"
	"github.com/johannesboyne/gofakes3/backend/s3mem"
	"github.com/minio/minio-go/v7"

	"fairpull/evidence"
)

// s3Server starts an object store of another's making on loopback and returns
// the place of an empty part of a bucket. The account in the environment is
// invented; that server does not ask for it.
func s3Server(t *testing.T) string {
	t.Helper()
	t.Setenv("AWS_ACCESS_KEY_ID", "invented")
	t.Setenv("AWS_SECRET_ACCESS_KEY", "invented")
	memory := s3mem.New()
	if err := memory.CreateBucket("lab-logs"); err != nil {
		t.Fatal(err)
	}
	server := httptest.NewServer(gofakes3.New(memory, gofakes3.WithLogger(gofakes3.DiscardLog())).Server())
	t.Cleanup(server.Close)
	return "s3+http://" + strings.TrimPrefix(server.URL, "http://") + "/lab-logs/cell one"
}

// onBothBlobs runs a test on an empty place of each kind.
func onBothBlobs(t *testing.T, test func(t *testing.T, where string)) {
	t.Run("folder", func(t *testing.T) { test(t, filepath.Join(t.TempDir(), "blobs")) })
	t.Run("bucket", func(t *testing.T) { test(t, s3Server(t)) })
}

// overwrite puts other bytes in the place of a content, behind its back.
func overwrite(t *testing.T, at blobs, d evidence.Digest, data []byte) {
	t.Helper()
	var err error
	switch b := at.(type) {
	case *folder:
		err = errors.Join(os.Remove(b.path(d)), os.WriteFile(b.path(d), data, 0o644))
	case *bucket:
		err = b.write(t.Context(), b.object(d), data, minio.PutObjectOptions{})
	}
	if err != nil {
		t.Fatal(err)
	}
}

func TestBlobs(t *testing.T) {
	onBothBlobs(t, func(t *testing.T, where string) {
		at, err := initBlobs(t.Context(), where, "lab")
		if err != nil {
			t.Fatal(err)
		}
		ctx := t.Context()
		for i, want := range []bool{false, true} {
			d, old, err := at.Put(ctx, []byte("a log"))
			if err != nil || old != want || d != evidence.OfBytes([]byte("a log")) {
				t.Errorf("put %d: %v, %v, %v; want old %v", i+1, d, old, err, want)
			}
		}
		d := evidence.OfBytes([]byte("a log"))
		missing := evidence.OfBytes([]byte("another"))
		if data, err := at.Get(ctx, d); err != nil || string(data) != "a log" {
			t.Errorf("got %q, %v", data, err)
		}
		if _, err := at.Get(ctx, missing); !errors.Is(err, fs.ErrNotExist) {
			t.Errorf("a content that is not there gives %v, want fs.ErrNotExist", err)
		}
		if _, err := at.Written(ctx, missing); !errors.Is(err, fs.ErrNotExist) {
			t.Errorf("its time gives %v, want fs.ErrNotExist", err)
		}
		written, err := at.Written(ctx, d)
		if age := time.Since(written); err != nil || age < -2*time.Second || age > time.Minute {
			t.Errorf("it was written %v ago, %v; want just now", age, err)
		}
		var all []blobFile
		for f, err := range at.All(ctx) {
			if err != nil {
				t.Fatal(err)
			}
			all = append(all, f)
		}
		if len(all) != 1 || all[0].Digest != d || all[0].Unfinished {
			t.Errorf("there is %+v, want the one content", all)
		}
		if _, _, err := at.Put(ctx, nil); err != nil {
			t.Errorf("an empty file: %v", err)
		}
		if data, err := at.Get(ctx, evidence.OfBytes(nil)); err != nil || len(data) != 0 {
			t.Errorf("the empty file came back as %q, %v", data, err)
		}
		overwrite(t, at, d, []byte("b log"))
		var damaged *DamagedError
		if _, err := at.Get(ctx, d); !errors.As(err, &damaged) || damaged.Recorded != d {
			t.Errorf("a content that was exchanged gives %v, want a DamagedError", err)
		}
		if _, _, err := at.Put(ctx, []byte("a log")); !errors.As(err, &damaged) {
			t.Errorf("putting it again gives %v, want a DamagedError", err)
		}
		for range 2 { // one that is gone is no error
			if err := at.Remove(ctx, all[0]); err != nil {
				t.Error(err)
			}
		}
		if _, err := at.Written(ctx, d); !errors.Is(err, fs.ErrNotExist) {
			t.Errorf("it was removed, and is %v", err)
		}
		gone, cancel := context.WithCancel(ctx)
		cancel()
		if _, _, err := at.Put(gone, []byte("late")); !errors.Is(err, context.Canceled) {
			t.Errorf("put after the end: %v", err)
		}
		if _, err := initBlobs(ctx, where, "lab 2"); !errors.Is(err, ErrExists) {
			t.Errorf("made twice: %v, want ErrExists", err)
		}
		if _, err := openBlobs(ctx, where, "lab 2"); !errors.Is(err, ErrBlobs) {
			t.Errorf("opened for another workspace: %v, want ErrBlobs", err)
		}
		if _, err := openBlobs(ctx, where, "lab"); err != nil {
			t.Error(err)
		}
		if _, err := openBlobs(ctx, where+"2", "lab"); !errors.Is(err, ErrBlobs) {
			t.Errorf("a place that is not there: %v, want ErrBlobs", err)
		}
	})
}

// A whole workspace on PostgreSQL and a bucket: in, out, looked at, damaged.
func TestWorkspaceOnABucket(t *testing.T) {
	logs := s3Server(t)
	database, _, _ := strings.Cut(freshDatabase(t), "&blobs=")
	where := database + "&blobs=" + url.QueryEscape(logs)
	s := initialise(t, where)
	r := example("twin", 6)
	put(t, s, r)
	same(t, s, r)
	if _, err := s.Attach(t.Context(), photograph("twin"), []byte("a photograph"), anna); err != nil {
		t.Fatal(err)
	}
	again, err := Open(t.Context(), where)
	if err != nil {
		t.Fatal(err)
	}
	defer again.Close()
	same(t, again, r)
	clean(t, again)
	overwrite(t, s.blobs, evidence.OfBytes(r.Logs["logs/002.csv"]), []byte("rewritten"))
	report, err := s.Check(t.Context())
	if err != nil || report.Clean() || report.Blobs != 9 {
		t.Errorf("the doctor finds %+v, %v; want one of nine files damaged", report, err)
	}
}

// What the server answers wrongly, or not at all, is an error and never a file.
func TestBucketServerFails(t *testing.T) {
	t.Setenv("AWS_ACCESS_KEY_ID", "invented")
	t.Setenv("AWS_SECRET_ACCESS_KEY", "invented")
	for name, answer := range map[string]http.HandlerFunc{
		"denied": func(w http.ResponseWriter, _ *http.Request) { w.WriteHeader(http.StatusForbidden) },
		"no S3":  func(w http.ResponseWriter, _ *http.Request) { _, _ = w.Write([]byte("<html>welcome</html>")) },
		"cut short": func(w http.ResponseWriter, _ *http.Request) {
			w.Header().Set("Content-Length", "100")
			w.Header().Set("Last-Modified", "Mon, 02 Mar 2026 14:00:00 GMT")
			_, _ = w.Write([]byte("half"))
		},
	} {
		t.Run(name, func(t *testing.T) {
			server := httptest.NewServer(answer)
			defer server.Close()
			where := "s3+http://" + strings.TrimPrefix(server.URL, "http://") + "/lab-logs?region=eu-1"
			if b, err := openBlobs(t.Context(), where, "lab"); err == nil {
				t.Fatalf("it opens %+v", b)
			}
			b, err := dialBucket(where)
			if err != nil {
				t.Fatal(err)
			}
			d := evidence.OfBytes([]byte("a log"))
			if data, err := b.Get(t.Context(), d); err == nil || errors.Is(err, fs.ErrNotExist) {
				t.Errorf("get gives %q, %v; want an error that is not \"not there\"", data, err)
			}
			if _, _, err := b.Put(t.Context(), []byte("a log")); err == nil {
				t.Error("put says that it kept the file")
			}
		})
	}
	for _, bad := range []string{"s3://", "s3://host", "s3://host/", "s3://user:geheim@host/bucket", "s3://ho st/bucket"} {
		if _, err := dialBucket(bad); !errors.Is(err, ErrPlace) || strings.Contains(err.Error(), "geheim") {
			t.Errorf("%s gives %v, want ErrPlace", bad, err)
		}
	}
}
