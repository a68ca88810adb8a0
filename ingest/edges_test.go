package ingest

import (
	"errors"
	"io/fs"
	"strings"
	"testing"
	"testing/fstest"

	"fairpull/campaign"
	"fairpull/signal"
)

// TestUnsureColumnsOfOthers holds that a column without a meaning whose decimal
// mark stays open is left out and named, not guessed, and that a minus sign
// settles nothing.
func TestUnsureColumnsOfOthers(t *testing.T) {
	log, err := ParseLog("log.csv", []byte("time [s];drum_speed [rad/s];x\n0;-10;-1,234\n1;10;-2,345\n"), LogOptions{})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "drum speed", log.Channel(signal.DrumSpeed), []float64{-10, 10})
	if log.Channel("x") != nil || len(log.LeftOut) != 1 || log.LeftOut[0].Column != "x" || !strings.Contains(log.LeftOut[0].Reason, "thousands") {
		t.Errorf("left out %v", log.LeftOut)
	}
	_, err = ParseLog("log.csv", []byte("time [s];drum_speed [rad/s]\n0;-1,234\n1;-2,345\n"), LogOptions{})
	refusal{2, ErrTwoReadings, "column drum_speed"}.check(t, err)
}

// TestMappedButMissing holds that a channel that [channels] names and a log
// lacks is told where the log can do without it.
func TestMappedButMissing(t *testing.T) {
	channels := campaign.ChannelMap{"lambda": {Column: "L1"}, "engine_pulse": {Column: "Z", Unit: "ms"}}
	log, err := ParseLog("log.csv", []byte("time [s],drum_speed [rad/s]\n0,40\n"), LogOptions{Channels: channels})
	if err != nil {
		t.Fatal(err)
	}
	if len(log.LeftOut) != 1 || log.LeftOut[0].Column != "lambda" || !strings.Contains(log.LeftOut[0].Reason, "L1") {
		t.Errorf("left out %v", log.LeftOut)
	}
	_, err = ParseLog("log.csv", []byte("drum_pulse [s]\n0\n1\n"), LogOptions{Channels: channels})
	refusal{1, ErrMissing, "column Z"}.check(t, err)
	_, err = ParseLog("log.csv", []byte("engine_speed [rpm],power_wheel [kW]\n3000,20\n"), LogOptions{Channels: campaign.ChannelMap{"torque": {Column: "M"}}})
	refusal{1, ErrMissing, "column M"}.check(t, err)
}

func TestFiguresLine(t *testing.T) {
	for line, want := range map[string]figures{
		"figures: wheel": wheel, "# Figures = Crank": crank, "// wheel figures": wheel, "\"figures\";\"crank\"": crank, "figures,wheel,,": wheel,
		"figures": unsaid, "figures of the wheel": unsaid, "wheel": unsaid, "front wheel 17 in": unsaid, "figures: hub": unsaid, "": unsaid,
	} {
		if got := figuresLine(line); got != want {
			t.Errorf("%q: %v; want %v", line, got, want)
		}
	}
}

func TestClockRefuses(t *testing.T) {
	for _, text := range []string{":", "1:", "1:2:", "100:00:00", "1:60:00", "1:00:60", "12:00:00.", "12:00:00x", "12:00:00.1x", "12:00:00.1234567890", "12:00:00:05", "a:b:c", "-1:00:00"} {
		if got, err := readClock([]byte(text)); err == nil {
			t.Errorf("%q: %v", text, got)
		}
	}
}

// liar is a file that says another size, or a failure, than it has.
type liar struct {
	fs.File
	size int64
	err  error
}

func (l liar) Stat() (fs.FileInfo, error) {
	info, err := l.File.Stat()
	return sized{info, l.size}, err
}

func (l liar) Read(b []byte) (int, error) {
	if l.err != nil {
		return 0, l.err
	}
	return l.File.Read(b[:min(len(b), 7)])
}

type sized struct {
	fs.FileInfo
	size int64
}

func (s sized) Size() int64 { return s.size }

// liars is a folder whose files are all liars.
type liars struct {
	fstest.MapFS
	size int64
	err  error
}

func (l liars) Open(name string) (fs.File, error) {
	file, err := l.MapFS.Open(name)
	return liar{file, l.size, l.err}, err
}

func (l liars) Stat(name string) (fs.FileInfo, error) { return fs.Stat(l.MapFS, name) }

// TestFilesThatGrow holds that the size that a file states is not trusted, and
// that a failure to read is told.
func TestFilesThatGrow(t *testing.T) {
	files := fstest.MapFS{"a.csv": &fstest.MapFile{Data: []byte(strings.Repeat("0123456789", 100))}}
	data, err := readFile(liars{files, 3, nil}, "a.csv", 1000)
	if err != nil || len(data) != 1000 {
		t.Errorf("a file that grew: %d bytes, %v", len(data), err)
	}
	if _, err := readFile(liars{files, 3, nil}, "a.csv", 999); !errors.Is(err, ErrTooLarge) {
		t.Errorf("a file that grew too large: %v", err)
	}
	if _, err := readFile(liars{files, 1 << 40, nil}, "a.csv", 1000); !errors.Is(err, ErrTooLarge) {
		t.Errorf("a file that says it is too large: %v", err)
	}
	broken := errors.New("the disk is gone")
	if _, err := readFile(liars{files, 1000, broken}, "a.csv", 1000); !errors.Is(err, broken) {
		t.Errorf("a file that cannot be read: %v", err)
	}
}

// TestMessagesAreShort holds that a message repeats hostile text neither whole
// nor raw.
func TestMessagesAreShort(t *testing.T) {
	long := strings.Repeat("ä", 10_000)
	for _, text := range []string{
		"time [s],drum_speed [rad/s]\n0," + long + "\n",
		"time [s],drum_speed [" + long + "]\n0,1\n",
		long + "," + long + "\n1,2\n",
		"time [s],drum_speed [rad/s]," + long + "," + long + "\n0,1,2,3\n",
		"time [s],drum_speed [rad/s],\x1b[31mx,\x1b[31mx\n0,1,2,3\n",
	} {
		_, err := ParseLog("log.csv", []byte(text), LogOptions{})
		if err == nil {
			t.Errorf("%.60q: accepted", text)
		} else if message := err.Error(); len(message) > 800 || strings.Contains(message, "\x1b") {
			t.Errorf("%d bytes: %q", len(message), message)
		}
	}
}
