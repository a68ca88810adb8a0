package ingest

import (
	"bytes"
	"slices"
	"unicode/utf8"

	"golang.org/x/text/encoding/charmap"
	"golang.org/x/text/encoding/unicode"
)

// charset says how the bytes of a file became text.
type charset int

const (
	stated  charset = iota // by a byte-order mark, or valid UTF-8
	assumed                // neither: read as windows-1252
)

// Byte-order marks, Unicode Standard (version 15.0), section 23.8, table 23-5.
var (
	markUTF8    = []byte{0xEF, 0xBB, 0xBF}
	markUTF16LE = []byte{0xFF, 0xFE}
	markUTF16BE = []byte{0xFE, 0xFF}
	markUTF32LE = []byte{0xFF, 0xFE, 0, 0}
	markUTF32BE = []byte{0, 0, 0xFE, 0xFF}
)

// decode returns the text of a file as UTF-8 without byte-order mark, its lines
// ended by LF or CR LF and the last one ended too.
//
// A byte-order mark decides; without one, valid UTF-8 is UTF-8, and anything
// else is read as windows-1252 and reported as assumed. The data are not
// modified; where nothing has to change, the text shares their memory.
func decode(file string, data []byte) ([]byte, charset, error) {
	text, set, err := transcode(file, data)
	if err != nil {
		return nil, set, err
	}
	if at := bytes.IndexByte(text, 0); at >= 0 {
		line, position := placeOf(text, at)
		return nil, set, &SyntaxError{
			File: file, Line: line, Position: position, Err: because(ErrCharacters, "a zero byte stands here, so this is not text"),
			Cure: "export it again as delimited text in UTF-8",
		}
	}
	if bytes.IndexByte(text, '\n') < 0 && bytes.IndexByte(text, '\r') >= 0 {
		text = bytes.ReplaceAll(text, []byte{'\r'}, []byte{'\n'})
	}
	if n := len(text); n > 0 && text[n-1] != '\n' {
		text = append(slices.Clip(text), '\n')
	}
	return text, set, nil
}

func transcode(file string, data []byte) ([]byte, charset, error) {
	switch {
	case bytes.HasPrefix(data, markUTF32LE), bytes.HasPrefix(data, markUTF32BE):
		return nil, stated, &SyntaxError{
			File: file, Err: because(ErrCharacters, "the byte-order mark says UTF-32"), Cure: "export it again in UTF-8",
		}
	case bytes.HasPrefix(data, markUTF16LE), bytes.HasPrefix(data, markUTF16BE):
		if len(data)%2 != 0 {
			return nil, stated, &SyntaxError{
				File: file, Err: because(ErrCharacters, "the text is UTF-16 and ends in half a character, so it was cut short"), Cure: "copy the file again",
			}
		}
		text, err := unicode.UTF16(unicode.LittleEndian, unicode.ExpectBOM).NewDecoder().Bytes(data)
		if err != nil {
			return nil, stated, &SyntaxError{File: file, Err: because(ErrCharacters, "the text is not UTF-16: %v", err), Cure: "export it again in UTF-8"}
		}
		return text, stated, nil
	}
	rest, marked := bytes.CutPrefix(data, markUTF8)
	if utf8.Valid(rest) {
		return rest, stated, nil
	}
	if marked {
		line, position := placeOf(rest, firstInvalid(rest))
		return nil, stated, &SyntaxError{
			File: file, Line: line, Position: position,
			Err: because(ErrCharacters, "the byte-order mark says UTF-8, and the bytes here are not"), Cure: "export it again in UTF-8",
		}
	}
	text, err := charmap.Windows1252.NewDecoder().Bytes(data)
	if err != nil {
		return nil, assumed, &SyntaxError{File: file, Err: because(ErrCharacters, "the text is not windows-1252: %v", err), Cure: "export it again in UTF-8"}
	}
	return text, assumed, nil
}

// firstInvalid returns the offset of the first byte that is not UTF-8.
func firstInvalid(text []byte) int {
	at := 0
	for at < len(text) {
		r, size := utf8.DecodeRune(text[at:])
		if r == utf8.RuneError && size == 1 {
			break
		}
		at += size
	}
	return at
}

// placeOf returns the line and the character within it of the byte at offset
// at, both from 1.
func placeOf(text []byte, at int) (line, position int) {
	before := text[:at]
	return bytes.Count(before, []byte{'\n'}) + 1, positionIn(before)
}

// positionIn returns the place, from 1, of the character that follows text on
// its last line.
func positionIn(text []byte) int {
	return utf8.RuneCount(text[bytes.LastIndexByte(text, '\n')+1:]) + 1
}
