package campaign

// ChannelMap says, for the channels whose name or unit a log's own header does
// not give, where they are. The key is the name that the program knows the
// channel by, as in package signal.
type ChannelMap map[string]ChannelSource

// ChannelSource is where one channel of a log comes from.
type ChannelSource struct {
	// Column is the name in the log's header; empty: the channel's own name.
	Column string
	// Unit is a unit's spelling as package quantity knows it; empty: as the
	// log's header says.
	Unit string
	// DecimalMark is '.' or ','; zero: found from the column's own cells.
	DecimalMark byte
}
