package ingest

// Bounds of what is read. They are far above what a rig writes; a file that
// exceeds one is refused.
const (
	MaxCampaignBytes = 256 << 10 // campaign.toml
	MaxPullsBytes    = 16 << 20  // pulls.csv
	MaxPulls         = 20_000    // rows of pulls.csv
	MaxLogBytes      = 256 << 20 // one log
	MaxLogColumns    = 4096
	MaxLogRows       = 20_000_000
	MaxLogCells      = 1 << 26 // columns times rows of one log
	MaxLineBytes     = 1 << 20
)
