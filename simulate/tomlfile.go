package simulate

import (
	"bytes"
	"errors"
	"fmt"

	"github.com/pelletier/go-toml/v2"
)

// maxFile is the largest scenario file that is read, in bytes.
const maxFile = 1 << 20

// FromTOML reads a scenario from a file's bytes. Nothing is filled in: every key
// that Validate asks for must be there, and an unknown key is an error that names
// its line and column. TOML of any named scenario, as the method TOML returns it,
// is the place to start from.
func FromTOML(data []byte) (Scenario, error) {
	var s Scenario
	if len(data) > maxFile {
		return s, fmt.Errorf("%w: the file is larger than %d bytes", ErrScenario, maxFile)
	}
	decoder := toml.NewDecoder(bytes.NewReader(data)).DisallowUnknownFields()
	if err := decoder.Decode(&s); err != nil {
		return Scenario{}, fmt.Errorf("%w: %w", ErrScenario, located(err))
	}
	if err := s.Validate(); err != nil {
		return Scenario{}, err
	}
	return s, nil
}

// located names line, column and key of a decoding error where they are known.
func located(err error) error {
	var strict *toml.StrictMissingError
	if errors.As(err, &strict) && len(strict.Errors) > 0 {
		first := &strict.Errors[0]
		line, column := first.Position()
		return fmt.Errorf("line %d, column %d: there is no key %q", line, column, joinKey(first.Key()))
	}
	var decode *toml.DecodeError
	if errors.As(err, &decode) {
		line, column := decode.Position()
		return fmt.Errorf("line %d, column %d: %w", line, column, err)
	}
	return err
}

func joinKey(key toml.Key) string {
	var text []byte
	for i, part := range key {
		if i > 0 {
			text = append(text, '.')
		}
		text = append(text, part...)
	}
	return string(text)
}

// fileHead opens a scenario's file.
const fileHead = `# A scenario of a simulated campaign. Values are SI, engine speeds are in 1/min,
# shares and standard deviations are fractions (0.007 for 0.7 %). Every key counts:
# one that is left out is zero, and zero is refused where it makes no sense.
# The first configuration is the baseline. A [[fault]] has a name, its pulls
# (["5"]) or a configuration ("B"), and a size (0: the usual one). The names are
`

// TOML returns the scenario as a file that FromTOML reads back.
func (s Scenario) TOML() ([]byte, error) {
	if err := s.Validate(); err != nil {
		return nil, err
	}
	var text bytes.Buffer
	text.WriteString(fileHead)
	for _, kind := range faultKinds {
		fmt.Fprintf(&text, "#   %-19s %s\n", kind.Name, kind.describe())
	}
	text.WriteByte('\n')
	if err := toml.NewEncoder(&text).Encode(s); err != nil {
		return nil, fmt.Errorf("simulate: %w", err)
	}
	return text.Bytes(), nil
}
