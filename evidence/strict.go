package evidence

import (
	"bytes"
	"encoding/json"
	"errors"
	"fmt"
	"io"
)

// encode returns v as JSON without white space and without the escapes that only
// HTML needs: what a signature is made of.
func encode(v any) ([]byte, error) {
	var b bytes.Buffer
	e := json.NewEncoder(&b)
	e.SetEscapeHTML(false)
	if err := e.Encode(v); err != nil {
		return nil, err
	}
	return bytes.TrimSuffix(b.Bytes(), []byte("\n")), nil
}

// encodeLines returns v as JSON in lines, for a file that people look into.
func encodeLines(v any) ([]byte, error) {
	flat, err := encode(v)
	if err != nil {
		return nil, err
	}
	var b bytes.Buffer
	if err := json.Indent(&b, flat, "", "  "); err != nil {
		return nil, err
	}
	b.WriteByte('\n')
	return b.Bytes(), nil
}

// decode reads data into v and refuses everything but the one text that write
// makes of v: unknown and repeated keys, other spellings, other white space.
func decode(data []byte, v any, write func(any) ([]byte, error)) error {
	d := json.NewDecoder(bytes.NewReader(data))
	d.DisallowUnknownFields()
	if err := d.Decode(v); err != nil {
		return fmt.Errorf("is not the JSON that is expected: %w", err)
	}
	if _, err := d.Token(); !errors.Is(err, io.EOF) {
		return errors.New("goes on after its end")
	}
	again, err := write(v)
	if err != nil {
		return err
	}
	if !bytes.Equal(again, data) {
		return fmt.Errorf("is not written in its one right form (it differs from byte %d on)", differsAt(again, data))
	}
	return nil
}

// differsAt returns the first place at which a and b differ.
func differsAt(a, b []byte) int {
	for i := range min(len(a), len(b)) {
		if a[i] != b[i] {
			return i
		}
	}
	return min(len(a), len(b))
}
