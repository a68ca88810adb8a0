package web

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"mime/multipart"
	"net"
	"net/http"
	"net/url"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
	"time"

	"fairpull/internal/lab"
)

// kitID is a planned campaign like the demo's, and kitPath its page at the rig.
const (
	kitID   = "twin650-kit-2"
	kitPath = "/campaigns/" + kitID + "/measuring"
)

// plan keeps a planned campaign like the demo's: A-B-A with two pulls a block.
func plan(t testing.TB, s *site, blind bool) {
	t.Helper()
	ctx := t.Context()
	source, err := s.w.PlanSource(ctx, demoID)
	if err == nil {
		source, err = source.Named(kitID)
	}
	if err != nil {
		t.Fatal(err)
	}
	planning, err := s.w.Designs(ctx, source, lab.PlanOptions{Judged: lab.NotJudged(), Rig: lab.RigTimes{PullMinutes: 5, ChangeMinutes: 30, StrapMinutes: 10, WarmUpMinutes: 20, SettlingPulls: 1}})
	if err == nil {
		err = planning.Choose(lab.PlanChoice{Design: "A-B-A", Pulls: 2, Blind: blind})
	}
	if err == nil {
		err = s.w.KeepPlanned(ctx, planning.Campaign, bert)
	}
	if err != nil {
		t.Fatal(err)
	}
}

// demoLog returns a log of the demo campaign.
func demoLog(t testing.TB, number int) []byte {
	t.Helper()
	dir := filepath.Join(t.TempDir(), "demo")
	if err := lab.WriteDemo(dir); err != nil {
		t.Fatal(err)
	}
	data, err := os.ReadFile(filepath.Join(dir, "logs", fmt.Sprintf("pull-%03d.csv", number)))
	if err != nil {
		t.Fatal(err)
	}
	return data
}

// file is a form that brings a file.
type file struct {
	name string
	data []byte
}

// send sends a form with files to a route that takes one.
func (s *site) send(c *http.Client, path string, fields map[string]string, files ...file) answer {
	s.t.Helper()
	var body bytes.Buffer
	w := multipart.NewWriter(&body)
	for name, text := range fields {
		if err := w.WriteField(name, text); err != nil {
			s.t.Fatal(err)
		}
	}
	for _, f := range files {
		part, err := w.CreateFormFile("file", f.name)
		if err == nil {
			_, err = part.Write(f.data)
		}
		if err != nil {
			s.t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		s.t.Fatal(err)
	}
	return s.sendRaw(c, path, w.FormDataContentType(), &body)
}

func (s *site) sendRaw(c *http.Client, path, kind string, body io.Reader) answer {
	s.t.Helper()
	r, err := http.NewRequestWithContext(s.t.Context(), http.MethodPost, s.http.URL+path, body)
	if err != nil {
		s.t.Fatal(err)
	}
	r.Header.Set("Content-Type", kind)
	r.Header.Set("Accept", "text/html")
	response, err := c.Do(r)
	if err != nil {
		s.t.Fatal(err)
	}
	defer response.Body.Close()
	data, err := io.ReadAll(response.Body)
	if err != nil {
		s.t.Fatal(err)
	}
	return answer{response.StatusCode, response.Header, string(data)}
}

// post sends a form of the page at the rig that has to be carried out.
func (s *site) post(path string, form url.Values) {
	s.t.Helper()
	if a := s.do(s.client(), http.MethodPost, path, form); a.status != http.StatusSeeOther {
		s.t.Fatalf("POST %s %v: %d\n%s", path, form, a.status, a.body)
	}
}

var rigAir = url.Values{"v_pressure_kpa": {"98,9"}, "v_temperature_degc": {"21.4"}, "v_relative_humidity_pct": {"51.6"}, "v_tyre_pressure_kpa": {"250"}, "v_oil_temp_degc": {"90"}, "pull": {""}}

func (s *site) version(id string) string {
	s.t.Helper()
	look, err := s.rig.Look(s.t.Context(), id)
	if err != nil {
		s.t.Fatal(err)
	}
	return strconv.FormatInt(look.Version, 10)
}

// From the first block to the second: the page says what to do, takes values and
// logs, and says what each pull is worth.
func TestMeasuringABlock(t *testing.T) {
	s := open(t, nil)
	plan(t, s, false)
	s.get(kitPath).says(t, "Next: Block 1 of 3", "A as delivered", `<span class="rig-figure">2</span>`, "pulls to go in this block",
		"Fitted: camshaft C-650-1", "Tyre pressure, kPa", "250 ± 7", "Oil temp, °C", "No pull is there yet", "No folder is watched")
	s.post(kitPath+"/values", rigAir)
	s.get(kitPath+"?done=entered").says(t, "now 98.9 kPa", "now 21.4 °C", "now 250 kPa", "The values are kept.")
	if a := s.send(s.client(), kitPath+"/log", nil, file{name: "run.csv", data: demoLog(t, 1)}); a.status != http.StatusSeeOther {
		t.Fatalf("a log: %d\n%s", a.status, a.body)
	}
	a := s.get(kitPath)
	a.says(t, "Last pull: 1, A as delivered, setup s1", "Accepted", "Peaks at the wheel, corrected:", "1</span>", "pull to go in this block", "Pull 1 was taken from run.csv.", "Not known yet")
	a.saysNot(t, "now 250 kPa") // was that pull's
	s.post(kitPath+"/values", rigAir)
	if a := s.send(s.client(), kitPath+"/log", nil, file{name: "run.csv", data: demoLog(t, 2)}); a.status != http.StatusSeeOther {
		t.Fatalf("a log: %d\n%s", a.status, a.body)
	}
	// A file of one name with another content may be the same pull again.
	s.get(kitPath).says(t, "Kept, not counted", "Run.csv changed after it was taken as pull 1")
	s.post(kitPath+"/last", url.Values{"do": {"restore"}, "pull": {"2"}, "why": {"the logger has one name for all"}, "version": {s.version(kitID)}})
	s.get(kitPath).says(t, "Next: Block 2 of 3", "B intake and cam kit", "It is fitted: begin this block", "Change camshaft: from C-650-1 to K-218",
		"Take the vehicle off its straps", "Repeatability, pull to pull", "1 degrees of freedom", "95 % interval")
	if a := s.do(s.client(), http.MethodPost, kitPath+"/fitted", url.Values{"do": {"fitted"}, "block": {"1"}}); a.status != http.StatusConflict {
		t.Errorf("a form made for another block: %d", a.status)
	}
	s.post(kitPath+"/fitted", url.Values{"do": {"fitted"}, "block": {"2"}})
	s.get(kitPath).says(t, "settling pull, not counted", "The settling pulls are over")
	s.post(kitPath+"/fitted", url.Values{"do": {"settled"}, "block": {"2"}})
	s.post(kitPath+"/values", rigAir)
	if a := s.send(s.client(), kitPath+"/log", map[string]string{"rewritten": "yes"}, file{name: "run.csv", data: demoLog(t, 4)}); a.status != http.StatusSeeOther {
		t.Fatalf("a log: %d\n%s", a.status, a.body)
	}
	s.get(kitPath).says(t, "Last pull: 3, B intake and cam kit, setup s2", "Accepted", "B over A so far")
	s.post(kitPath+"/last", url.Values{"do": {"exclude"}, "pull": {"3"}, "why": {"strap slipped"}, "version": {s.version(kitID)}})
	s.get(kitPath).says(t, "Kept, not counted", "Strap slipped.", "Count pull 3 after all")
	s.post(kitPath+"/fitted", url.Values{"do": {"other"}, "configuration": {"A"}, "setup": {"s9"}})
	s.get(kitPath).says(t, "Not planned", "A as delivered, setup s9", "leave it, and there is no claim")
}

// A pull that nobody said was fitted is kept and does not count.
func TestUnconfirmedPullDoesNotCount(t *testing.T) {
	s := open(t, nil)
	plan(t, s, false)
	for i := 1; i <= 3; i++ {
		s.post(kitPath+"/values", rigAir)
		if a := s.send(s.client(), kitPath+"/log", nil, file{name: fmt.Sprintf("p%d.csv", i), data: demoLog(t, i)}); a.status != http.StatusSeeOther {
			t.Fatalf("log %d: %d\n%s", i, a.status, a.body)
		}
	}
	s.get(kitPath).says(t, "Last pull: 3", "Kept, not counted", "Nobody said that block 2 was fitted.", "It is fitted: begin this block")
}

// Values come in the units of the person and are kept in those of the column.
func TestRigValuesInOtherUnits(t *testing.T) {
	s := open(t, nil)
	plan(t, s, false)
	s.get(kitPath+"?units=us").says(t, "Tyre pressure, psi", "36.3 ± 1.0", "Intake air, °F", "inHg")
	c := s.client()
	s.do(c, http.MethodPost, "/units", url.Values{"units": {"us"}, "back": {"/"}})
	if a := s.do(c, http.MethodPost, kitPath+"/values", url.Values{"v_tyre_pressure_kpa": {"36"}, "v_temperature_degc": {"68"}, "v_pressure_kpa": {"29.92"}, "v_relative_humidity_pct": {"50"}}); a.status != http.StatusSeeOther {
		t.Fatalf("values: %d\n%s", a.status, a.body)
	}
	look, err := s.rig.Look(t.Context(), kitID)
	if err != nil {
		t.Fatal(err)
	}
	// 36 psi at 6.894757 kPa (NIST SP 811, appendix B.8); 68 °F is 20 °C; 29.92 inHg
	// at 3.386389 kPa.
	for key, want := range map[string]string{"tyre_pressure_kpa": "248.2113", "temperature_degc": "20", "pressure_kpa": "101.3208", "relative_humidity_pct": "50"} {
		if got := look.Held[key]; got != want {
			t.Errorf("%s is kept as %q, want %q", key, got, want)
		}
	}
}

// What cannot be carried out is said beside its form, with what was typed, and
// nothing is written.
func TestMeasuringRefuses(t *testing.T) {
	s := open(t, nil)
	plan(t, s, false)
	seq := s.lastChange()
	for _, c := range []struct {
		path   string
		form   url.Values
		status int
		says   []string
	}{
		{"/values", url.Values{"v_oil_temp_degc": {"ninety"}, "v_tyre_pressure_kpa": {"251"}}, 422, []string{"“ninety” is no number", `value="251"`}},
		{"/values", url.Values{}, 422, []string{"No value was entered"}},
		{"/values", url.Values{"v_oil_temp_degc": {"NaN"}}, 422, []string{"is no number"}},
		{"/values", url.Values{"v_oil_temp_degc": {"1e999"}}, 422, []string{"is no number"}},
		{"/values", url.Values{"v_temperature_degc": {"-400"}, "v_pressure_kpa": {"98"}, "v_relative_humidity_pct": {"50"}}, 422, []string{"emperature"}},
		{"/values", url.Values{"v_excluded": {"1"}}, 422, []string{"is no value that is entered at the rig"}},
		{"/values", url.Values{"v_oil_temp_degc": {"90"}, "pull": {"7"}}, 409, nil},
		{"/fitted", url.Values{"do": {"fitted"}, "block": {"x"}}, 400, nil},
		{"/fitted", url.Values{"do": {"dance"}}, 400, nil},
		{"/fitted", url.Values{"do": {"settled"}, "block": {"1"}}, 422, []string{"No settling pull is to come"}},
		{"/fitted", url.Values{"do": {"end"}, "block": {"1"}}, 422, []string{"No reason is given"}},
		{"/fitted", url.Values{"do": {"other"}, "configuration": {"Z"}, "setup": {"s1"}}, 422, []string{"declares no configuration"}},
		{"/fitted", url.Values{"do": {"other"}, "configuration": {"A"}, "setup": {""}}, 422, []string{"he setup"}},
		{"/last", url.Values{"do": {"exclude"}, "pull": {"1"}, "why": {"strap"}, "version": {"1"}}, 404, nil},
		{"/last", url.Values{"do": {"exclude"}, "pull": {"1"}, "why": {"strap"}}, 400, nil},
		{"/folder", url.Values{"do": {"begin"}, "folder": {"/etc"}}, 422, []string{"may not watch that folder"}},
		{"/folder", url.Values{"do": {"end"}}, 422, []string{"No folder is watched for campaign"}},
	} {
		a := s.do(s.client(), http.MethodPost, kitPath+c.path, c.form)
		if a.status != c.status {
			t.Errorf("%s %v: %d, want %d\n%.1500s", c.path, c.form, a.status, c.status, a.body)
			continue
		}
		a.says(t, c.says...)
	}
	if now := s.lastChange(); now != seq {
		t.Errorf("something was written: change %d after %d", now, seq)
	}
	if a := s.do(s.client(), http.MethodGet, "/campaigns/none/measuring", nil); a.status != http.StatusNotFound {
		t.Errorf("a campaign that is not there: %d", a.status)
	}
}

// What is handed in is a log that is known, whole, of a bounded size and not there
// yet; its name is no path.
func TestUploadsUnderAttack(t *testing.T) {
	s := open(t, nil)
	plan(t, s, false)
	c, log := s.client(), demoLog(t, 1)
	path := kitPath + "/log"
	if a := s.send(c, path, nil, file{name: `..\..\..\etc/../<script>alert(1)</script>/passwd.csv`, data: log}); a.status != http.StatusSeeOther {
		t.Fatalf("a name with folders: %d\n%s", a.status, a.body)
	}
	look, err := s.rig.Look(t.Context(), kitID)
	if err != nil || len(look.Campaign.Pulls) != 1 || look.Campaign.Pulls[0].Log != "logs/1-passwd.csv" {
		t.Fatalf("the log is %v, %v", look.Campaign.Pulls, err)
	}
	seq := s.lastChange()
	for name, a := range map[string]answer{
		"the same again":  s.send(c, path, nil, file{name: "b.csv", data: log}),
		"no columns":      s.send(c, path, nil, file{name: "notes.txt", data: []byte("only words\nand no numbers\n")}),
		"a program":       s.send(c, path, nil, file{name: "x.csv", data: append([]byte("\x7fELF\x02\x01\x01\x00"), make([]byte, 4000)...)}),
		"a packed file":   s.send(c, path, nil, file{name: "x.csv.gz", data: []byte("\x1f\x8b\x08\x00\x00\x00\x00\x00\x00\x03")}),
		"an empty file":   s.send(c, path, nil, file{name: "x.csv"}),
		"no file":         s.send(c, path, map[string]string{"ago": "1"}),
		"two files":       s.send(c, path, nil, file{name: "a.csv", data: demoLog(t, 2)}, file{name: "b.csv", data: demoLog(t, 3)}),
		"a time ahead":    s.send(c, path, map[string]string{"ago": "-5"}, file{name: "a.csv", data: demoLog(t, 2)}),
		"a time long ago": s.send(c, path, map[string]string{"ago": "1e9"}, file{name: "a.csv", data: demoLog(t, 2)}),
		"a long field":    s.send(c, path, map[string]string{"ago": strings.Repeat("1", maxFormBytes+1)}, file{name: "a.csv", data: demoLog(t, 2)}),
		"no multipart":    s.do(c, http.MethodPost, path, url.Values{"file": {"x"}}),
		"a cut body":      s.sendRaw(c, path, "multipart/form-data; boundary=cut", strings.NewReader("--cut\r\nContent-Disposition: form-data; name=\"file\"; filename=\"a.csv\"\r\n\r\nt,n\n1,2\n")),
		"no boundary":     s.sendRaw(c, path, "multipart/form-data", strings.NewReader("--cut")),
	} {
		if a.status < 400 || a.status >= 500 {
			t.Errorf("%s: %d\n%.600s", name, a.status, a.body)
		}
		a.saysNot(t, "<script>alert")
	}
	manyFields := map[string]string{}
	for i := range maxUploadParts + 1 {
		manyFields["f"+strconv.Itoa(i)] = "x"
	}
	if a := s.send(c, path, manyFields, file{name: "a.csv", data: demoLog(t, 2)}); a.status != http.StatusBadRequest {
		t.Errorf("many fields: %d", a.status)
	}
	if now := s.lastChange(); now != seq {
		t.Errorf("something was written: change %d after %d", now, seq)
	}
	s.send(c, path, nil, file{name: "b.csv", data: log}).says(t, "This is pull 1 already, byte for byte")
	s.send(c, path, nil, file{name: "odd.csv", data: []byte("a,b\n1,2\n3,4\n5,6\n")}).says(t, "Teach dyno cell-1 this kind of log", "/dynos/cell-1/recipes/new")
}

// zeros is a file without an end.
type zeros struct{ read int64 }

func (z *zeros) Read(p []byte) (int, error) {
	z.read += int64(len(p))
	return len(p), nil
}

// A file that is larger than a file may be is not read to its end, and neither is
// one that comes to a route that takes none.
func TestUploadsAreBounded(t *testing.T) {
	s := open(t, nil)
	plan(t, s, false)
	head := "--cut\r\nContent-Disposition: form-data; name=\"file\"; filename=\"a.csv\"\r\n\r\n"
	for path, most := range map[string]int64{kitPath + "/log": maxFileBytes + 8<<20, kitPath + "/values": 8 << 20} {
		endless := &zeros{}
		r, err := http.NewRequestWithContext(t.Context(), http.MethodPost, s.http.URL+path, io.MultiReader(strings.NewReader(head), io.LimitReader(endless, 1<<30)))
		if err != nil {
			t.Fatal(err)
		}
		r.Header.Set("Content-Type", "multipart/form-data; boundary=cut")
		response, err := s.client().Do(r)
		if err == nil { // else the server hung up, as it may
			if response.StatusCode != http.StatusRequestEntityTooLarge && response.StatusCode != http.StatusUnprocessableEntity {
				t.Errorf("%s: %d", path, response.StatusCode)
			}
			response.Body.Close()
		}
		if endless.read > most {
			t.Errorf("%s: %d MiB were read", path, endless.read>>20)
		}
	}
}

// Watching a folder of the server: only one that the server may watch, for one
// campaign at a time; what comes is taken; what is in hand at the end is kept.
func TestWatchingAFolder(t *testing.T) {
	folder := t.TempDir()
	s := open(t, func(o *Options) { o.Watch = []string{folder} })
	plan(t, s, false)
	s.get(kitPath).says(t, "Folder that the rig", folder)
	s.post(kitPath+"/values", rigAir)
	s.post(kitPath+"/folder", url.Values{"do": {"begin"}, "folder": {folder}})
	s.get(kitPath).says(t, "Watched since", folder)
	other := s.do(s.client(), http.MethodPost, "/campaigns/"+demoID+"/measuring/folder", url.Values{"do": {"begin"}, "folder": {folder}})
	if other.status != http.StatusUnprocessableEntity {
		t.Errorf("one folder for two campaigns: %d", other.status)
	}
	if err := os.WriteFile(filepath.Join(folder, "p1.csv"), demoLog(t, 1), 0o644); err != nil {
		t.Fatal(err)
	}
	pullsThere := func() int {
		look, err := s.rig.Look(t.Context(), kitID)
		if err != nil {
			t.Fatal(err)
		}
		return len(look.Campaign.Pulls)
	}
	for deadline := time.Now().Add(30 * time.Second); pullsThere() == 0; time.Sleep(50 * time.Millisecond) {
		if time.Now().After(deadline) {
			t.Fatal("the file was not taken")
		}
	}
	s.get(kitPath).says(t, "Accepted", "Pull 1 was taken from p1.csv.")
	if err := os.WriteFile(filepath.Join(folder, "notes.txt"), []byte("nothing to see\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	for deadline := time.Now().Add(30 * time.Second); !strings.Contains(s.get(kitPath).body, "notes.txt is not taken"); time.Sleep(50 * time.Millisecond) {
		if time.Now().After(deadline) {
			t.Fatal("nobody was told of the file that is no log")
		}
	}
	s.post(kitPath+"/folder", url.Values{"do": {"end"}})
	for deadline := time.Now().Add(10 * time.Second); len(s.rig.Watched()) > 0; time.Sleep(20 * time.Millisecond) {
		if time.Now().After(deadline) {
			t.Fatal("the folder is still watched")
		}
	}
	s.get(kitPath).says(t, "is no longer watched")
	s.post(kitPath+"/folder", url.Values{"do": {"begin"}, "folder": {folder}})
	if err := s.rig.Close(t.Context()); err != nil || len(s.rig.Watched()) != 0 {
		t.Errorf("at the end %v is watched, %v", s.rig.Watched(), err)
	}
	if a := s.do(s.client(), http.MethodPost, kitPath+"/folder", url.Values{"do": {"begin"}, "folder": {folder}}); a.status != http.StatusServiceUnavailable {
		t.Errorf("watching after the end: %d", a.status)
	}
}

// A server that is told to end keeps what comes in: a log that is being sent, and a
// file in a watched folder that is whole.
func TestEndKeepsWhatCameIn(t *testing.T) {
	folder := t.TempDir()
	s := open(t, func(o *Options) { o.Watch = []string{folder} })
	plan(t, s, false)
	listener, err := net.Listen("tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	ctx, end := context.WithCancel(t.Context())
	served := make(chan error, 1)
	go func() { served <- s.Serve(ctx, listener) }()
	s.post(kitPath+"/values", rigAir)
	s.post(kitPath+"/folder", url.Values{"do": {"begin"}, "folder": {folder}})

	reader, writer := io.Pipe()
	form := multipart.NewWriter(writer)
	r, err := http.NewRequestWithContext(t.Context(), http.MethodPost, "http://"+listener.Addr().String()+kitPath+"/log", reader)
	if err != nil {
		t.Fatal(err)
	}
	r.Header.Set("Content-Type", form.FormDataContentType())
	answered := make(chan int, 1)
	go func() {
		response, err := s.client().Do(r)
		if err != nil {
			t.Error(err)
			answered <- 0
			return
		}
		response.Body.Close()
		answered <- response.StatusCode
	}()
	part, err := form.CreateFormFile("file", "late.csv")
	if err != nil {
		t.Fatal(err)
	}
	log := demoLog(t, 1)
	if _, err := part.Write(log[:len(log)/2]); err != nil { // the server reads it now
		t.Fatal(err)
	}
	end()
	time.Sleep(200 * time.Millisecond) // so that the second half comes after the end was asked for
	if _, err := part.Write(log[len(log)/2:]); err != nil {
		t.Fatal(err)
	}
	if err := form.Close(); err != nil {
		t.Fatal(err)
	}
	writer.Close()
	if status := <-answered; status != http.StatusSeeOther {
		t.Errorf("the log that was being sent: %d", status)
	}
	if err := <-served; err != nil {
		t.Error(err)
	}
	look, err := s.rig.Look(t.Context(), kitID)
	if err != nil || len(look.Campaign.Pulls) != 1 {
		t.Errorf("after the end there are %d pulls, %v", len(look.Campaign.Pulls), err)
	}
}

// Who sends a file and never ends it holds the end up for its time only, and takes none
// from what is in hand at the rig.
func TestEndDoesNotWaitForTheSlow(t *testing.T) {
	s := open(t, nil)
	plan(t, s, false)
	s.grace = 300 * time.Millisecond
	listener, err := new(net.ListenConfig).Listen(t.Context(), "tcp", "127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	ctx, end := context.WithCancel(t.Context())
	served := make(chan error, 1)
	go func() { served <- s.Serve(ctx, listener) }()
	connection, err := new(net.Dialer).DialContext(t.Context(), "tcp", listener.Addr().String())
	if err != nil {
		t.Fatal(err)
	}
	defer connection.Close()
	const begun = "--b\r\nContent-Disposition: form-data; name=\"file\"; filename=\"slow.csv\"\r\n\r\ntime"
	if _, err := fmt.Fprintf(connection, "POST %s/log HTTP/1.1\r\nHost: localhost\r\nContent-Type: multipart/form-data; boundary=b\r\nContent-Length: 9999\r\n\r\n%s", kitPath, begun); err != nil {
		t.Fatal(err)
	}
	for len(s.reading) == 0 {
		time.Sleep(5 * time.Millisecond)
	}
	end()
	if err := <-served; err == nil || !strings.Contains(err.Error(), "was broken off") || strings.Contains(err.Error(), "a log was still being taken") {
		t.Errorf("the end says %v", err)
	}
	if look, err := s.rig.Look(t.Context(), kitID); err != nil || len(look.Campaign.Pulls) != 0 {
		t.Errorf("half a file is %d pulls, %v", len(look.Campaign.Pulls), err)
	}
}

// Where the plan is blind, neither page nor pull names what is fitted.
func TestBlindMeasuring(t *testing.T) {
	s := open(t, nil)
	plan(t, s, true)
	a := s.get(kitPath)
	a.says(t, "codes stand in the place", "The vehicle comes back as")
	a.saysNot(t, "as delivered", "camshaft", "K-218")
	s.post(kitPath+"/values", rigAir)
	if a := s.send(s.client(), kitPath+"/log", nil, file{name: "p.csv", data: demoLog(t, 1)}); a.status != http.StatusSeeOther {
		t.Fatalf("a log: %d\n%s", a.status, a.body)
	}
	a = s.get(kitPath)
	a.says(t, "Last pull: 1<", "Accepted")
	a.saysNot(t, "as delivered", "camshaft", "K-218", "Peaks at the wheel")
}

// Who may only look sees where the campaign stands and no form, and may do nothing.
func TestMeasuringRoles(t *testing.T) {
	s := guarded(t, nil)
	plan(t, s, false)
	viewer := s.as("viewer")
	a := s.do(viewer, http.MethodGet, kitPath, nil)
	a.says(t, "Next: Block 1 of 3")
	a.saysNot(t, "Keep these values", "Hand it in", "It is fitted")
	for _, path := range []string{"/fitted", "/values", "/last", "/folder"} {
		if a := s.do(viewer, http.MethodPost, kitPath+path, rigAir); a.status != http.StatusForbidden {
			t.Errorf("%s as a viewer: %d", path, a.status)
		}
	}
	if a := s.send(viewer, kitPath+"/log", nil, file{name: "a.csv", data: demoLog(t, 1)}); a.status != http.StatusForbidden {
		t.Errorf("a log of a viewer: %d", a.status)
	}
	if a := s.send(s.as("technician"), kitPath+"/log", nil, file{name: "a.csv", data: demoLog(t, 1)}); a.status != http.StatusSeeOther {
		t.Errorf("a log of a technician: %d", a.status)
	}
}
