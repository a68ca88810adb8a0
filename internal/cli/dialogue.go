package cli

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"

	"fairpull/campaign"
	"fairpull/internal/lab"
)

// dialogue asks a person what the columns of a log are. It proposes and never
// decides.
type dialogue struct {
	in    *lines
	out   io.Writer
	table *lab.LogTable
}

// lines reads what a person types.
type lines struct{ scanner *bufio.Scanner }

func newLines(in io.Reader) *lines {
	scanner := bufio.NewScanner(in)
	scanner.Buffer(nil, 64<<10)
	return &lines{scanner}
}

var errNoAnswer = errors.New("the answers ended before the questions: nothing was kept.\n  Say it by flags instead: --channel time=Zeit:ms --channel drum_speed=v_Rolle:km/h")

func (l *lines) next() (string, error) {
	if !l.scanner.Scan() {
		return "", errors.Join(errNoAnswer, l.scanner.Err())
	}
	return strings.TrimSpace(l.scanner.Text()), nil
}

// channels asks for every channel in turn.
func (d *dialogue) channels(path string) (campaign.ChannelMap, error) {
	d.show(path)
	channels := campaign.ChannelMap{}
	for _, channel := range lab.LogChannels() {
		proposed, is := d.table.Propose(channel)
		must := channel == "time" || channel == "drum_speed"
		if !must && !is && channel != "engine_speed" {
			continue
		}
		if err := d.ask(channels, channel, proposed, is, must); err != nil {
			return nil, err
		}
	}
	return channels, d.more(channels)
}

// show lists the columns with their first cells.
func (d *dialogue) show(path string) {
	fmt.Fprintf(d.out, "%s: %d columns split by %s, named in line %d\n", path, len(d.table.Columns), delimiterWord(d.table.Delimiter), d.table.Line)
	for i, c := range d.table.Columns {
		unit := "–"
		if c.Unit != "" {
			unit = c.Unit
		}
		fmt.Fprintf(d.out, "  %2d  %-24s %-8s %s\n", i+1, c.Name, unit, strings.Join(c.First, "  "))
	}
}

// ask asks for the column and the unit of one channel.
func (d *dialogue) ask(channels campaign.ChannelMap, channel string, proposed int, is, must bool) error {
	for {
		offer := ""
		if is {
			offer = fmt.Sprintf(" [%d]", proposed+1)
		}
		none := ", 0 for none"
		if must {
			none = ""
		}
		fmt.Fprintf(d.out, "Which column is %s? Its number%s%s: ", channel, none, offer)
		text, err := d.in.next()
		if err != nil {
			return err
		}
		if text == "" && is {
			text = strconv.Itoa(proposed + 1)
		}
		if text == "0" && !must {
			return nil
		}
		n, err := strconv.Atoi(text)
		if err != nil || n < 1 || n > len(d.table.Columns) {
			fmt.Fprintf(d.out, "  A number from 1 to %d is wanted.\n", len(d.table.Columns))
			continue
		}
		if err := d.unit(channels, channel, n-1); err != nil {
			return err
		}
		return nil
	}
}

// unit asks for the unit of a channel and notes where it comes from.
func (d *dialogue) unit(channels campaign.ChannelMap, channel string, column int) error {
	c := d.table.Columns[column]
	for {
		offer := ""
		if c.Unit != "" {
			offer = " [" + c.Unit + "]"
		}
		fmt.Fprintf(d.out, "  In which unit is %s?%s: ", c.Name, offer)
		text, err := d.in.next()
		if err != nil {
			return err
		}
		unit := orElse(text, c.Unit)
		if err := lab.CheckUnit(channel, unit); err != nil {
			fmt.Fprintf(d.out, "  %v\n", err)
			continue
		}
		channels[channel] = campaign.ChannelSource{Column: c.Name, Unit: unit}
		return nil
	}
}

// more asks for channels that nothing proposed.
func (d *dialogue) more(channels campaign.ChannelMap) error {
	for {
		fmt.Fprint(d.out, "Another channel? Write NAME=NUMBER, or nothing to end: ")
		text, err := d.in.next()
		if err != nil || text == "" {
			return err
		}
		channel, number, found := strings.Cut(text, "=")
		n, err := strconv.Atoi(strings.TrimSpace(number))
		if !found || err != nil || n < 1 || n > len(d.table.Columns) {
			fmt.Fprintln(d.out, "  As in oil_temp=5.")
			continue
		}
		if err := d.unit(channels, strings.TrimSpace(channel), n-1); err != nil {
			return err
		}
	}
}

// agree asks for yes or no.
func (d *dialogue) agree(question string) (bool, error) {
	for {
		fmt.Fprintf(d.out, "%s (yes/no): ", question)
		text, err := d.in.next()
		if err != nil {
			return false, err
		}
		switch strings.ToLower(text) {
		case "yes", "y":
			return true, nil
		case "no", "n":
			return false, nil
		}
	}
}
