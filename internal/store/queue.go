package store

import (
	"cmp"
	"context"
	"database/sql"
	"errors"
	"fmt"
	"log/slog"
	"sync"
	"time"

	"github.com/riverqueue/river"
	"github.com/riverqueue/river/riverdriver"
	"github.com/riverqueue/river/riverdriver/riverdatabasesql"
	"github.com/riverqueue/river/riverdriver/riversqlite"
	"github.com/riverqueue/river/rivermigrate"
	"github.com/riverqueue/river/rivertype"
)

// Work says how a process takes part in a round.
type Work struct {
	Workers int  // campaigns at once; at least 1
	Join    bool // only help a process that hands the campaigns out
	// Do derives one campaign again and returns what came of it, as JSON. An
	// error ends the work; what went wrong with one campaign is an outcome. It is
	// called by several goroutines at once, and now and then twice for a campaign.
	Do func(ctx context.Context, campaign string) ([]byte, error)
	// Progress is called now and then, by one goroutine, and may be nil.
	Progress func(done, total int)
	// lost is how long nothing has to come back until what was handed out is
	// handed out again; zero: lostAfter.
	lost time.Duration
}

// How often the work looks around, and when it takes what was handed out and did
// not come back for lost, as after the end of another machine.
const (
	lookEvery   = 200 * time.Millisecond
	lostAfter   = 30 * time.Second
	fetchEvery  = 100 * time.Millisecond
	fetchPause  = 10 * time.Millisecond
	handOut     = 1000             // campaigns handed out in one insert
	jobsKeptFor = 10 * time.Minute // after they are done
	queueLock   = 0x66_70_71       // of PostgreSQL, while the queue's tables are made
)

// ErrNoSharing says that a SQLite workspace's work is not shared.
var ErrNoSharing = errors.New("a workspace in a directory is worked on by one program; several machines share the work of a PostgreSQL workspace")

// Work works through the open campaigns of a round and returns once every one has
// an outcome, or with the first error. What was done stays done: the same round
// can be gone on with.
//
// The campaigns go through a queue: in PostgreSQL one in the same database, from
// which several machines take them; with SQLite one in memory. The queue only
// hands out. What is done stands in the round, so a queue that is lost, and a
// campaign handed out twice, cost time and nothing else.
func (s *Store) Work(ctx context.Context, round string, w Work) error {
	if w.Workers < 1 {
		return refused("work needs a worker")
	}
	if s.place.dir == "" {
		if err := s.queueTables(ctx); err != nil {
			return err
		}
		return work(ctx, s, riverdatabasesql.New(s.db), round, w)
	}
	if w.Join {
		return ErrNoSharing
	}
	memory, err := sql.Open(sqliteEngine.driver, "file::memory:?_txlock=immediate")
	if err != nil {
		return err
	}
	memory.SetMaxOpenConns(1) // each connection would be a memory of its own
	driver := riversqlite.New(memory)
	if err = migrateQueue(ctx, driver); err == nil {
		err = work(ctx, s, driver, round, w)
	}
	return errors.Join(err, memory.Close())
}

// queueTables brings the queue's own tables of a PostgreSQL workspace up to date,
// one program at a time.
func (s *Store) queueTables(ctx context.Context) (err error) {
	connection, err := s.db.Conn(ctx)
	if err != nil {
		return explain(err)
	}
	defer func() { err = errors.Join(err, connection.Close()) }()
	if _, err := connection.ExecContext(ctx, `SELECT pg_advisory_lock($1)`, queueLock); err != nil {
		return explain(err)
	}
	err = migrateQueue(ctx, riverdatabasesql.New(s.db))
	_, unlock := connection.ExecContext(context.WithoutCancel(ctx), `SELECT pg_advisory_unlock($1)`, queueLock)
	return errors.Join(err, explain(unlock))
}

func migrateQueue[T any](ctx context.Context, driver riverdriver.Driver[T]) error {
	migrator, err := rivermigrate.New(driver, &rivermigrate.Config{Logger: slog.New(slog.DiscardHandler)})
	if err != nil {
		return err
	}
	if _, err = migrator.Migrate(ctx, rivermigrate.DirectionUp, nil); err != nil {
		return fmt.Errorf("the queue's tables: %w", err)
	}
	return nil
}

// taskArgs is what the queue says of one campaign. Its JSON stands in the queue's
// tables.
type taskArgs struct {
	Round    string `json:"round"`
	Campaign string `json:"campaign"`
}

// Kind names the work to the queue.
func (taskArgs) Kind() string { return "recompute" }

// queueOf names the queue of a round.
func queueOf(round string) string { return "recompute-" + round }

// worker takes campaigns from the queue.
type worker struct {
	river.WorkerDefaults[taskArgs]
	s    *Store
	do   func(context.Context, string) ([]byte, error)
	fail func(error) // ends the work
	held sync.Map    // the campaigns that this process works on
}

// Work derives one campaign again unless that is done already.
func (w *worker) Work(ctx context.Context, job *river.Job[taskArgs]) error {
	err := w.task(ctx, job.Args)
	if err != nil {
		w.fail(err)
		return river.JobCancel(err) // whoever goes on with the round hands it out again
	}
	return nil
}

func (w *worker) task(ctx context.Context, args taskArgs) (err error) {
	defer func() {
		if r := recover(); r != nil {
			err = fmt.Errorf("campaign %s: %v", args.Campaign, r)
		}
	}()
	if _, held := w.held.LoadOrStore(args.Campaign, true); held {
		return nil // handed out again because it takes long
	}
	defer w.held.Delete(args.Campaign)
	open, err := w.s.taskOpen(ctx, args.Round, args.Campaign)
	if err != nil || !open {
		return err
	}
	outcome, err := w.do(ctx, args.Campaign)
	if err != nil {
		return fmt.Errorf("campaign %s: %w", args.Campaign, err)
	}
	// What was derived is kept, also where the work ends meanwhile.
	return w.s.finishTask(context.WithoutCancel(ctx), args.Round, args.Campaign, outcome)
}

func work[T any](ctx context.Context, s *Store, driver riverdriver.Driver[T], round string, w Work) error {
	var once sync.Once
	var failure error
	failed := make(chan struct{})
	workers := river.NewWorkers()
	river.AddWorker(workers, &worker{s: s, do: w.Do, fail: func(err error) {
		once.Do(func() { failure = err; close(failed) })
	}})
	client, err := river.NewClient(driver, &river.Config{
		Queues:        map[string]river.QueueConfig{queueOf(round): {MaxWorkers: w.Workers}},
		Workers:       workers,
		Logger:        slog.New(slog.DiscardHandler),
		FetchCooldown: fetchPause, FetchPollInterval: fetchEvery, PollOnly: true,
		JobTimeout: -1, MaxAttempts: 1, // a campaign may take long; what is lost is handed out again
		CompletedJobRetentionPeriod: jobsKeptFor, CancelledJobRetentionPeriod: jobsKeptFor, DiscardedJobRetentionPeriod: jobsKeptFor,
	})
	if err != nil {
		return fmt.Errorf("the queue: %w", err)
	}
	if err := client.Start(ctx); err != nil {
		return fmt.Errorf("the queue: %w", explain(err))
	}
	err = watch(ctx, s, client, round, w, failed)
	stop := client.Stop
	if err != nil {
		stop = client.StopAndCancel
	}
	stopped := stop(context.WithoutCancel(ctx))
	select {
	case <-failed:
		if ctx.Err() != nil {
			return ctx.Err()
		}
		return failure
	default:
		return errors.Join(err, stopped)
	}
}

// watch hands out the open campaigns and waits until none is left.
func watch[T any](ctx context.Context, s *Store, client *river.Client[T], round string, w Work, failed <-chan struct{}) error {
	if !w.Join {
		if err := handOutOpen(ctx, s, client, round); err != nil {
			return err
		}
	}
	tick := time.NewTicker(lookEvery)
	defer tick.Stop()
	last, moved := -1, time.Now()
	for {
		r, err := s.Round(ctx, round)
		if err != nil {
			return err
		}
		if w.Progress != nil {
			w.Progress(r.Done, r.Tasks)
		}
		if r.Done == r.Tasks || !r.Ended.IsZero() {
			return nil
		}
		if r.Done != last {
			last, moved = r.Done, time.Now()
		}
		if time.Since(moved) > cmp.Or(w.lost, lostAfter) {
			idle, err := nothingAvailable(ctx, client, round)
			if err == nil && idle {
				err = handOutOpen(ctx, s, client, round)
			}
			if err != nil {
				return err
			}
			moved = time.Now()
		}
		select {
		case <-ctx.Done():
			return ctx.Err()
		case <-failed:
			return errStopped
		case <-tick.C:
		}
	}
}

// errStopped ends the watch where a worker said why.
var errStopped = errors.New("a worker ended the work")

func handOutOpen[T any](ctx context.Context, s *Store, client *river.Client[T], round string) error {
	for after := ""; ; {
		ids, err := s.openTasks(ctx, round, after, handOut)
		if err != nil || len(ids) == 0 {
			return err
		}
		jobs := make([]river.InsertManyParams, len(ids))
		for i, id := range ids {
			jobs[i] = river.InsertManyParams{Args: taskArgs{round, id}, InsertOpts: &river.InsertOpts{Queue: queueOf(round)}}
		}
		if _, err := client.InsertMany(ctx, jobs); err != nil {
			return fmt.Errorf("the queue: %w", explain(err))
		}
		after = ids[len(ids)-1]
	}
}

// nothingAvailable reports whether all that was handed out is taken.
func nothingAvailable[T any](ctx context.Context, client *river.Client[T], round string) (bool, error) {
	waiting, err := client.JobList(ctx, river.NewJobListParams().Queues(queueOf(round)).
		States(rivertype.JobStateAvailable, rivertype.JobStateRetryable, rivertype.JobStateScheduled).First(1))
	if err != nil {
		return false, fmt.Errorf("the queue: %w", explain(err))
	}
	return len(waiting.Jobs) == 0, nil
}
