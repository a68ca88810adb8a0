package campaign

// Recipe is what a dyno's logger writes: how its files are told from others and
// which column is which channel. It is learned once from a file and kept with
// the dyno.
type Recipe struct {
	Name string // a slug, unique for the dyno
	// Files is a pattern of package path's Match for the names of files; empty: any.
	Files string
	// Header are the names in the header line that a file must have to be one of
	// these, in any order; never empty.
	Header []string
	// Channels says where each channel comes from, as in a campaign folder.
	Channels ChannelMap
	// Delimiter is ',', ';' or a tab; zero: found from the file.
	Delimiter byte
	// CorrectionApplied and AtCrank are stated for loggers that write curves.
	CorrectionApplied string
}
