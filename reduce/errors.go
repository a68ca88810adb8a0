package reduce

import (
	"fmt"

	"fairpull/signal"
)

// LogError says that a log, or a log with these settings, cannot carry a result.
type LogError struct {
	Line    int    // line in the file, from 1; 0: no single line is to blame
	Problem string // what is wrong, in lower case
	Cure    string // what to do, a whole sentence
}

func (e *LogError) Error() string {
	if e.Line > 0 {
		return fmt.Sprintf("line %d: %s. %s", e.Line, e.Problem, e.Cure)
	}
	return fmt.Sprintf("%s. %s", e.Problem, e.Cure)
}

// lineOf returns the line in the file of data row i.
func lineOf(log *signal.Log, i int) int {
	if log.FirstLine <= 0 || i < 0 {
		return 0
	}
	return log.FirstLine + i
}
