package store

import (
	"context"
	"fmt"
	"net/url"
	"os"
	"os/exec"
	"os/user"
	"path/filepath"
	"strconv"
	"sync"
	"syscall"
	"testing"
	"time"

	"fairpull/campaign"
)

func TestMain(m *testing.M) {
	if where := os.Getenv(childEnv); where != "" {
		os.Exit(child(where))
	}
	code := m.Run()
	if server != nil {
		server.stop()
	}
	os.Exit(code)
}

// onBoth runs a test on a fresh workspace of each engine.
func onBoth(t *testing.T, test func(t *testing.T, where string, s *Store)) {
	t.Run("SQLite", func(t *testing.T) {
		where := filepath.Join(t.TempDir(), "a lab's #1 workspace?")
		test(t, where, initialise(t, where))
	})
	t.Run("PostgreSQL", func(t *testing.T) {
		where := freshDatabase(t)
		test(t, where, initialise(t, where))
	})
}

func initialise(t testing.TB, where string) *Store {
	t.Helper()
	s, err := Init(t.Context(), where)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := s.Close(); err != nil {
			t.Error(err)
		}
	})
	return s
}

// cluster is a PostgreSQL server that the tests start for themselves. It
// listens on a socket of its own and on no network.
type cluster struct {
	dir     string
	command *exec.Cmd
	next    int
}

var (
	server     *cluster
	serverSkip string
	serverErr  error
	serverOnce sync.Once
	serverLock sync.Mutex
)

// freshDatabase returns the place of a workspace in a new, empty database.
func freshDatabase(t testing.TB) string {
	t.Helper()
	serverOnce.Do(func() { server, serverSkip, serverErr = startCluster() })
	if serverErr != nil {
		t.Fatal(serverErr)
	}
	if serverSkip != "" {
		t.Skip(serverSkip)
	}
	serverLock.Lock()
	defer serverLock.Unlock()
	server.next++
	name := "lab" + strconv.Itoa(server.next)
	if err := server.execute("CREATE DATABASE " + name); err != nil {
		t.Fatal(err)
	}
	return server.url(name) + "&blobs=" + url.QueryEscape(filepath.Join(t.TempDir(), "blobs"))
}

func (c *cluster) url(database string) string {
	return "postgres:///" + database + "?host=" + url.QueryEscape(c.dir) + "&user=postgres&sslmode=disable"
}

func (c *cluster) execute(query string) error {
	at, err := locate(c.url("postgres") + "&blobs=/unused")
	if err != nil {
		return err
	}
	s, err := connect(context.Background(), at)
	if err != nil {
		return err
	}
	_, err = s.db.Exec(query)
	if closing := s.Close(); err == nil {
		err = closing
	}
	return err
}

// startCluster starts a server, or says why there is none. The server refuses
// to be root, so root starts it as the user that its package made.
func startCluster() (*cluster, string, error) {
	found, err := filepath.Glob("/usr/lib/postgresql/*/bin/initdb")
	if err != nil || len(found) == 0 {
		return nil, "no PostgreSQL server is installed (apt-get install postgresql): this half of the suite did not happen", err
	}
	bin := filepath.Dir(found[len(found)-1])
	dir, err := os.MkdirTemp("/tmp", "fp-pg-") // short: a socket's path has 107 bytes
	if err != nil {
		return nil, "", err
	}
	as := &syscall.SysProcAttr{Pdeathsig: syscall.SIGQUIT}
	if os.Geteuid() == 0 {
		account, err := user.Lookup("postgres")
		if err != nil {
			return nil, "", err
		}
		uid, errUID := strconv.Atoi(account.Uid)
		gid, errGID := strconv.Atoi(account.Gid)
		if errUID != nil || errGID != nil {
			return nil, "", fmt.Errorf("account postgres: %w, %w", errUID, errGID)
		}
		as.Credential = &syscall.Credential{Uid: uint32(uid), Gid: uint32(gid)}
		if err := os.Chown(dir, uid, gid); err != nil {
			return nil, "", err
		}
	}
	data := filepath.Join(dir, "data")
	initdb := exec.Command(filepath.Join(bin, "initdb"), "-D", data, "-U", "postgres", "-A", "trust", "-E", "UTF8", "--locale=C.UTF-8", "--no-sync")
	initdb.SysProcAttr, initdb.Dir = as, dir
	if out, err := initdb.CombinedOutput(); err != nil {
		return nil, "", fmt.Errorf("initdb: %w\n%s", err, out)
	}
	c := &cluster{dir: dir}
	c.command = exec.Command(filepath.Join(bin, "postgres"), "-D", data, "-k", dir, "-c", "listen_addresses=", "-c", "fsync=off", "-c", "max_connections=200")
	c.command.SysProcAttr, c.command.Dir = as, dir
	log, err := os.Create(filepath.Join(dir, "log"))
	if err != nil {
		return nil, "", err
	}
	c.command.Stderr = log
	if err := c.command.Start(); err != nil {
		return nil, "", err
	}
	for range 300 {
		if err = c.execute("SELECT 1"); err == nil {
			return c, "", nil
		}
		time.Sleep(50 * time.Millisecond)
	}
	c.stop()
	return nil, "", fmt.Errorf("the server did not start: %w", err)
}

func (c *cluster) stop() {
	if err := c.command.Process.Signal(syscall.SIGINT); err != nil {
		fmt.Fprintln(os.Stderr, err)
	}
	_ = c.command.Wait() // its exit code is not the tests' business
	if err := os.RemoveAll(c.dir); err != nil {
		fmt.Fprintln(os.Stderr, err)
	}
}

var anna = Author{Who: "Anna Test", Why: "invented scenario"}

// example is a small invented campaign with n pulls, alternating between its
// configurations in blocks of three.
func example(id string, n int) Record {
	r := Record{
		Campaign: campaign.Campaign{
			ID: id, Title: "Intake kit on the twin", Purpose: "More torque where people ride?",
			Objective:  campaign.Objective{BandRPM: [2]float64{2500, 6000}, SmallestGain: 0.02, Confidence: 0.95, Primary: campaign.PrimaryBand},
			Vehicle:    campaign.Vehicle{ID: "twin-03", Description: "parallel twin", MassWithRider: 285, TestGear: 4},
			Dyno:       campaign.Dyno{ID: "cell-1", DrumInertia: 41.8, DrumInertiaU: 0.42, DrumRadius: 0.2286, Parasitic: [3]float64{1.1, 0.01, 0}},
			Correction: "SAE J1349",
			Configurations: []campaign.Configuration{
				{ID: "A", Role: campaign.Baseline, Name: "as delivered", Components: []campaign.Component{{Function: "camshaft", Part: "OEM 650-14"}}},
				{ID: "B", Role: campaign.Candidate, Name: "kit", Components: []campaign.Component{{Function: "camshaft", Part: "K-218", Serial: "0417"}},
					Settings: []campaign.Setting{{Key: "fuel", Value: "E10 98, batch 7"}}},
			},
			Procedure:    []campaign.SetPoint{{Key: "oil_temp_degc", Target: 90, Tolerance: 8}},
			History:      &campaign.History{SetupSD: 0.007, SetupDF: 12},
			Channels:     campaign.ChannelMap{"time": {Column: "Zeit", Unit: "ms", DecimalMark: ','}},
			ExtraColumns: []string{"note", "oil_temp_degc"},
		},
		Logs: map[string][]byte{}, CampaignFile: []byte("id = " + strconv.Quote(id) + "\n"), PullsFile: []byte("pull,started\n"),
	}
	r.Campaign.Configurations[1].WheelRadius = 0.31
	for i := range n {
		pull, log := examplePull(id, i)
		r.Campaign.Pulls = append(r.Campaign.Pulls, pull)
		r.Logs[pull.Log] = log
	}
	return r
}

// examplePull is pull number i of an example, and its log.
func examplePull(id string, i int) (campaign.Pull, []byte) {
	humidity := 0.45
	pull := campaign.Pull{
		Name: strconv.Itoa(i + 1), Started: time.Date(2026, 3, 2, 14, 0, 0, 0, time.FixedZone("", 3600)).Add(time.Duration(i) * 4 * time.Minute),
		Configuration: string("AB"[i/3%2]), Setup: "s1", Log: fmt.Sprintf("logs/%03d.csv", i+1), Line: i + 2,
		Weather: campaign.Weather{RelativeHumidity: &humidity},
		Values:  map[string]string{"note": "", "oil_temp_degc": "91,5"}, Measured: map[string]float64{"oil_temp_degc": 91.5},
	}
	return pull, fmt.Appendf(nil, "time [s],drum_speed [rad/s]\n0,%d\n1,%d.5 %s\n", i, i, id)
}
