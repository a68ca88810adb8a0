package lab

import (
	"context"
	"io/fs"
	"testing"
	"testing/fstest"

	"fairpull/ingest"
	"fairpull/simulate"
)

// ninePulls is the campaign that the speed goals are stated for: A-B-A, nine
// pulls of 4,000 rows and six channels (or of 60,000 pulses).
func ninePulls(b *testing.B, pulses bool) fs.FS {
	b.Helper()
	s := simulate.Demo()
	s.Plan.Order = "ABA"
	s.Faults = nil
	if pulses {
		named, err := simulate.Named("pulses")
		if err != nil {
			b.Fatal(err)
		}
		s.Logger = named.Logger
		s.Logger.Pulses.PerRev = 300
	} else {
		s.Logger.Sampled.Rate = 4000 / 11.25
		s.Drive.Coast = 3.6
	}
	files, err := s.Files()
	if err != nil {
		b.Fatal(err)
	}
	folder := fstest.MapFS{}
	for name, data := range files {
		folder[name] = &fstest.MapFile{Data: data}
	}
	return folder
}

func benchmarkAnalyse(b *testing.B, folder fs.FS) {
	b.ReportAllocs()
	for b.Loop() {
		opened, err := ingest.Open(folder)
		if err != nil {
			b.Fatal(err)
		}
		if _, err := Analyse(context.Background(), opened, Options{}); err != nil {
			b.Fatal(err)
		}
		opened.Close()
	}
}

// BenchmarkAnalyseSampled is a whole campaign of nine sampled pulls of 4,000
// rows and six channels: parse, reduce, correct, compare, check.
func BenchmarkAnalyseSampled(b *testing.B) { benchmarkAnalyse(b, ninePulls(b, false)) }

// BenchmarkAnalysePulses is the same with nine pulse logs of about 60,000
// pulses.
func BenchmarkAnalysePulses(b *testing.B) { benchmarkAnalyse(b, ninePulls(b, true)) }
