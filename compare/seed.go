package compare

import (
	"crypto/sha256"
	"encoding/binary"
	"math"
)

// digestOf returns the SHA-256 of the bit patterns of everything that a
// comparison's figures rest on, pulls in order of time: the seed of all its
// chance, so that the same input gives the same bytes.
func digestOf(in *Input, blocks []block) [sha256.Size]byte {
	var b []byte
	numbers := func(values ...float64) {
		for _, v := range values {
			b = binary.BigEndian.AppendUint64(b, math.Float64bits(v))
		}
	}
	numbers(in.SpeedRPM...)
	numbers(in.BandRPM[:]...)
	numbers(in.Confidence)
	for _, block := range blocks {
		numbers(float64(block.configuration), float64(block.setup))
		for _, p := range block.pulls {
			numbers(p.LnFactor)
			numbers(p.LogTorque...)
		}
	}
	for _, s := range []Spread{in.History.Setup, in.History.Block, in.History.Pull} {
		numbers(s.SD, s.DF)
	}
	if a := in.History.Archive; a != nil {
		numbers(a.SetupDF, a.PullDF, a.BlockDF)
		for _, rows := range [][][]float64{a.SetupResiduals, a.PullResiduals, a.BlockResiduals} {
			for _, row := range rows {
				numbers(row...)
			}
		}
	}
	return sha256.Sum256(b)
}
